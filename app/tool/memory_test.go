package tool

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"testing"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/handover/picture"
	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/render"
	"rigatino/mesh/scan"
	"rigatino/mesh/solid/bentbody"
	"rigatino/testdata/outside"
)

// A scan of four million triangles that can be drawn and mapped, with all that the
// tools ask of it, takes at most 95 bytes a triangle at any moment on the way there,
// its file of 24 with normals included (measured as the system counts the pages of
// the process).
func TestMemoryOfDrawingAndMapping(t *testing.T) {
	if os.Getenv("RIGATINO_PROVE") != "1" {
		t.Skip("takes long; runs with RIGATINO_PROVE=1")
	}
	path := filepath.Join(t.TempDir(), "body.glb")
	func() {
		m := bentbody.New(1).After(bentbody.Scanning{Triangles: 4_000_000})
		m.Normals = make([]float32, len(m.Positions))
		for v, n := range mesh.VertexNormals(m, mesh.NewWeld(m)) {
			m.Normals[3*v], m.Normals[3*v+1], m.Normals[3*v+2] = float32(n.X), float32(n.Y), float32(n.Z)
		}
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(gltf.Write(f, m, 0.001), f.Close()); err != nil {
			t.Fatal(err)
		}
	}()
	debug.FreeOSMemory()
	before := outside.RestartPeak()
	if before == 0 {
		t.Skip("this system does not tell the most memory that a process had")
	}
	s, err := scan.Open(context.Background(), path, scan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	surface := facemap.NewSurface(s.Mesh)
	surface.Ready()
	body, err := render.Prepare(context.Background(), s.Mesh, render.Options{Weld: surface.Weld, Topology: surface.Topology})
	if err != nil {
		t.Fatal(err)
	}
	labels, err := facemap.New("", s.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	looks := picture.NewLooks(labels, []annotate.Region{{ID: "R1", Number: 1, Layer: "substance", Kind: "fill"}}, picture.MapOnSurface, 4)
	perTriangle := float64(outside.Peak()-before) / float64(s.Mesh.FaceCount())
	if perTriangle > 95 {
		t.Errorf("%.1f bytes a triangle, want 95 at most", perTriangle)
	}
	t.Logf("checked: %.1f bytes a triangle at most, bound 95", perTriangle)
	runtime.KeepAlive(body)
	runtime.KeepAlive(looks)
	runtime.KeepAlive(surface)
}
