package tally

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh/solid"
)

// marked strokes a patch on to a mesh and returns its faces' shares.
func marked(t testing.TB, s *facemap.Surface, at r3.Vec, radius float64, levels uint8) *faceShares {
	t.Helper()
	m, err := facemap.New("", s.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	place, _, _ := s.Locate(at)
	if _, err := m.Stroke(s, place, facemap.Brush{RadiusMM: radius, Levels: levels}, facemap.Paint{Region: 1}); err != nil {
		t.Fatal(err)
	}
	in := newShares(s.Mesh.FaceCount())
	m.Visit(0, uint32(m.FaceCount()), func(f uint32, part float64, substance uint16, _ []uint16) {
		if substance == 1 {
			in.ofRegion(1).add(f, part)
		}
	})
	return in.region[1]
}

// A disc has the outline 2πr; a patch within straight distance r on a sphere of
// radius R the rim 2πr·sqrt(1-r²/4R²). The smoothed outline is a few per cent
// off, never the 20 to 36 % of the edge loop.
func TestOutlineLength(t *testing.T) {
	plane, sphere := facemap.NewSurface(solid.Plane(60, 120)), facemap.NewSurface(solid.Icosphere(6, 25))
	for _, c := range []struct {
		name   string
		s      *facemap.Surface
		at     r3.Vec
		r      float64
		levels uint8
		want   float64
	}{
		{"disc", plane, r3.Vec{X: 0.2, Y: 0.3}, 10, 0, 2 * math.Pi * 10},
		{"disc, cells", plane, r3.Vec{X: 0.2, Y: 0.3}, 10, 3, 2 * math.Pi * 10},
		{"large disc", plane, r3.Vec{X: 0.2, Y: 0.3}, 25, 0, 2 * math.Pi * 25},
		{"on a sphere", sphere, r3.Vec{X: 7, Y: 20, Z: 13}, 10, 0, 2 * math.Pi * 10 * math.Sqrt(1-100.0/2500)},
		{"on a sphere, cells", sphere, r3.Vec{X: 7, Y: 20, Z: 13}, 10, 3, 2 * math.Pi * 10 * math.Sqrt(1-100.0/2500)},
	} {
		got := outlineLength(c.s, marked(t, c.s, c.at, c.r, c.levels))
		near(t, c.name, got, c.want, 0.04*c.want)
	}
	// A strip across a plane ends where the scan ends: its outline is two lines.
	in := newShares(plane.Mesh.FaceCount())
	for f := range uint32(plane.Mesh.FaceCount()) {
		if a, b, c := plane.Mesh.Corners(f); math.Abs(a.X+b.X+c.X) < 3*15 {
			in.ofRegion(1).add(f, 1)
		}
	}
	near(t, "strip", outlineLength(plane, in.region[1]), 2*60, 0.04*120)
}

// A face that the file stores twice is one piece of surface.
func TestRepeatedFacesCountOnce(t *testing.T) {
	b := sheetOf(t, []patch{{"original", nil, 30}, {"fill", nil, 10}})
	m := *b.Surface.Mesh
	m.Triangles = append(m.Triangles, m.Triangles[6:9]...)
	b.Surface = facemap.NewSurface(&m)
	regions := b.Regions
	labels, err := facemap.New("", m.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	for i, faces := range [][]uint32{{0, 1}, {2, 3, 4}} {
		if _, err := labels.AssignFaces(faces, facemap.Paint{Region: regions[i].Number}); err != nil {
			t.Fatal(err)
		}
	}
	b.Map = labels
	s := reckon(t, Input{Bodies: []Body{b}})
	near(t, "total mm²", s.Surface.TotalMM2, 4000, 0.1)
	near(t, "restored", s.Restored.Share.Value, 0.25, 1e-6)
}

// Outlines drawn by one hand lean the same way: their uncertainties add up.
func TestOutlineUncertaintiesAddUp(t *testing.T) {
	s := facemap.NewSurface(solid.Plane(60, 60))
	labels, err := facemap.New("", s.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	at, _, _ := s.Locate(r3.Vec{})
	if _, err := labels.Stroke(s, at, facemap.Brush{RadiusMM: 10}, facemap.Paint{Region: 1}); err != nil {
		t.Fatal(err)
	}
	if _, err := labels.Rest(2); err != nil {
		t.Fatal(err)
	}
	one := Body{Piece: "body", Use: "fill/body/whole", Surface: s, Map: labels, Regions: []annotate.Region{
		{ID: "R1", Number: 1, Layer: "substance", Kind: "fill"}, {ID: "R2", Number: 2, Layer: "substance", Kind: "original"}}}
	two := one
	two.Piece, two.Use = "fragment", "fill/fragment/whole"
	single := reckon(t, Input{Bodies: []Body{one}})
	both := reckon(t, Input{Bodies: []Body{one, two}})
	if u := single.Restored.Share.U; !(u > 0) {
		t.Fatalf("u of the share is %v", u)
	}
	near(t, "u of the share of two equal pieces", both.Restored.Share.U, single.Restored.Share.U, 1e-12)
}

func BenchmarkReckon(b *testing.B) {
	s := facemap.NewSurface(solid.Icosphere(8, 100))
	m, err := facemap.New("", s.Mesh.FaceCount())
	if err != nil {
		b.Fatal(err)
	}
	regions := []annotate.Region{
		{ID: "R1", Number: 1, Layer: "substance", Kind: "fill"}, {ID: "R2", Number: 2, Layer: "applied", Kind: "retouch"},
		{ID: "R3", Number: 3, Layer: "substance", Kind: "matrix"}, {ID: "R4", Number: 4, Layer: "substance", Kind: "original"},
	}
	for i, p := range []facemap.Paint{{Region: 1}, {Region: 2, Layer: facemap.Applied}, {Region: 3}} {
		at, _, _ := s.Locate(r3.Vec{X: 100, Y: 40 * float64(i)})
		if _, err := m.Stroke(s, at, facemap.Brush{RadiusMM: 20, Levels: 3}, p); err != nil {
			b.Fatal(err)
		}
	}
	if _, err := m.Rest(4); err != nil {
		b.Fatal(err)
	}
	in := Input{Bodies: []Body{{Piece: "body", Surface: s, Map: m, Regions: regions}}}
	for b.Loop() {
		if _, err := Reckon(in); err != nil {
			b.Fatal(err)
		}
	}
}
