package mesh_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// areaOf sums the areas of triangles of a polygon, and their area vectors.
func areaOf(p []r3.Vec, triples []int) (area float64, vector r3.Vec) {
	for i := 0; i < len(triples); i += 3 {
		a, b, c := p[triples[i]], p[triples[i+1]], p[triples[i+2]]
		v := r3.Scale(0.5, r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
		area += r3.Norm(v)
		vector = r3.Add(vector, v)
	}
	return area, vector
}

func flat(xy ...float64) []r3.Vec {
	var out []r3.Vec
	for i := 0; i < len(xy); i += 2 {
		out = append(out, r3.Vec{X: xy[i], Y: xy[i+1], Z: 5})
	}
	return out
}

func TestSplitPolygonKeepsTheArea(t *testing.T) {
	// Area of a simple polygon by the shoelace formula. Triangles that cover it
	// once have the same area in sum; those of a fan that folds over have more.
	rows := map[string]struct {
		p    []r3.Vec
		area float64
	}{
		"triangle":                   {flat(0, 0, 2, 0, 0, 2), 2},
		"square":                     {flat(0, 0, 2, 0, 2, 2, 0, 2), 4},
		"dart, dent at the first":    {flat(1, 1, 0, 4, 0, 0, 4, 0), 4},
		"dart, dent at the second":   {flat(4, 0, 1, 1, 0, 4, 0, 0), 4},
		"L":                          {flat(0, 0, 3, 0, 3, 1, 1, 1, 1, 3, 0, 3), 5},
		"L from its last corner":     {flat(3, 1, 1, 1, 1, 3, 0, 3, 0, 0, 3, 0), 5},
		"L the other way":            {flat(0, 3, 1, 3, 1, 1, 3, 1, 3, 0, 0, 0), 5},
		"comb":                       {flat(0, 0, 5, 0, 5, 3, 4, 1, 3, 3, 2, 1, 1, 3, 0, 1), 10},
		"corners in a row":           {flat(0, 0, 1, 0, 2, 0, 2, 2, 1, 1, 0, 2), 3},
		"a corner stored twice":      {flat(0, 0, 3, 0, 3, 0, 3, 1, 1, 1, 1, 3, 0, 3), 5},
		"ring cut open by a bridge":  {flat(0, 0, 4, 0, 4, 4, 0, 4, 0, 0, 1, 1, 1, 3, 3, 3, 3, 1, 1, 1), 12},
		"square with a far off side": {flat(0, 0, 2e6, 0, 2e6, 1e-3, 1e6, 5e-4, 0, 1e-3), 2e3 - 5e2},
	}
	for name, row := range rows {
		got := mesh.SplitPolygon(row.p, nil)
		if len(got) != 3*(len(row.p)-2) {
			t.Errorf("%s: %d corners of triangles for a polygon of %d", name, len(got), len(row.p))
		}
		area, vector := areaOf(row.p, got)
		if math.Abs(area-row.area) > 1e-9*row.area || math.Abs(r3.Norm(vector)-row.area) > 1e-9*row.area {
			t.Errorf("%s: area %g with the vector %v, want %g: %v", name, area, vector, row.area, got)
		}
	}
}

func TestSplitPolygonLeavesConvexOnesAFan(t *testing.T) {
	var p []r3.Vec
	var want []int
	for k := range 300 {
		a := 2 * math.Pi * float64(k) / 300
		p = append(p, r3.Vec{X: math.Cos(a), Z: math.Sin(a)})
		if k >= 2 {
			want = append(want, 0, k-1, k)
		}
	}
	for _, n := range []int{3, 4, 5, 300} { // the last is more than is cut by ears
		if n < 300 {
			if got := mesh.SplitPolygon(p[:n], []int{7}); !slices.Equal(got[1:], want[:3*(n-2)]) || got[0] != 7 {
				t.Errorf("%d corners: %v", n, got)
			}
			continue
		}
		if got := mesh.SplitPolygon(p, nil); !slices.Equal(got, want) {
			t.Error("300 corners: not a fan")
		}
	}
	if got := mesh.SplitPolygon(p[:2], nil); len(got) != 0 {
		t.Errorf("two corners make %v", got)
	}
}

func TestSplitPolygonTakesWhatIsNone(t *testing.T) {
	// Polygons without an inside keep their corners and their number of triangles.
	nan := math.NaN()
	for name, p := range map[string][]r3.Vec{
		"bow tie":     flat(0, 0, 2, 2, 2, 0, 0, 2),
		"one place":   make([]r3.Vec, 6),
		"a line":      flat(0, 0, 1, 0, 2, 0, 3, 0, 1.5, 0),
		"not finite":  flat(0, 0, 1, nan, 2, 2, 0, 2),
		"too large":   flat(0, 0, 1e300, 0, 1e300, 1e300, 1e299, 1e299, 0, 1e300),
		"pentagram":   flat(0, 3, 2, -3, -3, 1, 3, 1, -2, -3),
		"there, back": flat(0, 0, 1, 1, 2, 0, 1, 1, 0, 0),
	} {
		got := mesh.SplitPolygon(p, nil)
		if len(got) != 3*(len(p)-2) || slices.Max(got) >= len(p) || slices.Min(got) < 0 {
			t.Errorf("%s: %v", name, got)
		}
	}
}

func TestSplitPolygonOnManyStars(t *testing.T) {
	// Polygons that wind once about a point with any distances are simple; area by
	// the shoelace formula. Each is turned in space and begun at each corner.
	r := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		n := 4 + r.IntN(40)
		turned := r3.NewRotation(r.Float64()*6, r3.Vec{X: r.Float64(), Y: r.Float64(), Z: 0.1})
		var p []r3.Vec
		shoelace := 0.0
		var last, first [2]float64
		for k := range n {
			a, d := 2*math.Pi*float64(k)/float64(n), 0.1+r.Float64()
			x := [2]float64{d * math.Cos(a), d * math.Sin(a)}
			if k == 0 {
				first = x
			} else {
				shoelace += last[0]*x[1] - last[1]*x[0]
			}
			last = x
			p = append(p, turned.Rotate(r3.Vec{X: x[0], Y: x[1], Z: 3}))
		}
		shoelace = (shoelace + last[0]*first[1] - last[1]*first[0]) / 2
		for begin := range n {
			q := slices.Concat(p[begin:], p[:begin])
			if area, _ := areaOf(q, mesh.SplitPolygon(q, nil)); math.Abs(area-shoelace) > 1e-9 {
				t.Fatalf("%d corners from corner %d: area %g, want %g", n, begin, area, shoelace)
			}
		}
	}
}

