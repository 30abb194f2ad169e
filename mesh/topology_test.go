package mesh_test

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

func topologyOf(m *mesh.Mesh) (*mesh.Weld, *mesh.Topology) {
	w := mesh.NewWeld(m)
	return w, mesh.NewTopology(m, w)
}

// unshared gives every face its own three vertices, as exporters without
// indices do.
func unshared(m *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{Origin: m.Origin}
	for _, v := range m.Triangles {
		out.Triangles = append(out.Triangles, uint32(out.VertexCount()))
		out.Positions = append(out.Positions, m.Positions[3*v:3*v+3]...)
	}
	return out
}

// Vertices weld exactly when their coordinates are equal, in order of first
// appearance; -0 is 0, and a coordinate that is no number equals nothing.
func TestWeld(t *testing.T) {
	nan, minus := float32(math.NaN()), float32(math.Copysign(0, -1))
	next := math.Nextafter32(1, 2)
	m := &mesh.Mesh{Positions: []float32{1, 0, 0, nan, 0, 0, 1, minus, 0, next, 0, 0, nan, 0, 0, 1, 0, 0}}
	w := mesh.NewWeld(m)
	if want := []uint32{0, 1, 0, 2, 3, 0}; !slices.Equal(w.Of, want) || w.Count != 4 {
		t.Errorf("welded to %v (%d), want %v", w.Of, w.Count, want)
	}
	sphere := solid.Icosphere(3, 10)
	if w := mesh.NewWeld(unshared(sphere)); w.Count != sphere.VertexCount() {
		t.Errorf("an unindexed sphere welds to %d vertices, want %d", w.Count, sphere.VertexCount())
	}
}

// The neighbours that a map from edges to faces finds, on random soups of
// faces over few vertices: borders, non-manifold edges, repeats, all at once.
func TestTopologyAgainstEdgeMap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		vertices := rapid.IntRange(3, 12).Draw(t, "vertices")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		m := &mesh.Mesh{}
		for v := range vertices {
			m.Positions = append(m.Positions, float32(v), float32(v*v), 0)
		}
		for range 3 * rapid.IntRange(0, 40).Draw(t, "faces") {
			m.Triangles = append(m.Triangles, uint32(random.IntN(vertices)))
		}
		_, topo := topologyOf(m)

		type edge [2]uint32
		on := map[edge][]int{}
		takes := make([]bool, m.FaceCount())
		degenerate, duplicate := 0, 0
		// Faces of the same corners add up with the sign of their direction.
		type group3 [3]uint32
		sum := map[group3]int{}
		corners := func(f int) (key group3, sign int) {
			key = group3(m.Triangles[3*f : 3*f+3])
			sign = 1
			for _, swap := range [3][2]int{{0, 1}, {1, 2}, {0, 1}} {
				if key[swap[0]] > key[swap[1]] {
					key[swap[0]], key[swap[1]] = key[swap[1]], key[swap[0]]
					sign = -sign
				}
			}
			return key, sign
		}
		for f := range takes {
			key, sign := corners(f)
			sum[key] += sign
		}
		for f := range takes {
			c := [3]uint32(m.Triangles[3*f : 3*f+3])
			key, sign := corners(f)
			switch {
			case key[0] == key[1] || key[1] == key[2]:
				degenerate++
				continue
			case sum[key]*sign <= 0:
				duplicate++
				continue
			}
			takes[f] = true
			sum[key] = 0 // the first one stands for all
			for k := range 3 {
				a, b := c[k], c[(k+1)%3]
				on[edge{min(a, b), max(a, b)}] = append(on[edge{min(a, b), max(a, b)}], f)
			}
		}
		border, several := 0, 0
		for _, faces := range on {
			switch {
			case len(faces) == 1:
				border++
			case len(faces) > 2:
				several++
			}
		}
		if topo.Border != border || topo.NonManifold != several || topo.Degenerate != degenerate || topo.Duplicate != duplicate {
			t.Fatalf("border %d, non-manifold %d, degenerate %d, repeats %d; want %d %d %d %d",
				topo.Border, topo.NonManifold, topo.Degenerate, topo.Duplicate, border, several, degenerate, duplicate)
		}
		group := make([]int, len(takes)) // union by repeated minimum
		for f := range group {
			group[f] = f
		}
		for changed := true; changed; {
			changed = false
			for _, faces := range on {
				for _, f := range faces {
					if g := group[faces[0]]; group[f] != g {
						group[f], group[faces[0]] = min(group[f], g), min(group[f], g)
						changed = true
					}
				}
			}
		}
		for f := range takes {
			for k := range 3 {
				a, b := m.Triangles[3*f+k], m.Triangles[3*f+(k+1)%3]
				want := int32(mesh.BorderEdge)
				if takes[f] {
					switch faces := on[edge{min(a, b), max(a, b)}]; len(faces) {
					case 1:
					case 2:
						want = int32(faces[0] + faces[1] - f)
					default:
						want = mesh.NonManifoldEdge
					}
				}
				if got := topo.Neighbour[3*f+k]; got != want {
					t.Fatalf("across edge %d of face %d: %d, want %d", k, f, got, want)
				}
			}
			if takes[f] != (topo.Component[f] >= 0) {
				t.Fatalf("face %d takes part: %v, component %d", f, takes[f], topo.Component[f])
			}
			for g := range f {
				if takes[f] && takes[g] && (topo.Component[f] == topo.Component[g]) != (group[f] == group[g]) {
					t.Fatalf("faces %d and %d: components %d %d, groups %d %d", f, g, topo.Component[f], topo.Component[g], group[f], group[g])
				}
			}
		}
	})
}

