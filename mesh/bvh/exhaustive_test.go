package bvh

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"unsafe"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// soup draws a mesh of the kinds that break trees: triangles of very mixed
// size, needles, flat ones, points, repeats, all in one place, far from zero,
// in any unit.
func soup(t *rapid.T) (*mesh.Mesh, *rand.Rand) {
	random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	n := rapid.IntRange(1, 700).Draw(t, "faces")
	kind := rapid.SampledFrom([]string{"alike", "mixed", "needles", "flat", "points", "repeats", "one place", "strays"}).Draw(t, "kind")
	unit := math.Pow(10, float64(rapid.IntRange(-7, 7).Draw(t, "unit")))
	offset := float32(rapid.SampledFrom([]float64{0, 3, 1000}).Draw(t, "offset"))
	m := &mesh.Mesh{Origin: r3.Vec{X: unit * float64(rapid.IntRange(-5, 5).Draw(t, "origin"))}}
	number := func() float32 { return random.Float32()*2 - 1 }
	for f := range n {
		size := float32(0.1)
		if kind == "mixed" {
			size = float32(math.Pow(10, 3*random.Float64()-3))
		}
		place := [3]float32{number(), number(), number()}
		if kind == "one place" {
			place = [3]float32{}
		}
		if kind == "strays" && random.IntN(20) == 0 {
			size = float32(math.Pow(10, 5*random.Float64()-3))
			place[0] = float32(math.Pow(10, 4*random.Float64()))
		}
		u := [3]float32{size * number(), size * number(), size * number()}
		v := [3]float32{size * number(), size * number(), size * number()}
		switch kind {
		case "needles":
			for k := range v {
				v[k] *= 1e-5
			}
		case "flat":
			for k := range v {
				v[k] = u[k] * 0.4
			}
		case "points":
			u, v = [3]float32{}, [3]float32{}
		}
		if kind == "repeats" && f%2 == 1 {
			m.Triangles = append(m.Triangles, m.Triangles[3*f-3:]...)
			continue
		}
		for _, c := range [3][3]float32{{}, u, v} {
			for k := range 3 {
				m.Positions = append(m.Positions, (place[k]+c[k]+offset)*float32(unit))
			}
		}
		at := uint32(m.VertexCount())
		corners := []uint32{at - 3, at - 2, at - 1}
		random.Shuffle(3, func(i, j int) { corners[i], corners[j] = corners[j], corners[i] })
		m.Triangles = append(m.Triangles, corners...)
	}
	return m, random
}

// around draws a place on, near or far from the mesh.
func around(m *mesh.Mesh, random *rand.Rand) r3.Vec {
	b := mesh.Bounds(m)
	a, d, c := m.Corners(uint32(random.IntN(m.FaceCount())))
	on := r3.Scale(1./3, r3.Add(a, r3.Add(d, c)))
	step := r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}
	switch random.IntN(5) {
	case 0:
		return a
	case 1:
		return on
	case 2:
		return r3.Add(on, r3.Scale(1e-3*b.Diagonal(), step))
	case 3:
		return r3.Add(on, r3.Scale(b.Diagonal(), step))
	}
	return r3.Add(on, r3.Scale(1e5*b.Diagonal(), step))
}

// The tree gives, to the last bit, what trying every face in float64 gives.
func TestClosestIsExhaustive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, random := soup(t)
		tree := Build(m)
		for range 20 {
			p := around(m, random)
			within := 0.0
			if random.IntN(3) == 0 {
				within = random.Float64() * mesh.Bounds(m).Diagonal()
			}
			want := search{t: tree, p: p, face: None, best: onTriangle{d2: math.Inf(1)}}
			if within > 0 {
				want.best.d2 = within * within
			}
			for f := range uint32(m.FaceCount()) {
				want.try(f)
			}
			got, ok := tree.Closest(p, within)
			if got != want.hit() || ok != (want.face != None) {
				t.Fatalf("at %v within %g:\n got %+v\nwant %+v", p, within, got, want.hit())
			}
		}
	})
}

// Within visits exactly the faces that trying every one finds, each once.
func TestWithinIsExhaustive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, random := soup(t)
		tree := Build(m)
		for range 10 {
			p := around(m, random)
			radius := mesh.Bounds(m).Diagonal() * math.Pow(10, -3*random.Float64())
			var want, got []uint32
			for f := range uint32(m.FaceCount()) {
				a, b, c := m.Corners(f)
				if closestOnTriangle(p, a, b, c).d2 <= radius*radius {
					want = append(want, f)
				}
			}
			tree.Within(p, radius, func(f uint32) { got = append(got, f) })
			slices.Sort(got)
			if !slices.Equal(got, want) {
				t.Fatalf("within %g of %v: %d faces, want %d", radius, p, len(got), len(want))
			}
		}
	})
}

