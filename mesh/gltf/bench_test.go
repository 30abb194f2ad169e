package gltf_test

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"

	"rigatino/mesh/gltf"
	"rigatino/mesh/solid"
)

// benchmarkRead reads a sphere with normals and colours of 20·4^level triangles.
func benchmarkRead(b *testing.B, level int, factor float64) {
	m := solid.Icosphere(level, 50)
	m.Normals = m.Positions
	m.Colours = bytes.Repeat([]byte{200, 180, 150, 255}, m.VertexCount())
	data := written(b, m, 0.001)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		s, err := gltf.Read("x.glb", data, gltf.Options{Factor: factor})
		if err != nil || s.Mesh.FaceCount() != m.FaceCount() {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(m.FaceCount())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

func BenchmarkRead1M(b *testing.B) { benchmarkRead(b, 8, 1000) } // 1.3 million

func BenchmarkRead5M(b *testing.B) { benchmarkRead(b, 9, 1000) } // 5.2 million

func BenchmarkWrite1M(b *testing.B) {
	m := solid.Icosphere(8, 50)
	m.Colours = bytes.Repeat([]byte{200, 180, 150, 255}, m.VertexCount())
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		if err := gltf.Write(&out, m, 0.001); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(out.Len()))
}

// BenchmarkReadFile goes from the file RIGATINO_BENCH_GLB to checked arrays, and
// over all x once, which is what the programs do that it is timed beside.
func BenchmarkReadFile(b *testing.B) {
	path := os.Getenv("RIGATINO_BENCH_GLB")
	if path == "" {
		b.Skip("RIGATINO_BENCH_GLB names no file")
	}
	faces, sum := 0, 0.0
	for b.Loop() {
		data, err := os.ReadFile(path)
		if err != nil {
			b.Fatal(err)
		}
		s, err := gltf.Read(filepath.Base(path), data, gltf.Options{})
		if err != nil {
			b.Fatal(err)
		}
		faces = s.Mesh.FaceCount()
		for i := 0; i < len(s.Mesh.Positions); i += 3 {
			sum += float64(s.Mesh.Positions[i])
		}
	}
	if math.IsNaN(sum) {
		b.Error("the sum is not a number")
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(faces), "ns/triangle")
}