// A closed body stays closed without indices; one face turned over shows as
// three edges, one face taken away as a rim of three, a flap as one edge of
// three faces.
func TestTopologyOfFaultyBodies(t *testing.T) {
	m := unshared(solid.Icosphere(2, 1))
	_, topo := topologyOf(m)
	if !topo.Closed() || !topo.Oriented() || topo.Components != 1 {
		t.Errorf("sphere: closed %v, oriented %v, %d parts", topo.Closed(), topo.Oriented(), topo.Components)
	}
	turned := *m
	turned.Triangles = slices.Clone(m.Triangles)
	turned.Triangles[30], turned.Triangles[31] = turned.Triangles[31], turned.Triangles[30]
	if _, topo := topologyOf(&turned); !topo.Closed() || topo.Turned != 3 || topo.Oriented() {
		t.Errorf("one face turned: closed %v, %d turned edges", topo.Closed(), topo.Turned)
	}
	open := *m
	open.Triangles = m.Triangles[3:]
	_, topo = topologyOf(&open)
	if loops := topo.BorderLoops(); topo.Closed() || topo.Border != 3 || len(loops) != 1 || len(loops[0]) != 3 {
		t.Errorf("one face away: border %d, rims %v", topo.Border, loops)
	}
	flap := *m
	flap.Positions = append(slices.Clone(m.Positions), 0, 0, 0)
	flap.Triangles = append(slices.Clone(m.Triangles), m.Triangles[0], m.Triangles[1], uint32(flap.VertexCount()-1))
	if _, topo := topologyOf(&flap); topo.NonManifold != 1 || topo.Border != 2 || topo.Components != 1 {
		t.Errorf("a flap: non-manifold %d, border %d, %d parts", topo.NonManifold, topo.Border, topo.Components)
	}
	if _, topo := topologyOf(&mesh.Mesh{}); topo.Closed() {
		t.Error("an empty mesh is closed")
	}
}

// A vertex of 100 000 faces, as in the lid that a program puts on a hole, costs
// no more than other vertices do; repeats round it are found too.
func TestHub(t *testing.T) {
	const n = 100_000
	m := solid.Cone(3, 4, n)
	m.Triangles = append(m.Triangles, m.Triangles[:300]...)
	_, topo := topologyOf(m)
	if !topo.Closed() || topo.Duplicate != 100 {
		t.Errorf("closed %v, %d repeats", topo.Closed(), topo.Duplicate)
	}
	tip := m.Triangles[0]
	if ring := topo.Ring(tip, nil); len(ring) != n {
		t.Errorf("%d neighbours", len(ring))
	}
	near(t, "a smoothed constant", mesh.SmoothField(topo, make([]float64, n+2), 2)[tip], 0, 0)
}

// Rims: every border edge lies in one loop, in the direction of its face; two
// holes that touch at a vertex are one rim that passes it twice (the number of
// rims is 2 - V + E - F by Euler, that vertex counted twice); turned faces break
// rims into chains, and nothing hangs.
func TestBorderLoops(t *testing.T) {
	const n = 8
	m := solid.Plane(n, n)
	cell := func(x, y int) int { return 6 * (y*n + x) }
	without := func(cells ...int) *mesh.Mesh {
		out := *m
		out.Triangles = nil
		for c := 0; c < len(m.Triangles); c += 6 {
			if !slices.Contains(cells, c) {
				out.Triangles = append(out.Triangles, m.Triangles[c:c+6]...)
			}
		}
		return &out
	}
	holes := without(cell(2, 2), cell(3, 3), cell(5, 6))
	w, topo := topologyOf(holes)
	loops := topo.BorderLoops()
	var lengths []int
	edges := 0
	for _, l := range loops {
		lengths = append(lengths, len(l))
		edges += len(l)
		for i, u := range l {
			v := l[(i+1)%len(l)]
			found := false
			for _, f := range topo.FacesOf(u) {
				a, b, c := w.Face(holes, f)
				found = found || (a == u && b == v) || (b == u && c == v) || (c == u && a == v)
			}
			if !found {
				t.Fatalf("the rim goes from %d to %d, which no face does", u, v)
			}
		}
	}
	slices.Sort(lengths)
	if want := []int{4, 8, 4 * n}; !slices.Equal(lengths, want) || edges != topo.Border {
		t.Errorf("rims of %v vertices (%d of %d border edges), want %v", lengths, edges, topo.Border, want)
	}
	vertices, faces := w.Count+1, holes.FaceCount()
	if rims := 2 - vertices + (3*faces+topo.Border)/2 - faces; rims != len(loops) {
		t.Errorf("%d rims, by Euler %d", len(loops), rims)
	}

	random := rand.New(rand.NewPCG(8, 8))
	for f := 0; f < len(holes.Triangles); f += 3 {
		if random.IntN(3) == 0 {
			holes.Triangles[f], holes.Triangles[f+1] = holes.Triangles[f+1], holes.Triangles[f]
		}
	}
	_, topo = topologyOf(holes)
	count := 0
	for _, l := range topo.BorderLoops() {
		count += len(l)
	}
	if topo.Turned == 0 || count < topo.Border {
		t.Errorf("with turned faces %d border vertices for %d border edges", count, topo.Border)
	}
}