// Rays meet exactly the faces that trying every one finds.
func TestRayIsExhaustive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, random := soup(t)
		tree := Build(m)
		for range 10 {
			origin := around(m, random)
			a, b, c := m.Corners(uint32(random.IntN(m.FaceCount())))
			dir := r3.Sub(r3.Scale(1./3, r3.Add(a, r3.Add(b, c))), origin)
			if random.IntN(4) == 0 {
				dir = [3]r3.Vec{{X: 1}, {Y: -1}, {Z: 1}}[random.IntN(3)]
			}
			l := r3.Norm(dir)
			if l == 0 {
				continue
			}
			var want, got []uint32
			r := newRay(origin, r3.Scale(1/l, dir))
			first, near := None, math.Inf(1)
			for f := range uint32(m.FaceCount()) {
				a, b, c := m.Corners(f)
				if d, ok := r.meets(a, b, c); ok {
					want = append(want, f)
					if d < near {
						first, near = f, d
					}
				}
			}
			tree.RayAll(origin, dir, func(f uint32, _ float64) { got = append(got, f) })
			slices.Sort(got)
			if !slices.Equal(got, want) {
				t.Fatalf("ray from %v along %v meets %v, want %v", origin, dir, got, want)
			}
			if face, d, ok := tree.Ray(origin, dir); ok != (first != None) || face != first || (ok && d != near) {
				t.Fatalf("ray from %v along %v first meets %d at %g, want %d at %g", origin, dir, face, d, first, near)
			}
		}
	})
}

// The closest point of a triangle against a second way to find it: the foot of
// the perpendicular if it lies inside, else the closest of the three sides.
// Vertices and sides are right to rounding; a needle's plane is not better
// known than its width allows.
func TestClosestOnTriangle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, random := soup(t)
		a, b, c := m.Corners(0)
		p := around(m, random)
		size := mesh.Bounds(m).Diagonal() + r3.Norm(r3.Sub(p, a))
		on := closestOnTriangle(p, a, b, c)
		onSide := func(u, v r3.Vec) float64 {
			d := r3.Sub(v, u)
			s := 0.0
			if l := r3.Norm2(d); l > 0 {
				s = min(1, max(0, r3.Dot(r3.Sub(p, u), d)/l))
			}
			return r3.Norm(r3.Sub(p, r3.Add(u, r3.Scale(s, d))))
		}
		want := min(onSide(a, b), onSide(b, c), onSide(c, a))
		if n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a)); r3.Norm(n) > 0 {
			n = r3.Unit(n)
			foot := r3.Sub(p, r3.Scale(r3.Dot(n, r3.Sub(p, a)), n))
			inside := true
			for _, s := range [3][2]r3.Vec{{a, b}, {b, c}, {c, a}} {
				inside = inside && r3.Dot(n, r3.Cross(r3.Sub(s[1], s[0]), r3.Sub(foot, s[0]))) >= 0
			}
			if inside {
				want = min(want, math.Abs(r3.Dot(n, r3.Sub(p, a))))
			}
		}
		if d := math.Sqrt(on.d2); math.Abs(d-want) > 1e-9*size {
			t.Errorf("distance %g, want %g (size %g)", d, want, size)
		}
		sum := on.weights[0] + on.weights[1] + on.weights[2]
		at := m.At(mesh.SurfacePoint{Weights: on.weights})
		if math.Abs(sum-1) > 1e-12 || r3.Norm(r3.Sub(at, on.point)) > 1e-9*size {
			t.Errorf("weights %v stand at %v, the point is %v", on.weights, at, on.point)
		}
	})
}

