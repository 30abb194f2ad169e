package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"
)

// job is what a command is given: where to print, whether as JSON, and the
// context that an interrupt ends.
type job struct {
	ctx            context.Context
	stdout, stderr io.Writer
	json           bool
	terminal       bool

	last  time.Time
	shown int // length of the progress line in view
}

// print writes the result: the document with --json, else the words.
func (j *job) print(document any, words func(w io.Writer)) error {
	if !j.json {
		words(j.stdout)
		return nil
	}
	enc := json.NewEncoder(j.stdout)
	enc.SetIndent("", " ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(document); err != nil {
		return fmt.Errorf("the result could not be written: %w", err)
	}
	return nil
}

// progress shows how far long work is, on a terminal only, ten times a second.
func (j *job) progress(done float64, words string) {
	if !j.terminal {
		return
	}
	now := time.Now()
	if now.Sub(j.last) < 100*time.Millisecond {
		return
	}
	j.last = now
	line := fmt.Sprintf("%3.0f %%  %s", 100*done, words)
	fmt.Fprintf(j.stderr, "\r%-*s", j.shown, line)
	j.shown = len(line)
}

// endProgress clears the progress line.
func (j *job) endProgress() {
	if j.shown > 0 {
		fmt.Fprintf(j.stderr, "\r%*s\r", j.shown, "")
		j.shown = 0
	}
}

// isTerminal tells whether w is a terminal that a person may be watching.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// marshal codes a part of a document as print does.
func marshal(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	return b.Bytes(), err
}
