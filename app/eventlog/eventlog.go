// Package eventlog writes one JSON line for each thing the window has handled:
// what was pressed, what was drawn and mapped, what was saved. Tests that drive
// the real window wait for these lines instead of guessing from pictures.
package eventlog

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"sync"
	"time"
)

// Log writes events; a nil Log swallows them.
type Log struct {
	mu    sync.Mutex
	w     io.WriteCloser
	start time.Time
}

// Create opens the file to write to, replacing what stood there.
func Create(path string) (*Log, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("the event log cannot be written: %w", err)
	}
	return &Log{w: f, start: time.Now()}, nil
}

// On tells whether events are written, for fields that take time to find.
func (l *Log) On() bool { return l != nil }

// Write adds an event with its fields; field names are JSON keys.
func (l *Log) Write(event string, fields map[string]any) {
	if l == nil {
		return
	}
	line := map[string]any{"event": event, "ms": time.Since(l.start).Milliseconds()}
	for k, v := range fields {
		line[k] = v
	}
	data, err := json.Marshal(line)
	if err != nil {
		data = fmt.Appendf(nil, `{"event":%q,"fault":%q}`, event, err.Error())
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	// A log that cannot be written must not stop the work it watches.
	_, _ = l.w.Write(append(data, '\n'))
}

// Close ends the log.
func (l *Log) Close() error {
	if l == nil {
		return nil
	}
	return l.w.Close()
}
