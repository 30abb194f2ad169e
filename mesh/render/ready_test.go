package render

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/scan"
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
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			path := filepath.Join(b.TempDir(), "body.glb")
			f, err := os.Create(path)
			if err != nil {
				b.Fatal(err)
			}
			m := bumpy(n)
			m.Normals = make([]float32, len(m.Positions))
			w := mesh.NewWeld(m)
			for v, n := range mesh.VertexNormals(m, w) {
				m.Normals[3*v], m.Normals[3*v+1], m.Normals[3*v+2] = float32(n.X), float32(n.Y), float32(n.Z)
			}
			if err := gltf.Write(f, m, 0.001); err != nil {
				b.Fatal(err)
			}
			if err := f.Close(); err != nil {
				b.Fatal(err)
			}
			m, w = nil, nil
			benchReady(b, path)
		})
	}
}

func benchReady(b *testing.B, path string) {
	faces, most := 0, int64(0)
	for b.Loop() {
		b.StopTimer()
		debug.FreeOSMemory()
		before := restartPeak()
		b.StartTimer()
		s, err := scan.Open(context.Background(), path, scan.Options{})
		if err != nil {
			b.Fatal(err)
		}
		w := mesh.NewWeld(s.Mesh)
		t := mesh.NewTopology(s.Mesh, w)
		body, err := Prepare(context.Background(), s.Mesh, Options{Weld: w, Topology: t})
		if err != nil {
			b.Fatal(err)
		}
		faces = body.Mesh().FaceCount()
		b.StopTimer()
		most = max(most, peak("VmHWM")-before)
		b.StartTimer()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(faces), "ns/triangle")
	if most > 0 {
		b.ReportMetric(float64(most)/float64(faces), "peakB/triangle")
	}
}

// restartPeak makes the system forget the most memory that this process had, and
// returns what it has now; 0 where the system is not Linux.
func restartPeak() int64 {
	if os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) != nil {
		return 0
	}
	return peak("VmRSS")
}

// peak reads a figure of this process in bytes, 0 where there is none.
func peak(key string) int64 {
	f, err := os.Open("/proc/self/status")
	if err != nil {
		return 0
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if rest, ok := strings.CutPrefix(s.Text(), key+":"); ok {
			kb, err := strconv.ParseInt(strings.Fields(rest)[0], 10, 64)
			if err == nil {
				return kb << 10
			}
		}
	}
	return 0
}
