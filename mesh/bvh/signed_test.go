package bvh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/solid"
)

func signed(m *mesh.Mesh) (*bvh.Tree, *bvh.Signed) {
	w := mesh.NewWeld(m)
	t := bvh.Build(m)
	return t, bvh.NewSigned(m, w, mesh.NewTopology(m, w), t)
}

func cloud(n int, size float64) []r3.Vec {
	random := rand.New(rand.NewPCG(1, 2))
	points := make([]r3.Vec, n)
	for i := range points {
		points[i] = r3.Vec{X: size * (random.Float64() - 0.5), Y: size * (random.Float64() - 0.5), Z: size * (random.Float64() - 0.5)}
	}
	return points
}

func closestAll(t *testing.T, tree *bvh.Tree, points []r3.Vec) []bvh.Hit {
	t.Helper()
	hits := make([]bvh.Hit, len(points))
	at := func(i int) r3.Vec { return points[i] }
	if err := tree.ClosestAll(context.Background(), len(points), at, 0, hits); err != nil {
		t.Fatal(err)
	}
	return hits
}

// Signed distance to a cube in closed form: the sign agrees at every one of
// 1e5 random points, the distance to rounding.
func TestCubeSign(t *testing.T) {
	tree, sign := signed(solid.Cube(2))
	points := cloud(100_000, 4)
	for i, h := range closestAll(t, tree, points) {
		p := points[i]
		x, y, z := math.Abs(p.X)-1, math.Abs(p.Y)-1, math.Abs(p.Z)-1
		want := r3.Norm(r3.Vec{X: max(x, 0), Y: max(y, 0), Z: max(z, 0)}) + min(0, max(x, y, z))
		got, defined := sign.Distance(p, h)
		if !defined || math.Abs(got-want) > 1e-12 {
			t.Fatalf("at %v the distance is %g (defined %v), want %g", p, got, defined, want)
		}
	}
}

// A sphere's distance is |x| - R; the facets of level 6 lie up to e²/6 = 6e-5 R
// inside it (e the mean edge, sagitta of a chord).
func TestSphereDistance(t *testing.T) {
	const radius = 25
	tree, sign := signed(solid.Icosphere(6, radius))
	points := cloud(50_000, 4*radius)
	for i, h := range closestAll(t, tree, points) {
		got, defined := sign.Distance(points[i], h)
		if want := r3.Norm(points[i]) - radius; !defined || math.Abs(got-want) > 1e-4*radius {
			t.Fatalf("at %v the distance is %g (defined %v), want %g", points[i], got, defined, want)
		}
	}
}

// wedge is a prism along y whose cross-section has a tip of the given angle
// at zero and opens towards x = 10.
func wedge(degrees float64) *mesh.Mesh {
	h := float32(10 * math.Tan(degrees/2*math.Pi/180))
	return &mesh.Mesh{
		Positions: []float32{
			0, -10, 0, 10, -10, -h, 10, -10, h,
			0, 10, 0, 10, 10, -h, 10, 10, h,
		},
		Triangles: []uint32{
			0, 1, 2, 3, 5, 4, // ends
			0, 3, 4, 0, 4, 1, // below
			0, 2, 5, 0, 5, 3, // above
			1, 4, 5, 1, 5, 2, // back
		},
	}
}

// Inside a prism a point lies behind all five planes: elementary geometry. At
// a tip of 5° the two faces' normals nearly cancel, and the normal of one face
// alone is wrong for half of the points near the edge.
func TestThinWedge(t *testing.T) {
	m := wedge(5)
	tree, sign := signed(m)
	if v := mesh.Volume(m); !(v > 0) {
		t.Fatalf("the wedge is inside out: volume %g", v)
	}
	slope := math.Tan(2.5 * math.Pi / 180)
	random := rand.New(rand.NewPCG(5, 5))
	inside := 0
	for range 50_000 {
		p := r3.Vec{X: 2*random.Float64() - 1, Y: 24*random.Float64() - 12, Z: 0.1 * random.NormFloat64()}
		margin := min(p.X*slope-math.Abs(p.Z), 10-math.Abs(p.Y))
		if math.Abs(margin) < 1e-6 {
			continue // float32 corners move the planes by this much
		}
		h, _ := tree.Closest(p, 0)
		d, defined := sign.Distance(p, h)
		if !defined || (d < 0) != (margin > 0) {
			t.Fatalf("at %v (margin %g) the distance is %g, defined %v", p, margin, d, defined)
		}
		if d < 0 {
			inside++
		}
	}
	if inside < 1000 {
		t.Fatalf("only %d points were inside", inside)
	}
}

