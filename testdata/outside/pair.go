package outside

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/ply"
)

// PairVariable names two PLY files, the one before and the one after, with the
// system's list separator between them.
const PairVariable = "RIGATINO_BENCH_PAIR"

// Pair reads the two files; without them the test is skipped.
func Pair(t testing.TB) (before, after *mesh.Mesh) {
	t.Helper()
	files := filepath.SplitList(os.Getenv(PairVariable))
	if len(files) != 2 {
		t.Skip(PairVariable + " names no two files")
	}
	var out [2]*mesh.Mesh
	for i, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		f, err := ply.Read(context.Background(), filepath.Base(path), data, ply.Options{})
		if err != nil {
			t.Fatal(err)
		}
		out[i] = f.Mesh
	}
	return out[0], out[1]
}
