package geodesic

import (
	"container/heap"
	"errors"
	"math"
	"math/rand/v2"
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
	l, points, err := Path(t.Context(), m, w, mesh.NewTopology(m, w), from, to)
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
	l, points := length(t, m, place(t, m, b.Min), place(t, m, b.Max))
	if math.Abs(l-math.Sqrt(5)) > 1e-12 {
		t.Errorf("length %v over %v, wanted √5", l, points)
	}
}

// Cone with total angle π (slant 1, so base radius 1/2): opposite rim points are
// √2 apart in the developed half disc. Of 240 plane facets the development is
// 240 triangles of slant 1 and angle 2 asin(sin(π/240)/2) at the tip.
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
	want := 2 * math.Sin(n*2*math.Asin(math.Sin(math.Pi/n)/2)/4)
	if math.Abs(want/math.Sqrt2-1) > 1e-4 || math.Abs(l-want) > 2e-6 { // coordinates are float32
		t.Errorf("length %v, wanted %v of the facets, √2 of the cone", l, want)
	}
}

// From foot to opposite top of a tall prism of 100 sides, made of needles 16
// times as long as wide: straight in the development.
func TestNeedles(t *testing.T) {
	const n = 100
	m := solid.Cylinder(10, 100, n, 10)
	l, _ := length(t, m, place(t, m, r3.Vec{X: 10}), place(t, m, r3.Vec{X: -10, Z: 100}))
	want := math.Hypot(100, n/2*2*10*math.Sin(math.Pi/n))
	if math.Abs(l-want) > 1e-5 {
		t.Errorf("length %v, wanted %v", l, want)
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
	if l, _ := length(t, m, from, to); math.Abs(l-want) > 1e-12*want {
		t.Errorf("length %v, wanted %v", l, want)
	}
	// The same with faces that look up and down by chance: a way has no side.
	random := rand.New(rand.NewPCG(3, 3))
	for f := 0; f < len(m.Triangles); f += 3 {
		if random.IntN(2) == 0 && f != 3*3 && f != 3*(2*n*n-31) {
			m.Triangles[f], m.Triangles[f+1] = m.Triangles[f+1], m.Triangles[f]
		}
	}
	if l, _ := length(t, m, from, to); math.Abs(l-want) > 1e-12*want {
		t.Errorf("with turned faces length %v, wanted %v", l, want)
	}
}

// Round a square hole in a plane the way is the shorter of the two that touch
// its corners: elementary geometry.
func TestHole(t *testing.T) {
	const n = 20
	m := solid.Plane(n, n)
	var kept []uint32
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		q := r3.Scale(1./3, r3.Add(a, r3.Add(b, c)))
		if math.Abs(q.X) > 3 || math.Abs(q.Y) > 5 {
			kept = append(kept, m.Triangles[3*f:3*f+3]...)
		}
	}
	m.Triangles = kept
	l, points := length(t, m, place(t, m, r3.Vec{X: -8, Y: 1}), place(t, m, r3.Vec{X: 9, Y: 2}))
	want := math.Hypot(5, 4) + 6 + math.Hypot(6, 3)
	if math.Abs(l-want) > 1e-12*want {
		t.Errorf("length %v over %v, wanted %v", l, points, want)
	}
}

// Two squares that hang together by one vertex: the way goes through it.
func TestThroughOneVertex(t *testing.T) {
	m := &mesh.Mesh{
		Positions: []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 2, 1, 0, 2, 2, 0, 1, 2, 0},
		Triangles: []uint32{0, 1, 2, 0, 2, 3, 2, 4, 5, 2, 5, 6},
	}
	l, points := length(t, m, place(t, m, r3.Vec{X: 1}), place(t, m, r3.Vec{X: 1, Y: 2}))
	if math.Abs(l-2) > 1e-15 || len(points) != 3 || points[1] != (r3.Vec{X: 1, Y: 1}) {
		t.Errorf("length %v over %v, wanted 2", l, points)
	}
}

// From and to faces that take no part: a repeat and one without area.
func TestFromBadFaces(t *testing.T) {
	m := solid.Plane(4, 4)
	last := uint32(m.FaceCount() - 1)
	m.Triangles = append(m.Triangles, m.Triangles[0], m.Triangles[1], m.Triangles[2], m.Triangles[3*last], m.Triangles[3*last], m.Triangles[3*last+1])
	from := mesh.SurfacePoint{Face: last + 1, Weights: [3]float64{1}}
	to := mesh.SurfacePoint{Face: last + 2, Weights: [3]float64{0.5, 0.5}}
	l, _ := length(t, m, from, to)
	if want := r3.Norm(r3.Sub(m.At(to), m.At(from))); math.Abs(l-want) > 1e-12 {
		t.Errorf("length %v, wanted %v", l, want)
	}
}

// Between any two places of a sphere the way is an arc of a great circle, less
// the faceting; there and back it is as long.
func TestArcs(t *testing.T) {
	const radius = 50
	m := solid.Icosphere(4, radius)
	edge := mesh.MeanEdge(m) / radius
	random := rand.New(rand.NewPCG(1, 1))
	for range 30 {
		a := mesh.SurfacePoint{Face: uint32(random.IntN(m.FaceCount())), Weights: [3]float64{0.2, 0.3, 0.5}}
		b := mesh.SurfacePoint{Face: uint32(random.IntN(m.FaceCount())), Weights: [3]float64{0.6, 0.3, 0.1}}
		there, _ := length(t, m, a, b)
		back, _ := length(t, m, b, a)
		arc := radius * math.Acos(r3.Cos(m.At(a), m.At(b)))
		// Facets lie inside the sphere by up to edge²/6 of the radius.
		if there > arc || there < arc*(1-edge*edge/6) || math.Abs(there-back) > 1e-9*arc {
			t.Errorf("%v there and %v back, wanted an arc of %v", there, back, arc)
		}
	}
}

