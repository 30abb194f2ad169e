package render

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/scan"
	"rigatino/testdata/outside"
)

// BenchmarkReady goes from a GLB file to a mesh that can be worked on: read and
// checked, welded, neighbours and parts found, sorted into clusters for drawing.
// It reports ns and bytes of peak memory a triangle, the file included. With
// RIGATINO_BENCH_GLB=FILE it takes that file, else bodies of its own.
func BenchmarkReady(b *testing.B) {
	if path := os.Getenv("RIGATINO_BENCH_GLB"); path != "" {
		b.Run(filepath.Base(path), func(b *testing.B) { benchReady(b, path) })
		return
	}
	for _, n := range sizes() {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchReady(b, bodyFile(b, n)) })
	}
}

// bodyFile writes a body with normals and colours as GLB.
func bodyFile(t testing.TB, n int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "body.glb")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	m := bumpy(n)
	m.Normals = make([]float32, len(m.Positions))
	w := mesh.NewWeld(m)
	for v, n := range mesh.VertexNormals(m, w) {
		m.Normals[3*v], m.Normals[3*v+1], m.Normals[3*v+2] = float32(n.X), float32(n.Y), float32(n.Z)
	}
	if err := errors.Join(gltf.Write(f, m, 0.001), f.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}

// ready goes from a file to a mesh that can be worked on.
func ready(t testing.TB, path string) *Body {
	t.Helper()
	s, err := scan.Open(context.Background(), path, scan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	w := mesh.NewWeld(s.Mesh)
	topology := mesh.NewTopology(s.Mesh, w)
	body, err := Prepare(context.Background(), s.Mesh, Options{Weld: w, Topology: topology})
	if err != nil {
		t.Fatal(err)
	}
	runtime.KeepAlive(topology) // who works on the mesh needs it
	return body
}

// A body of four million triangles is ready with at most 95 bytes a triangle at
// any moment, its file of 26 included, so that one of ten million can be worked on
// where there are 2 GB.
func TestMemoryOfTheWayToAReadyMesh(t *testing.T) {
	if os.Getenv("RIGATINO_PROVE") != "1" {
		t.Skip("takes long; runs with RIGATINO_PROVE=1")
	}
	path := bodyFile(t, 4_000_000)
	debug.FreeOSMemory()
	before := outside.RestartPeak()
	if before == 0 {
		t.Skip("this system does not tell the most memory that a process had")
	}
	body := ready(t, path)
	perTriangle := float64(outside.Peak()-before) / float64(body.Mesh().FaceCount())
	if perTriangle > 95 {
		t.Errorf("%.1f bytes a triangle, want 95 at most", perTriangle)
	}
	t.Logf("checked: %.1f bytes a triangle at most, bound 95", perTriangle)
}

func benchReady(b *testing.B, path string) {
	faces, most := 0, int64(0)
	for b.Loop() {
		b.StopTimer()
		debug.FreeOSMemory()
		before := outside.RestartPeak()
		b.StartTimer()
		body := ready(b, path)
		faces = body.Mesh().FaceCount()
		b.StopTimer()
		most = max(most, outside.Peak()-before)
		b.StartTimer()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(faces), "ns/triangle")
	if most > 0 {
		b.ReportMetric(float64(most)/float64(faces), "peakB/triangle")
	}
}