// The same bits on one processor as on two.
func TestTopologyOnAnyNumberOfProcessors(t *testing.T) {
	m := solid.Torus(30, 8, 300, 100)
	m.Triangles = m.Triangles[:len(m.Triangles)-300]
	before := runtime.GOMAXPROCS(1)
	_, one := topologyOf(m)
	areaOne := mesh.Area(m)
	runtime.GOMAXPROCS(max(2, before))
	_, two := topologyOf(m)
	areaTwo := mesh.Area(m)
	runtime.GOMAXPROCS(before)
	if !slices.Equal(one.Neighbour, two.Neighbour) || one.Border != two.Border || one.NonManifold != two.NonManifold {
		t.Error("topology depends on the number of processors")
	}
	if areaOne != areaTwo {
		t.Errorf("area %v on one processor, %v on two", areaOne, areaTwo)
	}
}

// Meshes of many blocks, whose parts and repeated vertices are spread all over
// the file, weld and fall into parts as a plain map and a plain search say.
func TestManyPartsSpreadOverTheFile(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	var one []float32 // 400 open strips of different length, each vertex of each face its own
	var parts []int
	for s := range 400 {
		x := float32(s) * 10
		for i := range 50 + random.IntN(500) {
			y := float32(i)
			a, b, c, d := []float32{x, y, 0}, []float32{x + 1, y, 0}, []float32{x, y + 1, 0}, []float32{x + 1, y + 1, 0}
			for _, v := range [][]float32{a, b, c, b, d, c} {
				one = append(one, v...)
			}
			parts = append(parts, s, s)
		}
	}
	m := &mesh.Mesh{}
	order := random.Perm(len(parts))
	for _, f := range order {
		for k := range uint32(3) {
			m.Triangles = append(m.Triangles, uint32(3*len(m.Triangles)/3))
			m.Positions = append(m.Positions, one[9*f+3*int(k):9*f+3*int(k)+3]...)
		}
	}
	w, topology := topologyOf(m)
	seen := map[[3]float32]uint32{}
	for v := range m.VertexCount() {
		p := [3]float32(m.Positions[3*v : 3*v+3])
		id, ok := seen[p]
		if !ok {
			id = uint32(len(seen))
			seen[p] = id
		}
		if w.Of[v] != id {
			t.Fatalf("vertex %d has id %d, want %d", v, w.Of[v], id)
		}
	}
	number := map[int]int32{}
	for f, from := range order {
		want, ok := number[parts[from]]
		if !ok {
			want = int32(len(number))
			number[parts[from]] = want
		}
		if topology.Component[f] != want {
			t.Fatalf("face %d is in part %d, want %d", f, topology.Component[f], want)
		}
	}
	if topology.Components != 400 || w.Count != len(seen) {
		t.Errorf("%d parts, %d places", topology.Components, w.Count)
	}
}

// The lists of faces round vertices of a large mesh, which are not kept, come out
// as they are counted face by face, without the faces that take no part, also where
// several ask at once.
func TestListsOfALargeMesh(t *testing.T) {
	m := solid.Icosphere(8, 10) // 1 310 720 faces
	n := uint32(m.FaceCount())
	m.Triangles = append(m.Triangles, m.Triangles[:3]...)                                // stored twice
	m.Triangles = append(m.Triangles, m.Triangles[30], m.Triangles[31], m.Triangles[30]) // degenerate
	w, top := topologyOf(m)
	if top.Duplicate != 1 || top.Degenerate != 1 || !top.Closed() || top.VertexCount() != w.Count {
		t.Fatalf("%d repeats, %d degenerate, closed %v, %d vertices", top.Duplicate, top.Degenerate, top.Closed(), top.VertexCount())
	}
	want := make([][]uint32, w.Count)
	for f := range n {
		a, b, c := w.Face(m, f)
		for _, v := range []uint32{a, b, c} {
			want[v] = append(want[v], f)
		}
	}
	var wg sync.WaitGroup
	for part := range 4 {
		wg.Go(func() {
			for v := part; v < w.Count; v += 4 {
				if got := top.FacesOf(uint32(v)); !slices.Equal(got, want[v]) {
					t.Errorf("round vertex %d lie %v, want %v", v, got, want[v])
					return
				}
			}
		})
	}
	wg.Wait()
}
