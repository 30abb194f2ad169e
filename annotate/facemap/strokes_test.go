package facemap

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// newMap returns an empty map for a surface.
func newMap(t testing.TB, s *Surface) *Map {
	t.Helper()
	m, err := New("", s.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// areaOf sums the area that a map gives to a region, cells included.
func areaOf(s *Surface, m *Map, region uint16) float64 {
	var sum mesh.Sum
	m.Visit(0, uint32(m.FaceCount()), func(f uint32, share float64, substance uint16, overlays []uint16) {
		hit := substance == region
		for _, o := range overlays {
			hit = hit || o == region
		}
		if hit {
			sum.Add(share * r3.Norm(s.Mesh.AreaVector(f)))
		}
	})
	return sum.Value()
}

func must(t failer) func(Outcome, error) Outcome {
	return func(o Outcome, err error) Outcome {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s: got %.6g, want %.6g within %.3g %%", what, got, want, 100*relative)
	}
}

func at(t *testing.T, s *Surface, p r3.Vec) mesh.SurfacePoint {
	t.Helper()
	place, _, ok := s.Locate(p)
	if !ok {
		t.Fatalf("no surface near %v", p)
	}
	return place
}

// cylinderDisc is the area of a cylinder's surface (radius big) within straight
// distance r of a place on it, r < 2·big: for the angle φ from the place the
// chord across is 2 big sin(φ/2), which leaves sqrt(r² - chord²) on either
// side along the axis. Summed numerically (midpoint rule).
func cylinderDisc(big, r float64) float64 {
	end := 2 * math.Asin(r/(2*big))
	const n = 200000
	sum := 0.0
	for i := range n {
		phi := end * (float64(i) + 0.5) / n
		chord := 2 * big * math.Sin(phi/2)
		sum += 2 * math.Sqrt(r*r-chord*chord)
	}
	return 2 * big * sum * end / n
}

// The area of a stroke against closed forms: a disc on a plane is πr²; within
// straight distance r of a place on a sphere lies a cap of exactly πr² (the
// square of its chord, Archimedes); on a cylinder see cylinderDisc. At least 20
// triangles across.
func TestStrokeArea(t *testing.T) {
	const r = 10.0
	for _, c := range []struct {
		name   string
		mesh   *mesh.Mesh
		place  r3.Vec
		want   float64
		levels uint8
		within float64
	}{
		{"plane", solid.Plane(60, 60), r3.Vec{X: 0.3, Y: -0.2}, math.Pi * r * r, 0, 0.01},
		{"plane, cells", solid.Plane(60, 60), r3.Vec{X: 0.3, Y: -0.2}, math.Pi * r * r, 3, 0.0005},
		{"sphere", solid.Icosphere(6, 25), r3.Vec{X: 7, Y: 20, Z: 13}, math.Pi * r * r, 0, 0.01},
		{"sphere, cells", solid.Icosphere(6, 25), r3.Vec{X: 7, Y: 20, Z: 13}, math.Pi * r * r, 3, 0.001},
		{"cylinder", solid.Cylinder(15, 80, 100, 80), r3.Vec{X: 15, Y: 0.1, Z: 40.2}, cylinderDisc(15, r), 0, 0.01},
		{"cylinder, cells", solid.Cylinder(15, 80, 100, 80), r3.Vec{X: 15, Y: 0.1, Z: 40.2}, cylinderDisc(15, r), 3, 0.001},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := NewSurface(c.mesh)
			m := newMap(t, s)
			out := must(t)(m.Stroke(s, at(t, s, c.place), Brush{RadiusMM: r, Levels: c.levels}, Paint{Region: 1}))
			near(t, "area", areaOf(s, m, 1), c.want, c.within)
			if out.Taken == 0 || len(out.Diff.Faces()) != out.Taken {
				t.Errorf("took %d faces, the diff has %d", out.Taken, len(out.Diff.Faces()))
			}
		})
	}
}

// A band of width 2r and length l with round ends covers 2rl + πr².
func TestStrokePathArea(t *testing.T) {
	s := NewSurface(solid.Plane(60, 120))
	m := newMap(t, s)
	path := []mesh.SurfacePoint{at(t, s, r3.Vec{X: -15, Y: 1}), at(t, s, r3.Vec{X: 4, Y: 1}), at(t, s, r3.Vec{X: 15, Y: 1})}
	must(t)(m.StrokePath(s, path, Brush{RadiusMM: 5, Levels: 2}, Paint{Layer: Applied, Region: 3}))
	near(t, "area", areaOf(s, m, 3), 2*5*30+math.Pi*25, 0.001)
}

