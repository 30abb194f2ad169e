//go:build unix

package scan_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"rigatino/mesh/scan"
)

// A pipe in the place of a file is refused at once: opening it would wait for
// ever.
func TestPipesAreRefused(t *testing.T) {
	path := farTriangle(t, 0)
	bin := filepath.Join(filepath.Dir(path), "far.bin")
	if err := os.Remove(bin); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(bin, 0o666); err != nil {
		t.Skipf("pipes cannot be made here: %v", err)
	}
	for _, path := range []string{path, bin} {
		if _, err := scan.Open(context.Background(), path, scan.Options{}); err == nil || !strings.Contains(err.Error(), "not a file") {
			t.Errorf("%s: error %v", filepath.Base(path), err)
		}
	}
}
