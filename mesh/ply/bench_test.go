package ply_test

import (
	"bytes"
	"context"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/ply"
	"rigatino/mesh/solid"
)

// million is a sphere of 1.3 million triangles with colours.
func million() *mesh.Mesh {
	m := solid.Icosphere(8, 50)
	m.Colours = bytes.Repeat([]byte{200, 180, 150, 255}, m.VertexCount())
	return m
}

func benchmarkRead(b *testing.B, opt ply.WriteOptions) {
	var out bytes.Buffer
	m := million()
	if err := ply.Write(&out, m, opt); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(out.Len()))
	b.ReportAllocs()
	for b.Loop() {
		f, err := ply.Read(context.Background(), "x.ply", out.Bytes(), ply.Options{})
		if err != nil || f.Mesh.FaceCount() != m.FaceCount() {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(m.FaceCount())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

func BenchmarkReadBinary1M(b *testing.B) { benchmarkRead(b, ply.WriteOptions{}) }

func BenchmarkReadASCII1M(b *testing.B) { benchmarkRead(b, ply.WriteOptions{ASCII: true}) }

func BenchmarkWriteBinary1M(b *testing.B) {
	m := million()
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		if err := ply.Write(&out, m, ply.WriteOptions{}); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(out.Len()))
}
