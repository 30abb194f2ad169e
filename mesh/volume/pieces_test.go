package volume

import (
	"context"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.12g, want %.12g ± %g", what, got, want, tolerance)
	}
}

// alone prepares one scan for cutting, without a partner.
func alone(m *mesh.Mesh) *zone {
	w := mesh.NewWeld(m)
	s := &change.Side{Mesh: m, Weld: w, Topology: mesh.NewTopology(m, w), First: make([]uint32, w.Count)}
	for i := len(w.Of) - 1; i >= 0; i-- {
		s.First[w.Of[i]] = uint32(i)
	}
	faces := make([]uint32, m.FaceCount())
	for i := range faces {
		faces[i] = uint32(i)
	}
	return zoneOf(s, faces, make([]uint32, w.Count))
}

// about are the origins of a test.
var about = &origins{far: r3.Vec{X: 60, Y: 64, Z: 48}}

// cutAt cuts a scan by a level over its places.
func cutAt(m *mesh.Mesh, level func(p r3.Vec) float64) *patch { return cutAbout(m, level, about) }

func cutAbout(m *mesh.Mesh, level func(p r3.Vec) float64, about *origins) *patch {
	z := alone(m)
	levels := make([]float64, len(z.vertices))
	for n := range levels {
		levels[n] = level(z.at(uint32(n)))
	}
	return cut(context.Background(), z, [][]float64{levels}, about)[0]
}

// A straight cut through a flat plate is exact: area, area vector, and one
// loop whose length is the perimeter.
func TestCutPlate(t *testing.T) {
	p := cutAt(solid.Plane(10, 7), func(q r3.Vec) float64 { return 1.3 - q.X })
	near(t, "area", p.area, 10*6.3, 1e-5)
	near(t, "area vector", p.areaVector.Z, 10*6.3, 1e-5)
	near(t, "middle", p.middle().X, (-5+1.3)/2, 1e-5)
	if len(p.loops) != 1 {
		t.Fatalf("%d loops, want 1", len(p.loops))
	}
	length, rim := 0.0, 0.0
	l := p.loops[0]
	for i, n := range l.nodes {
		d := distance(p.nodes[n], p.nodes[l.nodes[(i+1)%len(l.nodes)]])
		length += d
		if l.rim[i] {
			rim += d
		}
	}
	near(t, "perimeter", length, 2*(10+6.3), 1e-5)
	near(t, "part on the rim", rim, 10+2*6.3, 1e-5)
}

// A closed body cut by a plane through the origin of the sum: the cap over the
// cut adds nothing, so the part's volume comes out exactly. Half a box, and a
// band of it with two loops.
func TestCutBody(t *testing.T) {
	half := cutAt(solid.Box(4, 6, 10), func(q r3.Vec) float64 { return q.Z })
	near(t, "half a box", half.sixVolume.Value()/6, 120, 1e-4)
	if len(half.loops) != 1 {
		t.Errorf("%d loops, want 1", len(half.loops))
	}
	band := cutAt(solid.Cylinder(5, 20, 64, 40), func(q r3.Vec) float64 { return 3.3 - math.Abs(q.Z-10) })
	near(t, "band of a prism", band.area, 2*3.3*64*2*5*math.Sin(math.Pi/64), 1e-4)
	if len(band.loops) != 2 {
		t.Errorf("%d loops, want 2", len(band.loops))
	}
}

// An edge with three faces: their open sides do not break the chain.
func TestCutNonManifold(t *testing.T) {
	m := &mesh.Mesh{
		Positions: []float32{0, 0, 0, 0, 0, 1, 1, 0, 0, 0, 1, 0, -1, -1, 0},
		Triangles: []uint32{0, 1, 2, 1, 0, 3, 0, 1, 4},
	}
	p := cutAt(m, func(r3.Vec) float64 { return 1 })
	edges := 0
	for _, l := range p.loops {
		edges += len(l.nodes)
	}
	// Nine sides less the pair that runs both ways along the shared edge.
	if edges != 7 {
		t.Errorf("%d open edges, want 7", edges)
	}
}

