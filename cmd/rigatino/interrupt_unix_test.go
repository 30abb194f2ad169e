//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"rigatino/mesh/gltf"
	"rigatino/mesh/solid"
)

// An interrupt ends a command cleanly: status 1, one sentence, nothing on
// standard output, nothing changed. The program waits on a named pipe for its
// picks, so that the interrupt comes for certain while it runs.
func TestInterrupt(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	var buf bytes.Buffer
	if err := gltf.Write(&buf, solid.Icosphere(6, 40), 1e-3); err != nil {
		t.Fatal(err)
	}
	ball := write("ball.glb", buf.Bytes())
	pipe := filepath.Join(dir, "picks.json")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "change.glb")
	c := exec.Command(os.Args[0], "change", ball, ball, "--picks", pipe, "-o", out, "--json")
	c.Env = append(os.Environ(), "RIGATINO_TEST_IS_PROGRAM=1")
	var stdout, stderr bytes.Buffer
	c.Stdout, c.Stderr = &stdout, &stderr
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	w, err := os.OpenFile(pipe, os.O_WRONLY, 0) // waits until the program reads
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	err = json.NewEncoder(w).Encode(map[string]any{"unit": "mm", "pairs": []map[string][3]float64{
		{"before": {40, 0, 0}, "after": {40, 0, 0}}, {"before": {0, 40, 0}, "after": {0, 40, 0}}, {"before": {0, 0, 40}, "after": {0, 0, 40}}}})
	if err = errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	err = c.Wait()
	t.Logf("ended %v after the interrupt", time.Since(began).Round(time.Millisecond))
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != 1 {
		t.Errorf("ended with %v, want exit status 1", err)
	}
	if stdout.Len() > 0 {
		t.Errorf("standard output has %q", stdout.String())
	}
	if err := oneSentence(stderr.String(), false); err != nil || !strings.Contains(stderr.String(), "stopped") {
		t.Errorf("standard error is %q", stderr.String())
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("a file was written all the same")
	}
}
