package project

import (
	"os"
	"testing"

	"rigatino/annotate"
)

// onDisk lays a project with one scan of a million faces on a real disk.
func onDisk(b *testing.B) *Project {
	b.Helper()
	p, err := New(b.TempDir(), annotate.Specimen{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := p.Close(); err != nil && !os.IsNotExist(err) {
			b.Error(err)
		}
	})
	err = p.Edit("scan", func(r *annotate.Record) error {
		id := hash([]byte("a scan"))
		r.Stages = []annotate.Stage{{ID: "fill", Kind: "fill"}}
		r.Scans = []annotate.Scan{{ID: id, Triangles: 1_000_000}}
		r.Uses = []annotate.Use{{Stage: "fill", Piece: "body", Part: "whole", Scan: id}}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := p.MapRest(useKey, annotate.Region{Kind: "original", Certainty: "seen", ExaminedBy: "visible"}); err != nil {
		b.Fatal(err)
	}
	return p
}

// patches of 3000 faces, about a stroke of 10 mm.
func patchOf(i int) []uint32 {
	faces := make([]uint32, 3000)
	for k := range faces {
		faces[k] = uint32((i*7919 + k*3) % 1_000_000)
	}
	return faces
}

func BenchmarkMark(b *testing.B) {
	p := onDisk(b)
	i := 0
	for b.Loop() {
		i++
		if _, err := p.MapFaces(useKey, annotate.Region{Layer: "substance", Kind: "fill"}, patchOf(i)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkUndoRedo(b *testing.B) {
	p := onDisk(b)
	if _, err := p.MapFaces(useKey, annotate.Region{Layer: "substance", Kind: "fill"}, patchOf(1)); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, _, _, err := p.Undo(); err != nil {
			b.Fatal(err)
		}
		if _, _, _, err := p.Redo(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSave(b *testing.B) {
	p := onDisk(b)
	i := 0
	for b.Loop() {
		i++
		if _, err := p.MapFaces(useKey, annotate.Region{Layer: "substance", Kind: "fill"}, patchOf(i)); err != nil {
			b.Fatal(err)
		}
		if err := p.Save(); err != nil {
			b.Fatal(err)
		}
	}
}