// What chords cut off a sphere and an ellipsoid of uneven faces (volumes 4πR³/3
// and 4πabc/3), and nothing off what is flat, creases or not.
func TestChords(t *testing.T) {
	whole := func(m *mesh.Mesh) float64 {
		c, err := change.Compare(context.Background(), m, m, frame.Identity(), change.Options{})
		if err != nil {
			t.Fatal(err)
		}
		z := alone(m)
		z.side = c.Before
		inside := make([]float64, len(z.vertices))
		for n := range inside {
			inside[n] = 1
		}
		return chords(z, inside)
	}
	for level := 3; level <= 5; level++ {
		m := solid.Icosphere(level, 20)
		lost := 4.0/3*math.Pi*8000 - mesh.Volume(m)
		near(t, "lost by chords of a sphere", whole(m), lost, 0.03*lost)
		m = solid.Ellipsoid(level, 50, 20, 15)
		lost = 4.0/3*math.Pi*50*20*15 - mesh.Volume(m)
		near(t, "lost by chords of an ellipsoid", whole(m), lost, 0.1*lost)
	}
	near(t, "lost by a plate", whole(solid.Plane(10, 10)), 0, 1e-9)
	near(t, "lost by a box", whole(solid.Box(3, 4, 5)), 0, 1e-9)
}

func circle(n int, r, z, start float64) []r3.Vec {
	out := make([]r3.Vec, n)
	for i := range out {
		s, c := math.Sincos(start + 2*math.Pi*float64(i)/float64(n))
		out[i] = r3.Vec{X: r * c, Y: r * s, Z: z}
	}
	return out
}

// plain is a chain clear of all rims.
func plain(l []r3.Vec) *chain {
	return &chain{points: l, rim: make([]bool, len(l)), normal: make([]r3.Vec, len(l))}
}

// One patch has two discs, the other the same discs grown together: the two
// loops are bridged, and the shell between a flat pair closes with no volume.
// A hole that only one side has is left loose.
func TestMatchLobes(t *testing.T) {
	left, right := circle(40, 5, 0, 0), circle(40, 5, 0, math.Pi)
	for i := range left {
		left[i].X -= 5.2
		right[i].X += 5.2
	}
	// The union: both circles less the nodes that face each other.
	var union []r3.Vec
	union = append(union, left[3:38]...)
	union = append(union, right[3:38]...)
	hole := circle(12, 0.8, 0, 0)
	for i := range hole {
		hole[i].X -= 5
	}
	pairs, loose := match([]*chain{plain(union)}, []*chain{plain(left), plain(right), plain(hole)}, 0.8)
	if len(pairs) != 1 || len(loose[0]) != 0 || len(loose[1]) != 1 {
		t.Fatalf("%d pairs, %d and %d loose, want 1, 0, 1", len(pairs), len(loose[0]), len(loose[1]))
	}
	if n := len(pairs[0][1].points); n != 82 {
		t.Errorf("%d points in the bridged loop, want 40 + 40 + 2", n)
	}
	s := &shell{}
	var area r3.Vec
	s.bridge(pairs[0][0], pairs[0][1], 0.8, func(p, q, r r3.Vec) float64 {
		a := r3.Scale(0.5, r3.Cross(r3.Sub(q, p), r3.Sub(r, p)))
		area = r3.Add(area, a)
		return r3.Norm(a)
	})
	polygon := func(l []r3.Vec) (z float64) {
		for i, p := range l {
			z += r3.Cross(p, l[(i+1)%len(l)]).Z / 2
		}
		return z
	}
	// What one outline holds more than the other, the ribbon covers.
	near(t, "ribbon", area.Z, polygon(left)+polygon(right)-polygon(union), 1e-9)
}

// The ribbon between two circles is a cylinder or cone: its area is known,
// every node of both loops is used, and neither end is torn.
func TestRibbon(t *testing.T) {
	for _, n := range [][2]int{{64, 64}, {64, 97}, {200, 31}} {
		b, a := circle(n[0], 10, 2, 0), circle(n[1], 8, 0, 1.234)
		path := ribbon(b, a)
		if len(path) != n[0]+n[1]+1 || path[0] != path[len(path)-1] {
			t.Fatalf("%d rungs from %v to %v, want %d and a closed turn", len(path), path[0], path[len(path)-1], n[0]+n[1]+1)
		}
		s := &shell{}
		area := 0.0
		s.bridge(plain(b), plain(a), 1, func(p, q, r r3.Vec) float64 {
			x := r3.Norm(r3.Cross(r3.Sub(q, p), r3.Sub(r, p))) / 2
			area += x
			return x
		})
		// Cone frustum: π (R + r) √((R-r)² + h²).
		want := math.Pi * 18 * math.Sqrt(8)
		near(t, "area", area, want, 0.01*want)
		near(t, "outline", s.outline, 2*math.Pi*8, 0.01*2*math.Pi*8)
	}
}

