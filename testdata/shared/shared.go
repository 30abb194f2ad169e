// Package shared finds the open scans and sample models that stand beside the
// repository and are not part of it.
package shared

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// Path returns the path of a shared file, given relative to the shared folder.
// Where the file is absent the test is skipped with a word; under CI=true its
// absence is a failure, so that no check is lost unseen.
func Path(t testing.TB, rel string) string {
	t.Helper()
	_, here, _, ok := runtime.Caller(0)
	if !ok {
		t.Fatal("shared: the source file's own path is not known")
	}
	path := filepath.Join(filepath.Dir(here), "..", "..", "..", "shared", filepath.FromSlash(rel))
	if _, err := os.Stat(path); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("shared file %s is needed and absent: %v", rel, err)
		}
		t.Skipf("shared file %s is not beside the repository: skipped", rel)
	}
	return path
}
