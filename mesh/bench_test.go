package mesh_test

import (
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// Weld and topology of a body of 1.3 million faces without shared vertices,
// as a scan program without indices writes it.
func BenchmarkWeld(b *testing.B) {
	m := unshared(solid.Icosphere(8, 50))
	for b.Loop() {
		mesh.NewWeld(m)
	}
	b.ReportMetric(float64(m.VertexCount()), "vertices")
}

func BenchmarkTopology(b *testing.B) {
	m := solid.Icosphere(8, 50)
	w := mesh.NewWeld(m)
	for b.Loop() {
		mesh.NewTopology(m, w)
	}
	b.ReportMetric(float64(m.FaceCount()), "faces")
}

func BenchmarkMeasures(b *testing.B) {
	m := solid.Icosphere(8, 50)
	for b.Loop() {
		mesh.Area(m)
		mesh.Volume(m)
	}
	b.ReportMetric(float64(m.FaceCount()), "faces")
}

func BenchmarkVertexNormals(b *testing.B) {
	m := solid.Icosphere(8, 50)
	w := mesh.NewWeld(m)
	for b.Loop() {
		mesh.VertexNormals(m, w)
	}
	b.ReportMetric(float64(m.FaceCount()), "faces")
}