// Long loops are solved coarsely first; the path must be as good as that over
// the full table.
func TestRibbonInABand(t *testing.T) {
	b, a := circle(3000, 10, 0.3, 0), circle(2000, 10.2, 0, 0.7)
	for i := range a {
		a[i].Z += 0.2 * math.Sin(float64(i)*0.05)
	}
	if len(a)*len(b) <= fullTable {
		t.Fatal("the loops are too short for the test")
	}
	cost := func(path []rung) (sum float64) {
		for _, r := range path {
			sum += r3.Norm2(r3.Sub(b[r.i], a[r.j]))
		}
		return sum
	}
	path := ribbon(b, a)
	si, sj := path[0].i, path[0].j
	tb := append(append([]r3.Vec{}, b[si:]...), b[:si+1]...)
	ta := append(append([]r3.Vec{}, a[sj:]...), a[:sj+1]...)
	lo, hi := make([]int, len(tb)), make([]int, len(tb))
	for i := range hi {
		hi[i] = len(ta) - 1
	}
	full := within(tb, ta, lo, hi)
	for n := range full {
		full[n].i, full[n].j = (full[n].i+si)%len(b), (full[n].j+sj)%len(a)
	}
	near(t, "cost", cost(path), cost(full), 0.001*cost(full))
}

// Lines through bodies: a cube inside another, turned against the grid. The
// count of 3·150² lines is good to a part in a thousand.
func TestLines(t *testing.T) {
	b := alone(solid.Cube(10))
	a := alone(mesh.Transform(solid.Cube(6), frame.Rotation(r3.Vec{X: 1, Y: 1, Z: 0.2}, 0.4).Apply))
	count := func(b, a *change.Side, masks ...[2][]uint32) []lineCount {
		c, err := newLineCounter(b, a).count(context.Background(), masks, func(float64) {})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	all := [2][]uint32{b.faces, a.faces}
	c := count(b.side, a.side, all, [2][]uint32{}, all)
	near(t, "between the cubes", c[0].mm3, 1000-216, 0.8)
	near(t, "uncertainty", c[0].u, 0.8, 0.2)
	if c[2] != c[0] {
		t.Errorf("beside another area %v, alone %v", c[2], c[0])
	}
	// Without a mask nothing is counted.
	if c[1] != (lineCount{}) {
		t.Errorf("counted %v without a mask", c[1])
	}
	near(t, "the other way", count(a.side, b.side, [2][]uint32{a.faces, b.faces})[0].mm3, 216-1000, 0.8)
}

// A line exactly through an edge or a corner is counted once: a plate of two
// triangles whose diagonal runs through the lines.
func TestLineThroughAnEdge(t *testing.T) {
	g := grid{cell: [2]float64{1, 1}}
	corner := [][3]float32{{0.5, 0.5, 0}, {8.5, 0.5, 0}, {8.5, 8.5, 0}, {0.5, 8.5, 0}}
	var all []crossing
	all = g.rasterise(all, &[3][3]float32{corner[0], corner[1], corner[2]}, crossing{})
	all = g.rasterise(all, &[3][3]float32{corner[0], corner[2], corner[3]}, crossing{})
	count := map[uint32]int{}
	for _, x := range all {
		count[x.line]++
		if x.enters {
			t.Error("a face that looks along the lines is where they leave")
		}
	}
	// Nine lines a side stand on it; of the two pairs of opposite outer sides
	// one each belongs to the plate.
	if len(count) != 64 {
		t.Errorf("%d lines meet the plate, want 64", len(count))
	}
	for line, n := range count {
		if n != 1 {
			t.Errorf("line %d crosses %d times", line, n)
		}
	}
}

// The ring of a vertex is that of the topology, each neighbour once: on closed
// and open surface, at the corner of a plate, where two faces meet at a vertex
// only, with a face inside out, and on an edge of three faces.
func TestRingOf(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"sphere":   solid.Icosphere(3, 10),
		"plate":    solid.Plane(10, 7),
		"bow tie":  {Positions: []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, -1, 0, 0, -1, -1, 0}, Triangles: []uint32{0, 1, 2, 0, 3, 4}},
		"turned":   {Positions: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0}, Triangles: []uint32{0, 1, 2, 1, 2, 3}},
		"three":    {Positions: []float32{0, 0, 0, 0, 0, 1, 1, 0, 0, 0, 1, 0, -1, -1, 0}, Triangles: []uint32{0, 1, 2, 1, 0, 3, 0, 1, 4}},
		"one face": {Positions: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Triangles: []uint32{0, 1, 2}},
	} {
		s := alone(m).side
		for v := range uint32(s.Weld.Count) {
			got, want := ringOf(s.Topology, v, nil), s.Topology.Ring(v, nil)
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Errorf("%s: ring of %d is %v, want %v", name, v, got, want)
			}
		}
	}
}

