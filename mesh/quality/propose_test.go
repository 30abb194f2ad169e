package quality_test

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/quality"
	"rigatino/mesh/solid"
	"rigatino/mesh/solid/bentbody"
)

func TestNothingIsProposedOnComputedBodies(t *testing.T) {
	// Bodies in closed form have no bed, no hole and nothing inside, though they
	// have flat sides, fans of large triangles and blunt and sharp edges.
	for name, m := range map[string]*mesh.Mesh{
		"cube": solid.Cube(20), "box": solid.Box(60, 30, 2), "ball": solid.Icosphere(4, 20), "ellipsoid": solid.Ellipsoid(4, 30, 10, 5),
		"bent body": bentbody.New(1).Before(bentbody.Scanning{Triangles: 20000}), "noisy bent body": bentbody.New(2).After(bentbody.Scanning{Triangles: 20000, NoiseMM: 0.03}),
		"cylinder": solid.Cylinder(10, 40, 48, 20), "cone": solid.Cone(20, 30, 64), "ring": solid.Torus(20, 6, 96, 32),
		"cap": solid.Cap(30, 10, 48, 12), "dome": solid.Dome(30, 10, 48, 12), "plane": solid.Plane(50, 40),
		"inside out": turnedOver(solid.Box(60, 30, 20)), "noisy box": noisy(solid.Icosphere(4, 20), 0.05, nil),
		"specimen": noisy(specimen(5), 0.05, nil), "tetrahedron": solid.Tetrahedron(10, 20, 30),
	} {
		if r := inspect(t, m); len(r.Proposals) != 0 {
			t.Errorf("%s: %v: %s", name, kinds(r), r.Proposals[0].Reason)
		}
	}
}

func TestBedAndBarAreProposed(t *testing.T) {
	// A specimen lying on a square of 140 mm, with a bar of 90 × 8 × 5 mm beside
	// it and three crumbs, as one connected surface over a grid, as
	// photogrammetry makes it, and as unconnected parts; both with noise.
	// Source: the composition; common practice, no source, for what belongs to
	// the foot of a specimen: faces within 2 mm of it count for neither.
	const bar = 40.0
	height := func(x, y float64) (z float64, what int) {
		if q := 1 - x*x/900 - y*y/196; q > 0 {
			return 13 * q, 1
		}
		if math.Abs(y+bar) < 4 && math.Abs(x) < 45 {
			return 5, 2
		}
		for i, at := range [][2]float64{{40, 30}, {-50, 25}, {45, -20}} {
			if d := math.Hypot(x-at[0], y-at[1]); d < 2.5 {
				return 3 * math.Sqrt(1-d*d/6.25), 3 + i
			}
		}
		return 0, 0
	}
	ground := solid.Plane(140, 280)
	relief := noisy(moved(ground, func(_ uint32, p r3.Vec) r3.Vec {
		p.Z, _ = height(p.X, p.Y)
		return p
	}), 0.03, nil)
	tilt := func(_ uint32, p r3.Vec) r3.Vec { // no axis is special
		return r3.Add(r3.Vec{X: 200, Y: -100, Z: 50}, r3.Rotate(p, 0.7, r3.Vec{X: 1, Y: 2, Z: 0.5}))
	}
	t.Run("one surface", func(t *testing.T) {
		m := moved(relief, tilt)
		r := inspect(t, m)
		of := func(want func(what int, steep bool) bool) []uint32 {
			return faces(relief, func(c r3.Vec) bool {
				_, what := height(c.X, c.Y)
				return want(what, c.Z > 0.8)
			})
		}
		if got := kinds(r); !slices.Equal(got, []string{quality.Bed, quality.Bar, quality.Island}) {
			t.Fatalf("proposed %v", got)
		}
		agree(t, m, r, quality.Bed, of(func(what int, up bool) bool { return what == 0 && !up }), 0.97, 0.97)
		agree(t, m, r, quality.Bar, of(func(what int, up bool) bool { return what == 2 }), 0.9, 0.9)
		agree(t, m, r, quality.Island, of(func(what int, up bool) bool { return what > 2 }), 0.6, 0.8)
	})
	t.Run("parts", func(t *testing.T) {
		whole, first := joined(
			noisy(specimen(5), 0.03, nil),
			noisy(shifted(solid.Plane(140, 200), r3.Vec{Z: -12}), 0.03, nil),
			shifted(solid.Box(90, 8, 5), r3.Vec{Y: -40, Z: -9}),
			shifted(solid.Icosphere(2, 1.5), r3.Vec{X: 40, Y: 40, Z: -10}),
		)
		m := moved(whole, tilt)
		r := inspect(t, m)
		if got := kinds(r); !slices.Equal(got, []string{quality.Bed, quality.Bar, quality.Island}) {
			t.Fatalf("proposed %v", got)
		}
		agree(t, m, r, quality.Bed, faceRange(first[1], first[2]), 0.99, 0.99)
		agree(t, m, r, quality.Bar, faceRange(first[2], first[3]), 0.5, 0.99) // its underside is in the bed
		agree(t, m, r, quality.Island, faceRange(first[3], uint32(m.FaceCount())), 0.6, 0.99)
	})
	t.Run("without a bed", func(t *testing.T) {
		m, first := joined(noisy(specimen(5), 0.03, nil),
			shifted(solid.Box(90, 8, 5), r3.Vec{Y: -40, Z: -9}), shifted(solid.Icosphere(1, 0.5), r3.Vec{X: 40, Y: 40}))
		r := inspect(t, m)
		if got := kinds(r); !slices.Equal(got, []string{quality.Bar, quality.Island}) {
			t.Fatalf("proposed %v", got)
		}
		agree(t, m, r, quality.Bar, faceRange(first[1], first[2]), 1, 1)
		agree(t, m, r, quality.Island, faceRange(first[2], uint32(m.FaceCount())), 1, 1)
	})
	t.Run("two pieces", func(t *testing.T) {
		// Two pieces of one size, one beside the other, are no bar and no island.
		m, _ := joined(noisy(specimen(5), 0.03, nil), shifted(noisy(specimen(4), 0.03, nil), r3.Vec{Y: 50}))
		if r := inspect(t, m); len(r.Proposals) != 0 {
			t.Errorf("proposed %v", kinds(r))
		}
	})
}

