package project

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"time"
)

const logName = "log.jsonl"

// Event is one line of log.jsonl, which is only ever appended to: what was made,
// saved or handed over, with the SHA-256 of the files it was.
type Event struct {
	When   time.Time         `json:"when"`
	What   string            `json:"what"`
	Note   string            `json:"note,omitempty"`
	Hashes map[string]string `json:"sha256,omitempty"` // file → SHA-256
}

// eventLog is the log of a project.
type eventLog struct {
	disk disk
	torn bool   // the last line was never finished
	last string // SHA-256 of the project.json last noted
}

func openLog(d disk) (*eventLog, error) {
	l := &eventLog{disk: d}
	data, err := d.read(logName)
	if errors.Is(err, fs.ErrNotExist) {
		return l, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", logName, err)
	}
	l.torn = len(data) > 0 && data[len(data)-1] != '\n'
	for _, e := range readEvents(data) {
		if sum := e.Hashes[documentName]; sum != "" {
			l.last = sum
		}
	}
	return l, nil
}

func readEvents(data []byte) []Event {
	var out []Event
	for start := 0; start < len(data); {
		end := start
		for end < len(data) && data[end] != '\n' {
			end++
		}
		var e Event
		if json.Unmarshal(data[start:end], &e) == nil {
			out = append(out, e)
		}
		start = end + 1
	}
	return out
}

// add appends an event and syncs.
func (l *eventLog) add(e Event) error {
	e.When = e.When.UTC().Truncate(time.Second)
	line, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("write %s: %w", logName, err)
	}
	if l.torn {
		line = append([]byte{'\n'}, line...)
	}
	f, err := l.disk.extend(logName)
	if err != nil {
		return fmt.Errorf("write %s: %w", logName, err)
	}
	l.torn = true
	if _, err = f.Write(append(line, '\n')); err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write %s: %w", logName, err)
	}
	l.torn = false
	if sum := e.Hashes[documentName]; sum != "" {
		l.last = sum
	}
	return nil
}

// Note appends an event to the log of the project: a hand-over with the hashes
// of its files, for one.
func (p *Project) Note(what, note string, hashes map[string]string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.writes {
		return errReadOnly
	}
	return p.log.add(Event{When: p.now(), What: what, Note: note, Hashes: hashes})
}

// Events returns the log of the project.
func (p *Project) Events() ([]Event, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	data, err := p.disk.read(logName)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", logName, err)
	}
	return readEvents(data), nil
}
