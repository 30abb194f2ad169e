package history

import (
	"bytes"
	"encoding/json"
	"fmt"
	"hash/crc32"

	"rigatino/annotate"
)

// What an entry of a journal says happened.
const (
	Did   = "did"
	Undid = "undid"
	Redid = "redid"
)

// Entry is one line of a journal. Its action is the change made, so that an
// undone action stands there inverted.
type Entry struct {
	Kind   string `json:"kind"`
	Action Action `json:"action"`
}

// Base is the first line of a journal: the SHA-256 of the project.json that its
// entries follow on. A journal with another base was saved already.
type Base struct {
	Kind string `json:"kind"` // "after"
	Base string `json:"project_sha256"`
}

const baseKind = "after"

// line is how entries stand in the file: with the CRC-32 (IEEE) of their text.
type line struct {
	Sum   string          `json:"crc32"`
	Entry json.RawMessage `json:"entry"`
}

func encodeLine(v any) ([]byte, error) {
	text, err := annotate.Encode(v)
	if err != nil {
		return nil, fmt.Errorf("write journal entry: %w", err)
	}
	out, err := annotate.Encode(line{fmt.Sprintf("%08x", crc32.ChecksumIEEE(text)), text})
	if err != nil {
		return nil, fmt.Errorf("write journal entry: %w", err)
	}
	return append(out, '\n'), nil
}

// BeginJournal returns the first line of a journal that follows on the
// project.json with the given SHA-256.
func BeginJournal(projectSHA256 string) ([]byte, error) {
	return encodeLine(Base{baseKind, projectSHA256})
}

// Line returns the journal line of an entry, newline included.
func (e Entry) Line() ([]byte, error) { return encodeLine(e) }

// Journal is what a journal file holds.
type Journal struct {
	Base    string // SHA-256 of the project.json it follows on; empty if the first line was never finished
	Entries []Entry
	Good    int   // bytes of whole, sound lines
	Cut     bool  // the last line was never finished, and is left out
	Damage  error // a finished line that does not match its checksum, and all that follow it, are left out
}

// ReadJournal reads as much of a journal file as is sound.
func ReadJournal(data []byte) Journal {
	var j Journal
	for n := 1; j.Good < len(data); n++ {
		end := bytes.IndexByte(data[j.Good:], '\n')
		if end < 0 {
			j.Cut = true
			return j
		}
		text, err := decodeLine(data[j.Good : j.Good+end])
		if err == nil && n == 1 {
			var b Base
			if err = json.Unmarshal(text, &b); err == nil && (b.Kind != baseKind || b.Base == "") {
				err = fmt.Errorf("it does not say what it follows on")
			}
			j.Base = b.Base
		} else if err == nil {
			var e Entry
			if err = json.Unmarshal(text, &e); err == nil {
				j.Entries = append(j.Entries, e)
			}
		}
		if err != nil {
			j.Damage = fmt.Errorf("journal line %d (byte %d) is damaged: %w", n, j.Good, err)
			return j
		}
		j.Good += end + 1
	}
	return j
}

func decodeLine(text []byte) (json.RawMessage, error) {
	var l line
	if err := json.Unmarshal(text, &l); err != nil {
		return nil, err
	}
	if want := fmt.Sprintf("%08x", crc32.ChecksumIEEE(l.Entry)); l.Sum != want {
		return nil, fmt.Errorf("its checksum is %s, it should be %s", l.Sum, want)
	}
	return l.Entry, nil
}