// sliverTip is a tall pyramid over a square whose one side face is cut into
// many slivers that meet at the tip.
func sliverTip(slivers int) *mesh.Mesh {
	m := &mesh.Mesh{Positions: []float32{0, 0, 4, -1, -1, 0, -1, 1, 0, 1, 1, 0}}
	// The rim from corner (1,-1) to (-1,-1), which is vertex 1.
	rim := []uint32{2}
	for i := range slivers {
		m.Positions = append(m.Positions, 1-2*float32(i)/float32(slivers), -1, 0)
		rim = append(rim, uint32(4+i))
	}
	slices.Reverse(rim[1:])
	rim = slices.Insert(rim, 1, 1)
	m.Triangles = []uint32{0, 2, 1, 0, 3, 2, 0, 4, 3}
	for i := 1; i+1 < len(rim); i++ {
		m.Triangles = append(m.Triangles, 0, rim[i], rim[i+1])
	}
	// The bottom, a fan from corner (1, 1).
	for i := 0; i+1 < len(rim); i++ {
		m.Triangles = append(m.Triangles, 3, rim[i+1], rim[i])
	}
	return m
}

// At a vertex whose one side is cut into many slivers, sums of normals that
// are not weighted by angle lean to that side and take points beyond the tip
// for inside (the counter-test of Bærentzen and Aanæs 2005).
func TestSliverTip(t *testing.T) {
	m := sliverTip(400)
	w := mesh.NewWeld(m)
	topo := mesh.NewTopology(m, w)
	if !topo.Closed() || !topo.Oriented() || mesh.Volume(m) <= 0 {
		t.Fatalf("border %d, turned %d, volume %g", topo.Border, topo.Turned, mesh.Volume(m))
	}
	tree := bvh.Build(m)
	sign := bvh.NewSigned(m, w, topo, tree)
	var plain r3.Vec // the sum without weights, for contrast
	for _, f := range topo.FacesOf(0) {
		plain = r3.Add(plain, r3.Unit(m.AreaVector(f)))
	}
	random := rand.New(rand.NewPCG(6, 6))
	tip := r3.Vec{Z: 4}
	fooled, asked := 0, 0
	for range 20_000 {
		p := r3.Add(tip, r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()})
		h, _ := tree.Closest(p, 0)
		// Inside the pyramid: |x|, |y| < (4 - z)/4, z > 0.
		inside := p.Z > 0 && max(math.Abs(p.X), math.Abs(p.Y)) < (4-p.Z)/4
		d, defined := sign.Distance(p, h)
		if !defined || (d < 0) != inside {
			t.Fatalf("at %v the distance is %g (defined %v), inside is %v", p, d, defined, inside)
		}
		if h.Point == tip {
			asked++
			if (r3.Dot(plain, r3.Sub(p, tip)) < 0) != inside {
				fooled++
			}
		}
	}
	if asked < 100 || fooled == 0 {
		t.Errorf("of %d points closest to the tip a plain sum is wrong at %d: the test proves nothing", asked, fooled)
	}
}

// Beyond the rim of an open square the side is undefined, above and below it
// is known.
func TestOpenSquare(t *testing.T) {
	tree, sign := signed(solid.Plane(10, 4))
	points := cloud(20_000, 30)
	for i, h := range closestAll(t, tree, points) {
		p := points[i]
		d, defined := sign.Distance(p, h)
		if over := max(math.Abs(p.X), math.Abs(p.Y)) < 5; defined != over {
			t.Fatalf("at %v defined is %v, want %v", p, defined, over)
		}
		if defined && d != p.Z {
			t.Fatalf("at %v the distance is %g, want %g", p, d, p.Z)
		}
	}
	// On the rim itself the distance is 0, whatever the side.
	edge := r3.Vec{X: 5, Y: 1}
	h, _ := tree.Closest(edge, 0)
	if d, defined := sign.Distance(edge, h); d != 0 || !defined {
		t.Errorf("on the rim the distance is %g, defined %v", d, defined)
	}
}