// The distances of two labels on a strip of vertices: each keeps its own and
// the other core, and outlines share the line halfway.
func TestReach(t *testing.T) {
	s := alone(solid.Plane(20, 20)).side
	s.Core = make([]int32, s.Weld.Count)
	at := map[[2]int]uint32{}
	for v := range s.Core {
		p := s.Vertex(uint32(v))
		at[[2]int{int(math.Round(p.X)), int(math.Round(p.Y))}] = uint32(v)
		s.Core[v] = -1
		switch {
		case p.X < -7.5:
			s.Core[v] = 0
		case p.X > 3.5:
			s.Core[v] = 1
		}
	}
	r, err := spread(context.Background(), s, s.Core, 30)
	if err != nil {
		t.Fatal(err)
	}
	v := at[[2]int{-4, 0}]
	own, other := r[v].of(0)
	near(t, "distance to the core on the left", own, 4, 1e-5)
	near(t, "distance to the core on the right", other, 8, 1e-5)
	near(t, "level", r[v].level(0, 3), -1, 1e-5)
	near(t, "level halfway", r[v].level(0, 20), 2, 1e-5)
	near(t, "level of the other", r[v].level(1, 20), -2, 1e-5)
	if l := r[v].level(7, 5); l != -5 {
		t.Errorf("level of an area far away %v, want -5", l)
	}
	core := at[[2]int{-9, 3}]
	near(t, "level in the core", r[core].level(0, 3), 3, 0)
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := spread(cancelled, s, s.Core, 30); err == nil {
		t.Error("the walk did not stop")
	}
}

// The vertices of an icosphere moved by t as a ring: the shift is found; on a
// flat ring only its part along the normal.
func TestShift(t *testing.T) {
	shift := r3.Vec{X: 0.02, Y: -0.01, Z: 0.03}
	s := &normalSums{}
	m := solid.Icosphere(3, 1)
	for v := range uint32(m.VertexCount()) {
		n := r3.Unit(m.Vertex(v))
		s.add(&witness{gap: r3.Dot(n, shift), area: 1, normal: n})
	}
	// The pull to zero takes 0.3 % (a thousandth of the trace over a third).
	near(t, "shift", r3.Norm(r3.Sub(s.shift(), shift)), 0, 0.004*r3.Norm(shift))
	flat := &normalSums{}
	for range 100 {
		flat.add(&witness{gap: 0.03, area: 1, normal: r3.Vec{Z: 1}})
	}
	near(t, "shift across a plane", flat.shift().Z, 0.03, 1e-4)
	near(t, "shift along a plane", math.Hypot(flat.shift().X, flat.shift().Y), 0, 1e-12)
}

// √(gᵀCg) by hand: a translation along the area vector and a turn about z.
func TestAlignmentTerm(t *testing.T) {
	g := registration{vector: r3.Vec{Z: 2000}, moment: r3.Vec{Z: 5000}}
	var c [36]float64
	c[6*5+5] = 0.03 * 0.03 // u(t_z) 0.03 mm
	near(t, "translation", g.uncertainty(c), 60, 1e-9)
	c[6*2+2] = 1e-6 // u(w_z) 1 mrad
	near(t, "with a turn", g.uncertainty(c), math.Hypot(60, 5), 1e-9)
	c[6*2+5], c[6*5+2] = 0.03*1e-3, 0.03*1e-3 // fully correlated
	near(t, "correlated", g.uncertainty(c), 65, 1e-9)
}