// hills is a square of rough ground.
func hills(n int, height float64, seed uint64) *mesh.Mesh {
	m := solid.Plane(float64(n), n)
	random := rand.New(rand.NewPCG(seed, seed))
	for i := 2; i < len(m.Positions); i += 3 {
		m.Positions[i] = float32(height * random.Float64())
	}
	return m
}

// On rough ground, against a search with 31 points on every edge and nothing
// else. That one is too long by less than 0.2 %: moving a crossing by half a gap,
// δ = 1/64 of an edge, adds about δ²/l to two steps of length l, half an edge on
// average. Ours may have gone another side of some bump: at most 1 % longer.
func TestRoughGround(t *testing.T) {
	for seed := range uint64(6) {
		m := hills(14, 1.5, seed)
		random := rand.New(rand.NewPCG(seed, 7))
		from := mesh.SurfacePoint{Face: uint32(random.IntN(60)), Weights: [3]float64{0.3, 0.3, 0.4}}
		to := mesh.SurfacePoint{Face: uint32(m.FaceCount() - 1 - random.IntN(60)), Weights: [3]float64{0.1, 0.5, 0.4}}
		l, points := length(t, m, from, to)
		want := dense(m, from, to, 31)
		if l > want*1.01 || l < want*(1-0.002) {
			t.Errorf("ground %d: length %v, a dense search finds %v", seed, l, want)
		}
		if l > want {
			t.Logf("ground %d: %.3f %% longer than the dense search", seed, 100*(l/want-1))
		}
		var sum float64
		for i := 1; i < len(points); i++ {
			sum += r3.Norm(r3.Sub(points[i], points[i-1]))
		}
		if sum != l || points[0] != m.At(from) || points[len(points)-1] != m.At(to) {
			t.Errorf("ground %d: points of length %v for %v", seed, sum, l)
		}
	}
}

// dense is Dijkstra over n points on every edge, all places of a face joined,
// written without the package's own search.
func dense(m *mesh.Mesh, from, to mesh.SurfacePoint, n int) float64 {
	ids := map[r3.Vec]int{}
	var at []r3.Vec
	id := func(p r3.Vec) int {
		if i, ok := ids[p]; ok {
			return i
		}
		ids[p] = len(at)
		at = append(at, p)
		return len(at) - 1
	}
	faces := make([][]int, m.FaceCount())
	in := map[int][]int{} // faces of a place
	for f := range faces {
		a, b, c := m.Corners(uint32(f))
		p := [3]r3.Vec{a, b, c}
		for k := range 3 {
			u, v := p[k], p[(k+1)%3]
			if u.X > v.X || (u.X == v.X && u.Y > v.Y) {
				u, v = v, u // so that both faces round alike
			}
			for i := range n + 2 {
				t := float64(i) / float64(n+1)
				faces[f] = append(faces[f], id(r3.Add(r3.Scale(1-t, u), r3.Scale(t, v))))
			}
		}
	}
	start, end := len(at), len(at)+1
	at = append(at, m.At(from), m.At(to))
	faces[from.Face] = append(faces[from.Face], start)
	faces[to.Face] = append(faces[to.Face], end)
	for f, list := range faces {
		for _, i := range list {
			in[i] = append(in[i], f)
		}
	}
	cost := make([]float64, len(at))
	done := make([]bool, len(at))
	for i := range cost {
		cost[i] = math.Inf(1)
	}
	cost[start] = 0
	queue := &costs{{0, start}}
	for queue.Len() > 0 {
		top := heap.Pop(queue).(step)
		if done[top.at] {
			continue
		}
		done[top.at] = true
		if top.at == end {
			break
		}
		for _, f := range in[top.at] {
			for _, j := range faces[f] {
				if c := top.cost + r3.Norm(r3.Sub(at[j], at[top.at])); c < cost[j] {
					cost[j] = c
					heap.Push(queue, step{c, j})
				}
			}
		}
	}
	return cost[end]
}

type step struct {
	cost float64
	at   int
}

type costs []step

func (c costs) Len() int           { return len(c) }
func (c costs) Less(i, j int) bool { return c[i].cost < c[j].cost }
func (c costs) Swap(i, j int)      { c[i], c[j] = c[j], c[i] }
func (c *costs) Push(x any)        { *c = append(*c, x.(step)) }
func (c *costs) Pop() any {
	old := *c
	x := old[len(old)-1]
	*c = old[:len(old)-1]
	return x
}

// Two separate triangles have no way between them.
func TestApart(t *testing.T) {
	m := &mesh.Mesh{
		Positions: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 5, 0, 0, 6, 0, 0, 5, 1, 0},
		Triangles: []uint32{0, 1, 2, 3, 4, 5},
	}
	w := mesh.NewWeld(m)
	third := [3]float64{1. / 3, 1. / 3, 1. / 3}
	_, _, err := Path(t.Context(), m, w, mesh.NewTopology(m, w), mesh.SurfacePoint{Face: 0, Weights: third}, mesh.SurfacePoint{Face: 1, Weights: third})
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
		if _, _, err := Path(b.Context(), m, w, topo, from, to); err != nil {
			b.Fatal(err)
		}
	}
}
