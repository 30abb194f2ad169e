package mesh_test

import (
	"context"
	"math"
	"sync/atomic"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// A naive sum of 1, 1e100, 1, -1e100 gives 0; the compensated one 2 (the
// example of Neumaier 1974). Blocks of many terms keep their digits too.
func TestSum(t *testing.T) {
	var s mesh.Sum
	for _, x := range []float64{1, 1e100, 1, -1e100} {
		s.Add(x)
	}
	near(t, "sum", s.Value(), 2, 0)
	const n = 1_000_000
	got := mesh.SumBlocks(n, func(i int) float64 { return 0.125 + 1e12*float64(i%2*2-1) })
	near(t, "a million terms", got, 0.125*n, 0)
	near(t, "no terms", mesh.SumBlocks(0, func(int) float64 { return 1 }), 0, 0)
}

// Every block is done once; a stopped run says so and leaves blocks out.
func TestParallel(t *testing.T) {
	done := make([]int32, 1000)
	if err := mesh.Parallel(context.Background(), len(done), func(b int) { done[b]++ }); err != nil {
		t.Fatal(err)
	}
	for b, n := range done {
		if n != 1 {
			t.Fatalf("block %d was done %d times", b, n)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	var count atomic.Int32
	err := mesh.Parallel(ctx, 1000, func(b int) {
		if count.Add(1) == 10 {
			cancel()
		}
	})
	if err != context.Canceled || count.Load() > 100 {
		t.Errorf("stopped after ten blocks: %d were done, error %v", count.Load(), err)
	}
}

// Normals of a sphere point outward; those of a cube's corners along its
// diagonals, however its sides are cut into triangles, which weights by area
// or none would not give.
func TestVertexNormals(t *testing.T) {
	m := solid.Icosphere(4, 10)
	for v, n := range mesh.VertexNormals(m, mesh.NewWeld(m)) {
		if d := r3.Norm(r3.Sub(n, r3.Unit(m.Vertex(uint32(v))))); d > 0.003 {
			t.Fatalf("vertex %d: the normal is %g off", v, d)
		}
	}
	cube := unshared(solid.Cube(2))
	w := mesh.NewWeld(cube)
	normals := mesh.VertexNormals(cube, w)
	for v, id := range w.Of {
		want := r3.Unit(cube.Vertex(uint32(v)))
		if d := r3.Norm(r3.Sub(normals[id], want)); d > 1e-12 {
			t.Fatalf("corner %v: normal %v", cube.Vertex(uint32(v)), normals[id])
		}
	}
	// Faces without area give nothing, and no NaN.
	flat := &mesh.Mesh{Positions: []float32{0, 0, 0, 1, 0, 0, 2, 0, 0}, Triangles: []uint32{0, 1, 2}}
	for _, n := range mesh.VertexNormals(flat, mesh.NewWeld(flat)) {
		if n != (r3.Vec{}) {
			t.Errorf("a face without area has normal %v", n)
		}
	}
}

// Angles of a triangle add up to π, needles included.
func TestCornerAngle(t *testing.T) {
	a, b, c := r3.Vec{}, r3.Vec{X: 100}, r3.Vec{X: 50, Y: 1e-7}
	sum := mesh.CornerAngle(a, b, c) + mesh.CornerAngle(b, c, a) + mesh.CornerAngle(c, a, b)
	near(t, "sum of angles", sum, math.Pi, 1e-15)
	near(t, "angle at a", mesh.CornerAngle(a, b, c), 2e-9, 1e-20)
}

// Samples are spread by area: each stratum of a sphere of equal area along z
// (Archimedes) holds the share that Poisson's law allows, and much closer,
// since they are stratified. The same seed gives the same points.
func TestSample(t *testing.T) {
	m := solid.Icosphere(5, 10)
	const n, bins = 50_000, 10
	points := mesh.Sample(m, n, 1)
	if len(points) != n {
		t.Fatalf("%d points", len(points))
	}
	var counts [bins]int
	var middle r3.Vec
	for _, p := range points {
		w := p.Weights
		if min(w[0], w[1], w[2]) < 0 || math.Abs(w[0]+w[1]+w[2]-1) > 1e-12 {
			t.Fatalf("weights %v", w)
		}
		at := m.At(p)
		middle = r3.Add(middle, r3.Scale(1./n, at))
		counts[min(bins-1, max(0, int((at.Z/10+1)/2*bins)))]++
	}
	for _, c := range counts {
		// Four standard deviations of a binomial count.
		near(t, "points in a zone", float64(c), n/bins, 4*math.Sqrt(n/bins))
	}
	near(t, "middle of the points", r3.Norm(middle), 0, 0.1)
	again := mesh.Sample(m, n, 1)
	other := mesh.Sample(m, n, 2)
	same := 0
	for i := range points {
		if points[i] != again[i] {
			t.Fatal("the same seed gives other points")
		}
		if points[i] == other[i] {
			same++
		}
	}
	if same > 0 {
		t.Errorf("another seed gives %d points alike", same)
	}
	// A large face and a small one: 99 and 1 per cent, exactly so by strata.
	two := &mesh.Mesh{
		Positions: []float32{0, 0, 0, 99, 0, 0, 0, 2, 0, 0, 0, 1, 1, 0, 1, 0, 2, 1, 5, 5, 5},
		Triangles: []uint32{6, 6, 6, 0, 1, 2, 3, 4, 5, 6, 6, 6},
	}
	var on [4]int
	for _, p := range mesh.Sample(two, 1000, 3) {
		on[p.Face]++
	}
	if on != [4]int{0, 990, 10, 0} {
		t.Errorf("points on the faces: %v", on)
	}
	if p := mesh.Sample(&mesh.Mesh{}, 10, 1); p != nil {
		t.Errorf("an empty mesh has %d samples", len(p))
	}
}

// A constant stays; a spike of one vertex with n neighbours becomes 1/(n+1)
// there and in each neighbour 1/(its own ring + 1); undefined stays and gives
// nothing.
func TestSmoothField(t *testing.T) {
	m := solid.Icosphere(2, 1)
	_, topo := topologyOf(m)
	n := topo.VertexCount()
	flat := make([]float64, n)
	for i := range flat {
		flat[i] = 3
	}
	flat[7] = math.NaN()
	for v, x := range mesh.SmoothField(topo, flat, 5) {
		if v == 7 {
			if !math.IsNaN(x) {
				t.Errorf("the undefined vertex became %g", x)
			}
		} else if !(math.Abs(x-3) <= 1e-15) {
			t.Fatalf("a constant became %g", x)
		}
	}
	spike := make([]float64, n)
	spike[0] = 1 // an icosahedron's own vertex: five neighbours
	once := mesh.SmoothField(topo, spike, 1)
	ring := topo.Ring(0, nil)
	near(t, "the spike", once[0], 1./6, 1e-15)
	if len(ring) != 5 {
		t.Fatalf("%d neighbours", len(ring))
	}
	for _, u := range ring {
		near(t, "a neighbour of the spike", once[u], 1./7, 1e-15)
	}
	var sum float64
	for _, x := range mesh.SmoothField(topo, spike, 0) {
		sum += x
	}
	if sum != 1 || spike[0] != 1 {
		t.Error("no rounds changed the field, or the field given was changed")
	}
}

// A motion keeps area and volume and turns normals; a scale of 2 makes them 4
// and 8 times as large and leaves normals of unit length; far from zero no
// digits are lost.
func TestTransform(t *testing.T) {
	m := solid.Ellipsoid(4, 3, 2, 1)
	for i := range uint32(m.VertexCount()) {
		p := m.Vertex(i)
		n := r3.Unit(r3.Vec{X: p.X / 9, Y: p.Y / 4, Z: p.Z})
		m.Normals = append(m.Normals, float32(n.X), float32(n.Y), float32(n.Z))
	}
	sin, cos := math.Sincos(0.7)
	for _, c := range []struct {
		scale, shift float64
	}{{1, 0}, {2, 0}, {1, 1e6}} {
		moved := mesh.Transform(m, func(p r3.Vec) r3.Vec {
			return r3.Vec{X: c.scale*(cos*p.X-sin*p.Y) + c.shift, Y: c.scale * (sin*p.X + cos*p.Y), Z: c.scale * p.Z}
		})
		near(t, "area", mesh.Area(moved), c.scale*c.scale*mesh.Area(m), 1e-7*mesh.Area(m))
		near(t, "volume", mesh.Volume(moved), math.Pow(c.scale, 3)*mesh.Volume(m), 1e-7*mesh.Volume(m))
		for i := range uint32(m.VertexCount()) {
			was := r3.Vec{X: float64(m.Normals[3*i]), Y: float64(m.Normals[3*i+1]), Z: float64(m.Normals[3*i+2])}
			got := r3.Vec{X: float64(moved.Normals[3*i]), Y: float64(moved.Normals[3*i+1]), Z: float64(moved.Normals[3*i+2])}
			want := r3.Vec{X: cos*was.X - sin*was.Y, Y: sin*was.X + cos*was.Y, Z: was.Z}
			if d := r3.Norm(r3.Sub(got, want)); d > 1e-6 {
				t.Fatalf("scale %g: normal %v, want %v", c.scale, got, want)
			}
		}
	}
	// A stretch along x alone: the normal of an ellipsoid of 6 2 1 is that of
	// its own equation, not the old one stretched.
	long := mesh.Transform(m, func(p r3.Vec) r3.Vec { return r3.Vec{X: 2 * p.X, Y: p.Y, Z: p.Z} })
	for i := range uint32(m.VertexCount()) {
		p := long.Vertex(i)
		want := r3.Unit(r3.Vec{X: p.X / 36, Y: p.Y / 4, Z: p.Z})
		got := r3.Vec{X: float64(long.Normals[3*i]), Y: float64(long.Normals[3*i+1]), Z: float64(long.Normals[3*i+2])}
		if d := r3.Norm(r3.Sub(got, want)); d > 1e-6 {
			t.Fatalf("stretched: normal %v, want %v", got, want)
		}
	}
}