// A scan of a body with what stands beside it in real files: a table of large
// triangles under it, needles that close a hole, and a stray face ten thousand
// body sizes away, which must neither hide a face nor make the leaves coarse.
// The tree gives what trying every face in float64 gives, and its leaves stay
// as small as those of the body alone.
func TestBodyOnATable(t *testing.T) {
	body := solid.Icosphere(5, 30)
	random := rand.New(rand.NewPCG(8, 8))
	add := func(m *mesh.Mesh, corners ...[3]float32) {
		for _, c := range corners {
			m.Triangles = append(m.Triangles, uint32(m.VertexCount()))
			m.Positions = append(m.Positions, c[:]...)
		}
	}
	m := &mesh.Mesh{}
	add(m, [3]float32{6e5, 6e5, 6e5}, [3]float32{6e5, 7e5, 6e5}, [3]float32{6e5, 6e5, 7e5}) // first, so that it is surely seen
	first := uint32(m.VertexCount())
	m.Positions = append(m.Positions, body.Positions...)
	for _, f := range random.Perm(body.FaceCount()) { // the order of the file must not help
		for _, v := range body.Triangles[3*f : 3*f+3] {
			m.Triangles = append(m.Triangles, v+first)
		}
	}
	for x := float32(-120); x < 120; x += 40 {
		for y := float32(-120); y < 120; y += 40 {
			add(m, [3]float32{x, y, -30}, [3]float32{x + 40, y, -30}, [3]float32{x, y + 40, -30})
			add(m, [3]float32{x + 40, y, -30}, [3]float32{x + 40, y + 40, -30}, [3]float32{x, y + 40, -30})
		}
	}
	for i := range 500 {
		a, b := math.Sincos(2 * math.Pi * float64(i) / 500)
		c, d := math.Sincos(2 * math.Pi * float64(i+1) / 500)
		add(m, [3]float32{0, 0, 31}, [3]float32{float32(15 * a), float32(15 * b), 28}, [3]float32{float32(15 * c), float32(15 * d), 28})
	}
	tree := Build(m)
	for i := range 400 {
		p := r3.Scale(30+3*random.NormFloat64(), r3.Unit(r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}))
		if i%3 == 0 {
			p = r3.Vec{X: 300*random.Float64() - 150, Y: 300*random.Float64() - 150, Z: -30 + random.NormFloat64()}
		}
		want := search{t: tree, p: p, face: None, best: onTriangle{d2: math.Inf(1)}}
		for f := range uint32(m.FaceCount()) {
			want.try(f)
		}
		if got, _ := tree.Closest(p, 0); got != want.hit() {
			t.Fatalf("at %v:\n got %+v\nwant %+v", p, got, want.hit())
		}
	}
	if alone, beside := middleLeaf(Build(body)), middleLeaf(tree); beside > 2*alone {
		t.Errorf("the middle one of the leaves is %.2f mm large, %.2f with the body alone", beside, alone)
	}
}

// middleLeaf is the median size of the leaves of a tree, mesh unit.
func middleLeaf(t *Tree) float64 {
	var sizes []float64
	for i := range t.leaves {
		s := t.leaves[i].step
		sizes = append(sizes, steps*float64(max(s[0], s[1], s[2]))/t.scale)
	}
	slices.Sort(sizes)
	return sizes[len(sizes)/2]
}

// A tree takes 15 bytes a face, and 8 more while it is built: what it weighs
// beside a scan in memory.
func TestMemoryOfTree(t *testing.T) {
	m := solid.Plane(100, 300)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	tree := Build(m)
	runtime.ReadMemStats(&after)
	n := uint64(m.FaceCount())
	keeps := uint64(len(tree.leaves))*uint64(unsafe.Sizeof(eight{})) + uint64(len(tree.nodes))*uint64(unsafe.Sizeof(eight{}))
	took := after.TotalAlloc - before.TotalAlloc
	if keeps > 16*n || took > 25*n {
		t.Errorf("%d faces: the tree keeps %d bytes and took %d", n, keeps, took)
	}
	t.Logf("checked: %.1f bytes a face kept, bound 16; %.1f taken, bound 25", float64(keeps)/float64(n), float64(took)/float64(n))
}

// Trees of every size up to a few whole capacities hold every face once.
func TestEveryFaceHasAPlace(t *testing.T) {
	plane := solid.Plane(100, 80)
	for n := 1; n < plane.FaceCount(); n += 1 + n/16 {
		m := *plane
		m.Triangles = plane.Triangles[:3*n]
		tree := Build(&m)
		seen := make([]int, n)
		for i := range tree.leaves {
			for _, f := range tree.leaves[i].child {
				if f != nowhere {
					seen[f]++
				}
			}
		}
		for f, count := range seen {
			if count != 1 {
				t.Fatalf("of %d faces, face %d stands in the tree %d times", n, f, count)
			}
		}
		if len(tree.leaves) != (n+width-1)/width {
			t.Errorf("%d faces take %d leaves", n, len(tree.leaves))
		}
	}
}

// The curve goes through every cell once, from neighbour to neighbour: the
// definition of Hilbert's curve (Math. Annalen 38:459, 1891).
func TestCurve(t *testing.T) {
	const side = 8
	at := make(map[uint64][3]int)
	for x := range side {
		for y := range side {
			for z := range side {
				at[curve(uint32(x), uint32(y), uint32(z))] = [3]int{x, y, z}
			}
		}
	}
	if len(at) != side*side*side {
		t.Fatalf("%d places for %d cells", len(at), side*side*side)
	}
	for h := uint64(1); h < side*side*side; h++ {
		p, q := at[h-1], at[h]
		steps := 0
		for k := range 3 {
			steps += max(p[k]-q[k], q[k]-p[k])
		}
		if steps != 1 {
			t.Fatalf("from place %d to %d the curve goes %v → %v", h-1, h, p, q)
		}
	}
}

// The order of a radix sort is that of a stable comparison sort.
func TestSortKeys(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	keys := make([]uint64, 3*sortBlock+17)
	for i := range keys {
		keys[i] = random.Uint64()>>20<<31 | uint64(i)
	}
	want := slices.Clone(keys)
	slices.Sort(want)
	if got := sortKeys(keys, 31); !slices.Equal(got, want) {
		t.Error("keys are not sorted")
	}
}