// split stores every corner of every face as its own vertex, as a scan program
// does along texture seams.
func split(m *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{Origin: m.Origin}
	for i, v := range m.Triangles {
		out.Positions = append(out.Positions, m.Positions[3*v:3*v+3]...)
		out.Triangles = append(out.Triangles, uint32(i))
	}
	return out
}

func TestStrokeCrossesTextureSeams(t *testing.T) {
	whole := NewSurface(solid.Icosphere(4, 25))
	torn := NewSurface(split(solid.Icosphere(4, 25)))
	a, b := newMap(t, whole), newMap(t, torn)
	place := at(t, whole, r3.Vec{X: 3, Y: 4, Z: 25})
	must(t)(a.Stroke(whole, place, Brush{RadiusMM: 8}, Paint{Region: 1}))
	must(t)(b.Stroke(torn, place, Brush{RadiusMM: 8}, Paint{Region: 1}))
	if got, want := len(b.Faces(1)), len(a.Faces(1)); got != want || want < 50 {
		t.Errorf("with seams %d faces, without %d", got, want)
	}
}

// The far side of a plate thinner than the radius is inside the ball but does
// not hang together with the near side there.
func TestStrokeStaysOnItsSideOfAPlate(t *testing.T) {
	s := NewSurface(plate(40, 1, 40))
	m := newMap(t, s)
	must(t)(m.Stroke(s, at(t, s, r3.Vec{X: 0.2, Y: 0.1, Z: 0.5}), Brush{RadiusMM: 6}, Paint{Region: 1}))
	faces := m.Faces(1)
	if len(faces) < 100 {
		t.Fatalf("only %d faces taken", len(faces))
	}
	for _, f := range faces {
		if s.Mesh.AreaVector(f).Z <= 0 {
			t.Fatalf("face %d on the far side was taken", f)
		}
	}
}

// plate is a flat closed box with n×n cells on its two large sides; its rim is
// two triangles per cell.
func plate(side, thick float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	id := func(i, j, top int) uint32 { return uint32((top*(n+1)+j)*(n+1) + i) }
	for top := range 2 {
		for j := range n + 1 {
			for i := range n + 1 {
				x, y := side*(float64(i)/float64(n)-0.5), side*(float64(j)/float64(n)-0.5)
				m.Positions = append(m.Positions, float32(x), float32(y), float32(thick*(float64(top)-0.5)))
			}
		}
	}
	quad := func(a, b, c, d uint32) { m.Triangles = append(m.Triangles, a, b, c, a, c, d) }
	for j := range n {
		for i := range n {
			quad(id(i, j, 1), id(i+1, j, 1), id(i+1, j+1, 1), id(i, j+1, 1))
			quad(id(i, j, 0), id(i, j+1, 0), id(i+1, j+1, 0), id(i+1, j, 0))
		}
	}
	for i := range n {
		quad(id(i, 0, 0), id(i+1, 0, 0), id(i+1, 0, 1), id(i, 0, 1))
		quad(id(n, i, 0), id(n, i+1, 0), id(n, i+1, 1), id(n, i, 1))
		quad(id(n-i, n, 0), id(n-i-1, n, 0), id(n-i-1, n, 1), id(n-i, n, 1))
		quad(id(0, n-i, 0), id(0, n-i-1, 0), id(0, n-i-1, 1), id(0, n-i, 1))
	}
	return m
}

// With a turn limit a stroke stops at the sharp edge of a box; without it goes
// round.
func TestStrokeTurnLimit(t *testing.T) {
	s := NewSurface(plate(40, 10, 40))
	if !s.Topology.Closed() || !s.Topology.Oriented() {
		t.Fatal("the plate is not a closed body")
	}
	place := at(t, s, r3.Vec{X: 18, Y: 0.1, Z: 5})
	for _, c := range []struct {
		turn  float64
		round bool
	}{{0, true}, {45, false}} {
		m := newMap(t, s)
		must(t)(m.Stroke(s, place, Brush{RadiusMM: 9, TurnDeg: c.turn}, Paint{Region: 1}))
		round, ahead := false, 0
		for _, f := range m.Faces(1) {
			if n := s.Mesh.AreaVector(f); n.Z <= 0 {
				round = true
			} else {
				ahead++
			}
		}
		if round != c.round || ahead < 100 {
			t.Errorf("turn limit %g: went round %v, want %v (%d faces ahead)", c.turn, round, c.round, ahead)
		}
	}
}