// holed is a specimen of which the faces with x over 20 mm are a hole.
func holed(m *mesh.Mesh) (rest *mesh.Mesh, hole []uint32) {
	hole = faces(m, func(c r3.Vec) bool { return math.Hypot(c.X-8, c.Y) < 7 && c.Z > 0 })
	out := *m
	out.Triangles = nil
	for f := range uint32(m.FaceCount()) {
		if _, in := slices.BinarySearch(hole, f); !in {
			out.Triangles = append(out.Triangles, m.Triangles[3*f:3*f+3]...)
		}
	}
	return &out, hole
}

func TestClosedHolesAreProposed(t *testing.T) {
	// The ways in which scan programs close a hole, on a body with noise: few
	// large triangles from rim to rim; the same mesh as about it, but smooth; a
	// star of triangles from the middle. Source: the composition.
	whole := noisy(specimen(6), 0.04, nil)
	rest, hole := holed(whole)
	within := inner(whole, hole) // the rim is scanned
	smoothed := noisy(specimen(6), 0.04, func(v uint32) bool { return !within[v] })
	loop := mesh.NewTopology(rest, mesh.NewWeld(rest)).BorderLoops()[0]
	at := slices.Clone(loop) // welded ids are file vertices here: nothing is stored twice
	slices.Reverse(at)       // the hole's own faces run the other way round
	strip := *rest
	strip.Triangles = slices.Clone(rest.Triangles)
	for i, j := 0, len(at)-1; j-i > 1; {
		strip.Triangles = append(strip.Triangles, at[i], at[i+1], at[j])
		if i++; j-i > 1 {
			strip.Triangles = append(strip.Triangles, at[i], at[j-1], at[j])
			j--
		}
	}
	star := *rest
	star.Triangles = slices.Clone(rest.Triangles)
	var mid r3.Vec
	for _, v := range at {
		mid = r3.Add(mid, r3.Scale(1/float64(len(at)), rest.Vertex(v)))
	}
	star.Positions = append(slices.Clone(rest.Positions), float32(mid.X), float32(mid.Y), float32(mid.Z))
	for i, v := range at {
		star.Triangles = append(star.Triangles, v, at[(i+1)%len(at)], uint32(rest.VertexCount()))
	}
	added := func(m *mesh.Mesh) []uint32 { return faceRange(uint32(rest.FaceCount()), uint32(m.FaceCount())) }
	for _, row := range []struct {
		name  string
		m     *mesh.Mesh
		truth []uint32
	}{{"strip", &strip, added(&strip)}, {"star", &star, added(&star)}, {"smooth", smoothed, hole}} {
		t.Run(row.name, func(t *testing.T) {
			if w := mesh.NewWeld(row.m); !mesh.NewTopology(row.m, w).Closed() {
				t.Fatal("the fixture is not closed")
			}
			agree(t, row.m, inspect(t, row.m), quality.ClosedHole, row.truth, 0.85, 0.9)
		})
	}
}

func TestStretchedTextureIsProposed(t *testing.T) {
	// A texture laid on by longitude and height, but for a patch that shares one
	// point of it, as where no photograph showed the surface.
	m := specimen(5)
	hole := faces(m, func(c r3.Vec) bool { return math.Hypot(c.X-8, c.Y) < 6 && c.Z > 0 })
	// Texture alone proves nothing: where the patch is as rough as all else, a
	// steep place may have been seen by a camera at a slant.
	if r := inspect(t, textured(noisy(m, 0.02, nil), hole)); len(r.Proposals) != 0 {
		t.Errorf("proposed %v where only the texture is thin", kinds(r))
	}
	within := inner(m, hole)
	half := moved(noisy(m, 0.02, func(v uint32) bool { return !within[v] }), func(v uint32, p r3.Vec) r3.Vec {
		if within[v] { // half as rough as it would be
			p.Z += 0.004 * math.Sin(float64(v))
		}
		return p
	})
	out := textured(half, hole)
	agree(t, out, inspect(t, out), quality.ClosedHole, hole, 0.85, 0.9)
}