func TestSeamsNumberEachLookOnce(t *testing.T) {
	// Against a plain map.
	r := rand.New(rand.NewPCG(5, 6))
	const points = 50
	s := mesh.NewSeams(points)
	known := map[uint32]map[mesh.Look]uint32{}
	for i := range 20000 {
		p := uint32(r.IntN(points - 1))
		look := mesh.Look{A: uint64(r.IntN(20)) << 32, B: uint64(r.IntN(7))}
		v := s.Vertex(p, look)
		if known[p] == nil {
			known[p] = map[mesh.Look]uint32{}
			if v != p {
				t.Fatalf("the first look of point %d has the vertex %d", p, v)
			}
		}
		if old, ok := known[p][look]; ok && old != v || !ok && v != p && int(v) != s.Count()-1 {
			t.Fatalf("step %d: point %d is vertex %d, was %d (%v)", i, p, v, old, ok)
		}
		known[p][look] = v
		if q, l, seen := s.Of(v); q != p || l != look || !seen {
			t.Fatalf("vertex %d is said to be point %d with %v (%v)", v, q, l, seen)
		}
	}
	if _, _, seen := s.Of(points - 1); seen {
		t.Error("a point without a corner is said to have one")
	}
	n := 1
	for _, looks := range known {
		n += len(looks)
	}
	if s.Count() != n {
		t.Errorf("%d vertices, want %d", s.Count(), n)
	}
}