// Repeated and degenerate faces, and faces without area along a sharp edge,
// change no sign. The wedge's tip gets, on its upper face, a face of three
// corners in line and a repeat of every face.
func TestSignBesideBadFaces(t *testing.T) {
	m := wedge(20)
	// A vertex in the middle of the tip, used by the upper faces only: the gap
	// is closed by a face without area.
	m.Positions = append(m.Positions, 0, 0, 0)
	m.Triangles = []uint32{
		0, 2, 6, 6, 2, 5, 6, 5, 3, // first, so that ties go to them
		0, 1, 2, 3, 5, 4, 0, 3, 4, 0, 4, 1, 1, 4, 5, 1, 5, 2,
		0, 6, 3, // no area
		0, 0, 6, // degenerate
	}
	n := len(m.Triangles)
	m.Triangles = append(m.Triangles, m.Triangles[:n-3]...) // repeats
	w := mesh.NewWeld(m)
	topo := mesh.NewTopology(m, w)
	if !topo.Closed() || topo.Duplicate != n/3-1 || topo.Degenerate != 1 {
		t.Fatalf("closed %v, %d repeats, %d degenerate", topo.Closed(), topo.Duplicate, topo.Degenerate)
	}
	tree := bvh.Build(m)
	sign := bvh.NewSigned(m, w, topo, tree)
	slope := math.Tan(10 * math.Pi / 180)
	random := rand.New(rand.NewPCG(7, 7))
	for range 20_000 {
		p := r3.Vec{X: 2*random.Float64() - 1.5, Y: 18*random.Float64() - 9, Z: 0.3 * random.NormFloat64()}
		if random.IntN(4) == 0 {
			p.Y = 0
		}
		margin := p.X*slope - math.Abs(p.Z)
		if math.Abs(margin) < 1e-6 {
			continue
		}
		h, _ := tree.Closest(p, 0)
		if d, defined := sign.Distance(p, h); !defined || (d < 0) != (margin > 0) {
			t.Fatalf("at %v (margin %g) the distance is %g, defined %v, hit %+v", p, margin, d, defined, h)
		}
	}
}

// A fin of two faces back to back on a closed body changes nothing at the body
// and is itself without a side.
func TestFin(t *testing.T) {
	m := solid.Cube(2)
	m.Positions = append(m.Positions, 0, 0, 3)
	fin := uint32(m.VertexCount() - 1)
	var top []uint32 // two ends of an edge of the upper side
	for v := range fin {
		if p := m.Vertex(v); p.Z > 0 && p.Y > 0 {
			top = append(top, v)
		}
	}
	m.Triangles = append(m.Triangles, top[0], top[1], fin, top[1], top[0], fin)
	w := mesh.NewWeld(m)
	topo := mesh.NewTopology(m, w)
	if !topo.Closed() || topo.Duplicate != 2 {
		t.Fatalf("closed %v, %d repeats", topo.Closed(), topo.Duplicate)
	}
	tree := bvh.Build(m)
	sign := bvh.NewSigned(m, w, topo, tree)
	for _, p := range cloud(20_000, 4) {
		h, _ := tree.Closest(p, 0)
		_, defined := sign.Distance(p, h)
		atFin := h.Face >= 12 && !(h.Feature == bvh.FeatureEdge && h.Corner == 0) && !(h.Feature == bvh.FeatureVertex && h.Corner < 2)
		if defined == atFin {
			t.Fatalf("at %v defined is %v, hit %+v", p, defined, h)
		}
	}
}

// Two wedges of 20° that touch at their tips, one turned up by 150° against the
// other: their common edge has four faces, and the side is known all the same.
func TestTouchingBodies(t *testing.T) {
	m := wedge(20)
	n := uint32(m.VertexCount())
	sin, cos := math.Sincos(150 * math.Pi / 180)
	for i := range n {
		p := m.Vertex(i)
		m.Positions = append(m.Positions, float32(cos*p.X-sin*p.Z), float32(p.Y), float32(sin*p.X+cos*p.Z))
	}
	for _, v := range slices.Clone(m.Triangles) {
		m.Triangles = append(m.Triangles, v+n)
	}
	w := mesh.NewWeld(m)
	topo := mesh.NewTopology(m, w)
	if topo.NonManifold != 1 || topo.Border != 0 {
		t.Fatalf("%d non-manifold edges, %d border edges", topo.NonManifold, topo.Border)
	}
	tree := bvh.Build(m)
	sign := bvh.NewSigned(m, w, topo, tree)
	slope := math.Tan(10 * math.Pi / 180)
	atEdge := 0
	for _, p := range cloud(20_000, 2) {
		x, z := cos*p.X+sin*p.Z, cos*p.Z-sin*p.X // in the turned wedge
		margin := max(p.X*slope-math.Abs(p.Z), x*slope-math.Abs(z))
		if math.Abs(margin) < 1e-6 {
			continue
		}
		h, _ := tree.Closest(p, 0)
		if d, defined := sign.Distance(p, h); !defined || (d < 0) != (margin > 0) {
			t.Fatalf("at %v (margin %g) the distance is %g, defined %v", p, margin, d, defined)
		}
		if h.Point.X == 0 && h.Point.Z == 0 {
			atEdge++
		}
	}
	if atEdge < 100 {
		t.Errorf("only %d points were closest to the edge", atEdge)
	}
}