// textured gives every face its own corners and texture in keeping with its
// area, the hole's faces one point of the texture.
func textured(m *mesh.Mesh, hole []uint32) *mesh.Mesh {
	out := &mesh.Mesh{Images: []mesh.Image{{Name: "t", Data: []byte{1}}}, Materials: []mesh.Material{{Image: 0}}}
	for f := range uint32(m.FaceCount()) {
		_, in := slices.BinarySearch(hole, f)
		a, b, c := m.Corners(f)
		for k, p := range [3]r3.Vec{a, b, c} {
			out.Positions = append(out.Positions, float32(p.X), float32(p.Y), float32(p.Z))
			out.Triangles = append(out.Triangles, 3*f+uint32(k))
			u, v := float32(k%2)*0.001+float32(f%100)*0.01, float32(k/2)*0.001*float32(mesh.AreaOf(m, []uint32{f}))
			if in {
				u, v = 0.5, 0.5
			}
			out.UVs = append(out.UVs, u, v)
		}
	}
	return out
}

// inner lists the vertices of which all faces are in the hole.
func inner(m *mesh.Mesh, hole []uint32) map[uint32]bool {
	in := map[uint32]bool{}
	for _, f := range hole {
		for _, v := range m.Triangles[3*f : 3*f+3] {
			in[v] = true
		}
	}
	for f := range uint32(m.FaceCount()) {
		if _, is := slices.BinarySearch(hole, f); !is {
			for _, v := range m.Triangles[3*f : 3*f+3] {
				delete(in, v)
			}
		}
	}
	return in
}

func TestInnerWallsAreProposed(t *testing.T) {
	// A ball of 20 mm with a cavity of 17 mm; the same with a neck through the
	// wall, so that both walls are one surface; a bowl, whose inside is seen.
	m, first := joined(solid.Icosphere(4, 20), turnedOver(solid.Icosphere(4, 17)))
	r := inspect(t, m)
	if got := kinds(r); !slices.Equal(got, []string{quality.InnerWall}) {
		t.Fatalf("proposed %v", got)
	}
	agree(t, m, r, quality.InnerWall, faceRange(first[1], uint32(m.FaceCount())), 1, 1)
	if got := r.Orientation; got != (quality.Orientation{}) {
		t.Errorf("a cavity looks inward by right, but %+v", got)
	}

	// The profile goes up the outside, through a neck of radius 1, and down the
	// inside; turned about z.
	const n, rows = 48, 80
	profile := func(t float64) (r, z float64) { // t from 0 to 1
		switch a := math.Asin(1.0 / 20); {
		case t < 0.5:
			w := -math.Pi/2 + 2*t*(math.Pi-a)
			return 20 * math.Cos(w), 20 * math.Sin(w)
		default:
			b := math.Asin(1.0 / 17)
			w := math.Pi/2 - b - (2*t-1)*(math.Pi-b)
			return 17 * math.Cos(w), 17 * math.Sin(w)
		}
	}
	flask := turnedAbout(n, rows, profile)
	r = inspect(t, flask)
	if got := kinds(r); !slices.Equal(got, []string{quality.InnerWall}) {
		t.Fatalf("flask: proposed %v", got)
	}
	agree(t, flask, r, quality.InnerWall, faces(flask, func(c r3.Vec) bool { return r3.Norm(c) < 17.5 }), 0.85, 1)

	bowl := turnedAbout(n, rows, func(t float64) (r, z float64) {
		if t < 0.5 {
			w := -math.Pi/2 + t*math.Pi
			return 20 * math.Cos(w), 20 * math.Sin(w)
		}
		w := -(t - 0.5) * math.Pi
		return 17 * math.Cos(w), 17 * math.Sin(w)
	})
	if r := inspect(t, bowl); len(r.Proposals) != 0 {
		t.Errorf("bowl: proposed %v", kinds(r))
	}
}

// turnedAbout is the body of a profile, from the axis to the axis, turned about z.
func turnedAbout(n, rows int, profile func(t float64) (r, z float64)) *mesh.Mesh {
	m := &mesh.Mesh{}
	for j := range rows + 1 {
		r, z := profile(float64(j) / float64(rows))
		if j == 0 || j == rows {
			r = 0
		}
		for i := range n {
			a := 2 * math.Pi * float64(i) / float64(n)
			m.Positions = append(m.Positions, float32(r*math.Cos(a)), float32(r*math.Sin(a)), float32(z))
		}
	}
	for j := range rows {
		for i := range n {
			a, b := uint32(j*n+i), uint32(j*n+(i+1)%n)
			c, d := a+uint32(n), b+uint32(n)
			if j > 0 {
				m.Triangles = append(m.Triangles, a, b, d)
			}
			if j < rows-1 {
				m.Triangles = append(m.Triangles, a, d, c)
			}
		}
	}
	return m
}
