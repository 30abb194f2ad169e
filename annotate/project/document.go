package project

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"reflect"
	"strconv"
	"strings"

	"rigatino/annotate"
)

const (
	documentName  = "project.json"
	documentForm  = "rigatino project"
	documentMajor = 1
	documentMinor = 0
)

// document is project.json.
type document struct {
	Format  string            `json:"format"`
	Version string            `json:"version"` // major.minor
	Follows string            `json:"follows"` // SHA-256 of the project.json this one replaced
	Record  annotate.Record   `json:"record"`
	Maps    map[string]string `json:"maps"` // use (stage/piece/part) → file
	Files   []fileEntry       `json:"files"`

	newer annotate.Newer
}

// fileEntry is a file that the project rests on.
type fileEntry struct {
	Path   string `json:"path"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// sumMark begins the last member of project.json, the SHA-256 of all before it.
const sumMark = ",\n  \"sum\": \""

func hash(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// encode writes project.json, indented for people, with its own checksum as
// last member.
func (d document) encode() ([]byte, error) {
	text, err := annotate.Encode(d)
	if err != nil {
		return nil, fmt.Errorf("write %s: %w", documentName, err)
	}
	if d.newer != "" {
		text = append(append(text[:len(text)-1], ','), d.newer[1:]...)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, text, "", "  "); err != nil {
		return nil, fmt.Errorf("write %s: %w", documentName, err)
	}
	out.Truncate(out.Len() - len("\n}"))
	sum := hash(out.Bytes())
	out.WriteString(sumMark + sum + "\"\n}\n")
	return out.Bytes(), nil
}

// decodeDocument reads project.json. unsealed says that it carries no checksum,
// as after editing by hand.
func decodeDocument(data []byte) (d document, unsealed bool, err error) {
	var head struct {
		Format, Version string
		Sum             *string
	}
	if err := json.Unmarshal(data, &head); err != nil {
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			err = fmt.Errorf("line %d: %w", 1+bytes.Count(data[:min(int(syntax.Offset), len(data))], []byte{'\n'}), err)
		}
		return d, false, fmt.Errorf("%s is damaged: %w; restore the project from a copy", documentName, err)
	}
	if head.Format != documentForm {
		return d, false, fmt.Errorf("%s says format %q, not %q: this folder is no project of this program", documentName, head.Format, documentForm)
	}
	major, minor, _ := strings.Cut(head.Version, ".")
	if n, err := strconv.Atoi(major); err != nil || n != documentMajor {
		return d, false, fmt.Errorf("%s has version %q, this program reads %d.x: open it with a newer program", documentName, head.Version, documentMajor)
	}
	if _, err := strconv.Atoi(minor); err != nil {
		return d, false, fmt.Errorf("%s has the unreadable version %q; restore the project from a copy", documentName, head.Version)
	}
	if head.Sum == nil {
		unsealed = true
	} else if at := bytes.LastIndex(data, []byte(sumMark)); at < 0 || hash(data[:at]) != *head.Sum ||
		string(data[at:]) != sumMark+*head.Sum+"\"\n}\n" {
		return d, false, fmt.Errorf("%s does not match the checksum at its end: it was damaged or edited; "+
			"restore it from a copy, or take the member sum out if you edited it on purpose", documentName)
	}
	if err := json.Unmarshal(data, &d); err != nil {
		return d, false, fmt.Errorf("%s is not readable: %w", documentName, err)
	}
	if d.newer, err = annotate.UnknownMembers(data, reflect.TypeFor[sealed]()); err != nil {
		return d, false, fmt.Errorf("%s is not readable: %w", documentName, err)
	}
	return d, unsealed, d.confined()
}

// sealed is all members of project.json that this version knows.
type sealed struct {
	Format  string `json:"format"`
	Version string `json:"version"`
	Follows string `json:"follows"`
	Record  any    `json:"record"`
	Maps    any    `json:"maps"`
	Files   any    `json:"files"`
	Sum     string `json:"sum"`
}

// confined refuses paths that lead out of the folder or to the store's own
// files.
func (d document) confined() error {
	check := func(path string) error {
		dir, _, inside := strings.Cut(path, "/")
		if !fs.ValidPath(path) || !inside || strings.ContainsAny(path, `\:`) || dir == "." {
			return fmt.Errorf("%s names the file %q, which is not inside the project: the project was tampered with or damaged", documentName, path)
		}
		return nil
	}
	for _, f := range d.Files {
		if err := check(f.Path); err != nil {
			return err
		}
	}
	for _, p := range d.Maps {
		if err := check(p); err != nil {
			return err
		}
	}
	for _, s := range d.Record.Scans {
		for _, m := range s.Members {
			if err := check(m.Path); err != nil {
				return err
			}
		}
	}
	return nil
}

// file returns the entry of a path.
func (d document) file(path string) (fileEntry, bool) {
	for _, f := range d.Files {
		if f.Path == path {
			return f, true
		}
	}
	return fileEntry{}, false
}