// The answers have the same bits on one processor and on two, and are those of
// single queries.
func TestSameAnswersOnAnyNumberOfProcessors(t *testing.T) {
	m := solid.Torus(30, 8, 300, 100)
	tree := bvh.Build(m)
	points := cloud(20_000, 80)
	for i := range 5_000 {
		points[i] = m.Vertex(uint32(i)) // distance 0, six faces alike
	}
	before := runtime.GOMAXPROCS(1)
	one := closestAll(t, bvh.Build(m), points)
	runtime.GOMAXPROCS(max(2, before))
	two := closestAll(t, tree, points)
	runtime.GOMAXPROCS(before)
	for i, p := range points {
		alone, _ := tree.Closest(p, 0)
		if one[i] != two[i] || one[i] != alone {
			t.Fatalf("at %v: %+v on one processor, %+v on two, %+v alone", p, one[i], two[i], alone)
		}
	}
}

// A batch that is stopped says so and does not go on.
func TestClosestAllStops(t *testing.T) {
	m := solid.Icosphere(4, 10)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	hits := make([]bvh.Hit, 100_000)
	err := bvh.Build(m).ClosestAll(ctx, len(hits), func(int) r3.Vec { return r3.Vec{} }, 0, hits)
	if err != context.Canceled {
		t.Errorf("the error is %v", err)
	}
}

// Meshes without a place and places that are none give no answer.
func TestNothingThere(t *testing.T) {
	nan := float32(math.NaN())
	for name, m := range map[string]*mesh.Mesh{
		"empty":  {},
		"no one": {Positions: []float32{nan, 0, 0, 1, 0, 0, 0, 1, 0}, Triangles: []uint32{0, 1, 2}},
	} {
		tree := bvh.Build(m)
		if h, ok := tree.Closest(r3.Vec{}, 0); ok || h.Face != bvh.None {
			t.Errorf("%s: found face %d", name, h.Face)
		}
		if _, _, ok := tree.Ray(r3.Vec{}, r3.Vec{X: 1}); ok {
			t.Errorf("%s: a ray met something", name)
		}
		tree.Within(r3.Vec{}, 1e9, func(f uint32) { t.Errorf("%s: face %d is near", name, f) })
		if hits := closestAll(t, tree, make([]r3.Vec, 3)); hits[2].Face != bvh.None {
			t.Errorf("%s: found face %d", name, hits[2].Face)
		}
	}
	tree := bvh.Build(solid.Cube(1))
	if _, ok := tree.Closest(r3.Vec{X: math.NaN()}, 0); ok {
		t.Error("a place that is not a number has a closest point")
	}
	if h, ok := tree.Closest(r3.Vec{X: 1e30}, 0); !ok || h.Distance != 1e30 {
		t.Errorf("very far away: %+v", h)
	}
	if _, ok := tree.Closest(r3.Vec{X: 10}, 9); ok {
		t.Error("found beyond the distance asked for")
	}
}

// A ray through a closed body crosses it an even number of times, and inside
// if the sign says so (Jordan); the two find the same.
func TestRayParityAgreesWithSign(t *testing.T) {
	tree, sign := signed(solid.Torus(30, 8, 91, 37))
	dir := r3.Vec{X: 0.31, Y: 0.77, Z: 0.53} // through no edge
	for _, p := range cloud(3_000, 70) {
		h, _ := tree.Closest(p, 0)
		d, _ := sign.Distance(p, h)
		crossings := 0
		tree.RayAll(p, dir, func(uint32, float64) { crossings++ })
		if (crossings%2 == 1) != (d < 0) {
			t.Fatalf("at %v the distance is %g, a ray crosses %d times", p, d, crossings)
		}
	}
}