func TestSmallStrokeMarksTheFaceUnderIt(t *testing.T) {
	s := NewSurface(solid.Cube(10))
	m := newMap(t, s)
	place := at(t, s, r3.Vec{X: 1, Y: 2, Z: 5})
	must(t)(m.Stroke(s, place, Brush{RadiusMM: 0.1}, Paint{Region: 1}))
	if got := m.Faces(1); len(got) != 1 || got[0] != place.Face {
		t.Errorf("marked %v, want face %d", got, place.Face)
	}
}

// circle gives n points of a circle about the z axis.
func circle(r, z float64, n int) []r3.Vec {
	out := make([]r3.Vec, n)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out[i] = r3.Vec{X: r * cos, Y: r * sin, Z: z}
	}
	return out
}

// Inside a circle of latitude lies the cap 2πRh; seen from outside and from
// above, a circle run counter-clockwise has the cap on its left.
func TestOutlineArea(t *testing.T) {
	s := NewSurface(solid.Icosphere(6, 25))
	const h = 5.0
	rim := circle(math.Sqrt(25*25-20*20), 20, 240)
	cap, all := 2*math.Pi*25*h, mesh.Area(s.Mesh)
	back := make([]r3.Vec, len(rim))
	for i, p := range rim {
		back[len(rim)-1-i] = p
	}
	below := at(t, s, r3.Vec{Z: -25})
	for _, c := range []struct {
		name   string
		line   Outline
		want   float64
		within float64
	}{
		{"cap", Outline{Points: rim}, cap, 0.01},
		{"cap, cells", Outline{Points: rim, Levels: 3}, cap, 0.001},
		{"the rest", Outline{Points: back, Levels: 3}, all - cap, 0.001},
		{"the rest by a place in it", Outline{Points: rim, Levels: 3, Inside: &below}, all - cap, 0.001},
	} {
		m := newMap(t, s)
		must(t)(m.Outline(s, c.line, Paint{Region: 2}))
		near(t, c.name, areaOf(s, m, 2), c.want, c.within)
	}
}

// A ring round a cylinder is no outline in any plane seen from one side; both
// of its sides hang together on their own.
func TestOutlineRoundACylinder(t *testing.T) {
	s := NewSurface(solid.Cylinder(10, 60, 80, 80))
	m := newMap(t, s)
	var line []r3.Vec
	for i := range 200 { // a wavy ring round the middle
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 200)
		line = append(line, r3.Vec{X: 10 * cos, Y: 10 * sin, Z: 30 + 5*math.Sin(6*math.Pi*float64(i)/200)})
	}
	top := at(t, s, r3.Vec{Z: 60})
	must(t)(m.Outline(s, Outline{Points: line, Levels: 3, Inside: &top}, Paint{Region: 1}))
	near(t, "upper half", areaOf(s, m, 1), mesh.Area(s.Mesh)/2, 0.001)
}

// A figure of eight has a side for each loop, so no inside.
func TestOutlineThatCrossesItself(t *testing.T) {
	s := NewSurface(solid.Plane(60, 60))
	m := newMap(t, s)
	var line []r3.Vec
	for i := range 100 {
		a := 2 * math.Pi * float64(i) / 100
		line = append(line, r3.Vec{X: 20 * math.Sin(a), Y: 10 * math.Sin(2*a)})
	}
	if _, err := m.Outline(s, Outline{Points: line}, Paint{Region: 1}); err == nil {
		t.Error("a figure of eight was filled")
	}
	if _, err := m.Outline(s, Outline{Points: []r3.Vec{{X: 1}, {X: 2}, {Z: 40}}}, Paint{Region: 1}); err == nil {
		t.Error("a line 40 mm off the surface was filled")
	}
	if n := len(m.Faces(1)); n != 0 {
		t.Errorf("%d faces were marked all the same", n)
	}
}
