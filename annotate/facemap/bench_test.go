package facemap

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/solid"
)

// million is a sphere of 1.3 million faces, R 100 mm, edges 0.38 mm.
func million(b *testing.B) (*Surface, *Map) {
	b.Helper()
	s := NewSurface(solid.Icosphere(8, 100))
	return s, newMap(b, s)
}

func benchStroke(b *testing.B, levels uint8) {
	s, m := million(b)
	at, _, _ := s.Locate(r3.Vec{X: 30, Y: 60, Z: 74})
	region := uint16(0)
	for b.Loop() {
		region++ // so that every stroke changes every face
		must(b)(m.Stroke(s, at, Brush{RadiusMM: 10, Levels: levels}, Paint{Region: region}))
	}
	b.ReportMetric(float64(len(m.Faces(region))), "faces")
}

func BenchmarkStroke10mm(b *testing.B)      { benchStroke(b, 0) }
func BenchmarkStroke10mmCells(b *testing.B) { benchStroke(b, 3) }

func BenchmarkUndoStroke10mm(b *testing.B) {
	s, m := million(b)
	at, _, _ := s.Locate(r3.Vec{X: 30, Y: 60, Z: 74})
	d := must(b)(m.Stroke(s, at, Brush{RadiusMM: 10}, Paint{Region: 1})).Diff
	back := d.Inverse()
	for b.Loop() {
		if err := m.Apply(back); err != nil {
			b.Fatal(err)
		}
		if err := m.Apply(d); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEncode(b *testing.B) {
	s, m := million(b)
	at, _, _ := s.Locate(r3.Vec{X: 30, Y: 60, Z: 74})
	must(b)(m.Stroke(s, at, Brush{RadiusMM: 30, Levels: 3}, Paint{Region: 1}))
	must(b)(m.Stroke(s, at, Brush{RadiusMM: 20, Levels: 3}, Paint{Region: 2, Layer: Applied}))
	for b.Loop() {
		data, err := m.Encode()
		if err != nil {
			b.Fatal(err)
		}
		b.SetBytes(int64(len(data)))
	}
}

func BenchmarkVisit(b *testing.B) {
	s, m := million(b)
	at, _, _ := s.Locate(r3.Vec{X: 30, Y: 60, Z: 74})
	must(b)(m.Stroke(s, at, Brush{RadiusMM: 30, Levels: 3}, Paint{Region: 2, Layer: Applied}))
	for b.Loop() {
		n := 0
		m.Visit(0, uint32(m.FaceCount()), func(uint32, float64, uint16, []uint16) { n++ })
	}
}
