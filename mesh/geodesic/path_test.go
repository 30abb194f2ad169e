package geodesic

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// place returns the face and weights of the place of m closest to p, by trying
// all faces' corners: exact where p is a vertex.
func place(t *testing.T, m *mesh.Mesh, p r3.Vec) mesh.SurfacePoint {
	t.Helper()
	best, at := math.Inf(1), mesh.SurfacePoint{}
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		for k, q := range [3]r3.Vec{a, b, c} {
			if d := r3.Norm(r3.Sub(q, p)); d < best {
				best = d
				at = mesh.SurfacePoint{Face: f}
				at.Weights[k] = 1
			}
		}
	}
	return at
}

func length(t *testing.T, m *mesh.Mesh, from, to mesh.SurfacePoint) (float64, []r3.Vec) {
	t.Helper()
	w := mesh.NewWeld(m)
	l, points, err := Path(m, w, mesh.NewTopology(m, w), from, to)
	if err != nil {
		t.Fatal(err)
	}
	return l, points
}

// Opposite corners of a unit cube: √5 over two faces (unfolding), where edges
// alone give 3 and edges with face diagonals 2.414.
func TestCube(t *testing.T) {
	m := solid.Cube(1)
	b := mesh.Bounds(m)
	l, _ := length(t, m, place(t, m, b.Min), place(t, m, b.Max))
	if math.Abs(l-math.Sqrt(5)) > 1e-6 {
		t.Errorf("length %v, wanted √5", l)
	}
}

// Cone with total angle π (slant 1, so base radius 1/2): opposite rim points are
// √2 apart in the developed half disc.
func TestCone(t *testing.T) {
	h := math.Sqrt(1 - 0.25)
	const n, rings = 240, 40
	m := &mesh.Mesh{Positions: []float32{0, 0, float32(h)}}
	for r := 1; r <= rings; r++ {
		q := float64(r) / rings
		for i := range n {
			s, c := math.Sincos(2 * math.Pi * float64(i) / n)
			m.Positions = append(m.Positions, float32(c*q/2), float32(s*q/2), float32(h*(1-q)))
		}
	}
	for i := range uint32(n) {
		m.Triangles = append(m.Triangles, 0, 1+i, 1+(i+1)%n)
		for r := range uint32(rings - 1) {
			a, b := 1+r*n+i, 1+r*n+(i+1)%n
			m.Triangles = append(m.Triangles, a, a+n, b+n, a, b+n, b)
		}
	}
	l, _ := length(t, m, place(t, m, r3.Vec{X: 0.5}), place(t, m, r3.Vec{X: -0.5}))
	// 240 facets a turn shorten a chord by π²/(6·240²), 3e-5.
	if l < math.Sqrt2*(1-1e-4) || l > math.Sqrt2*1.01 {
		t.Errorf("length %v, wanted √2, at most 1 %% more", l)
	}
}

// Half a great circle of a sphere is πR, less the faceting of order (edge/R)².
func TestGreatCircle(t *testing.T) {
	m := solid.Icosphere(5, 20)
	l, points := length(t, m, place(t, m, r3.Vec{Z: 20}), place(t, m, r3.Vec{Z: -20}))
	if l > math.Pi*20 || l < math.Pi*20*(1-0.002) {
		t.Errorf("length %v, wanted %v less at most 0.2 %%", l, math.Pi*20)
	}
	for _, p := range points {
		if r := r3.Norm(p); r > 20.001 || r < 19.98 {
			t.Fatalf("a point of the way is %v from the centre", r)
		}
	}
}

// In a plane the way is the straight line, across a grid whose edges are never
// parallel to it.
func TestPlane(t *testing.T) {
	m := &mesh.Mesh{}
	const n = 40
	for y := range n + 1 {
		for x := range n + 1 {
			m.Positions = append(m.Positions, float32(x), float32(y), 0)
		}
	}
	for y := range uint32(n) {
		for x := range uint32(n) {
			i := y*(n+1) + x
			m.Triangles = append(m.Triangles, i, i+1, i+n+2, i, i+n+2, i+n+1)
		}
	}
	from, to := mesh.SurfacePoint{Face: 3, Weights: [3]float64{0.2, 0.5, 0.3}}, mesh.SurfacePoint{Face: 2*n*n - 31, Weights: [3]float64{0.6, 0.1, 0.3}}
	want := r3.Norm(r3.Sub(m.At(to), m.At(from)))
	l, _ := length(t, m, from, to)
	if l < want-1e-9 || l > want*1.01 {
		t.Errorf("length %v, straight %v", l, want)
	}
	back, _ := length(t, m, to, from)
	if math.Abs(back-l) > 0.002*l {
		t.Errorf("there %v, back %v", l, back)
	}
}

// Two separate triangles have no way between them.
func TestApart(t *testing.T) {
	m := &mesh.Mesh{
		Positions: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 5, 0, 0, 6, 0, 0, 5, 1, 0},
		Triangles: []uint32{0, 1, 2, 3, 4, 5},
	}
	w := mesh.NewWeld(m)
	third := [3]float64{1. / 3, 1. / 3, 1. / 3}
	_, _, err := Path(m, w, mesh.NewTopology(m, w), mesh.SurfacePoint{Face: 0, Weights: third}, mesh.SurfacePoint{Face: 1, Weights: third})
	if !errors.Is(err, ErrApart) {
		t.Errorf("got %v, wanted ErrApart", err)
	}
}

func BenchmarkPath(b *testing.B) {
	m := solid.Icosphere(7, 50)
	w := mesh.NewWeld(m)
	topo := mesh.NewTopology(m, w)
	from, to := mesh.SurfacePoint{Face: 0, Weights: [3]float64{1}}, mesh.SurfacePoint{Face: uint32(m.FaceCount() / 3), Weights: [3]float64{1}}
	for b.Loop() {
		if _, _, err := Path(m, w, topo, from, to); err != nil {
			b.Fatal(err)
		}
	}
}
