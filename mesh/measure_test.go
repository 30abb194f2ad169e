package mesh_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// near fails unless got lies within tolerance of want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.12g, want %.12g ± %.1g", what, got, want, tolerance)
	}
}

// Inscribed icospheres fall short of the sphere by shares that follow from
// their coordinates alone; the table was computed apart from this program in
// double precision, in per cent. Our coordinates are float32: rounding them by
// up to 2⁻²⁴ of the radius may move an area by 1.2e-5 %; 2e-6 % is held.
func TestIcosphereFaceting(t *testing.T) {
	for _, row := range []struct {
		level               int
		area, volume, edgeR float64
	}{
		{2, -1.882182, -3.383925, 0.299332},
		{3, -0.476493, -0.860616, 0.150730},
		{4, -0.119499, -0.216083, 0.075499},
		{5, -0.029898, -0.054079, 0.037766},
		{6, -0.007476, -0.013523, 0.018885},
	} {
		m := solid.Icosphere(row.level, 25)
		area := 100 * (mesh.Area(m)/7853.981634 - 1)
		volume := 100 * (mesh.Volume(m)/65449.846949 - 1)
		near(t, "area error", area, row.area, 2e-6)
		near(t, "volume error", volume, row.volume, 2e-6)
		near(t, "mean edge", mesh.MeanEdge(m)/25, row.edgeR, 6e-7)
	}
}

// Torus grids fall short by the shares of a table computed apart from this
// program, per cent to the digits given; the smooth torus R 3, r 1 has area
// 4π²Rr = 118.4352528 and volume 2π²Rr² = 59.21762641 (Pappus).
func TestTorusFaceting(t *testing.T) {
	for _, row := range []struct {
		nu, nv                         int
		area, areaTo, volume, volumeTo float64
	}{
		{48, 16, -0.818, 5e-4, -2.829, 5e-4},
		{192, 64, -0.0513, 5e-5, -0.178, 5e-4},
		{768, 256, -0.0032, 5e-5, -0.0112, 5e-5},
	} {
		m := solid.Torus(3, 1, row.nu, row.nv)
		near(t, "area error", 100*(mesh.Area(m)/118.4352528-1), row.area, row.areaTo)
		near(t, "volume error", 100*(mesh.Volume(m)/59.21762641-1), row.volume, row.volumeTo)
	}
}

// extrapolated takes the error of order 1/n² out of a measure of two meshes,
// the second one twice as fine (Richardson 1911); what is left is of order
// 1/n⁴, here below 1e-9 of the value.
func extrapolated(coarse, fine float64) float64 { return (4*fine - coarse) / 3 }

// Closed forms for round bodies: sphere, torus, cone, spherical caps,
// ellipsoids (areas of the ellipsoids by elliptic integrals, computed apart
// from this program). Meshes of two finenesses are extrapolated to the smooth
// body; 2e-7 relative is what float32 coordinates leave.
func TestRoundBodies(t *testing.T) {
	for _, row := range []struct {
		what    string
		make    func(n int) *mesh.Mesh
		n       int
		measure func(*mesh.Mesh) float64
		want    float64
	}{
		{"torus 3 1, area", func(n int) *mesh.Mesh { return solid.Torus(3, 1, 3*n, n) }, 100, mesh.Area, 118.4352528},
		{"torus 3 1, volume", func(n int) *mesh.Mesh { return solid.Torus(3, 1, 3*n, n) }, 100, mesh.Volume, 59.21762641},
		{"cone 3 4, area", func(n int) *mesh.Mesh { return solid.Cone(3, 4, n) }, 200, mesh.Area, 75.39822369},
		{"cone 3 4, volume", func(n int) *mesh.Mesh { return solid.Cone(3, 4, n) }, 200, mesh.Volume, 37.69911184},
		{"dome 20 5, area", func(n int) *mesh.Mesh { return solid.Dome(20, 5, 4*n, n) }, 50, mesh.Area, 628.3185307},
		{"cap 20 5, area", func(n int) *mesh.Mesh { return solid.Cap(20, 5, 4*n, n) }, 50, mesh.Area, 628.3185307 + 549.7787144},
		{"cap 20 5, volume", func(n int) *mesh.Mesh { return solid.Cap(20, 5, 4*n, n) }, 50, mesh.Volume, 1439.896633},
		{"dome 50 2, area", func(n int) *mesh.Mesh { return solid.Dome(50, 2, 4*n, n) }, 50, mesh.Area, 628.3185307},
		{"cap 50 2, volume", func(n int) *mesh.Mesh { return solid.Cap(50, 2, 4*n, n) }, 50, mesh.Volume, 619.9409503},
	} {
		got := extrapolated(row.measure(row.make(row.n)), row.measure(row.make(2*row.n)))
		near(t, row.what, got, row.want, 2e-7*row.want)
	}
	// Icospheres and ellipsoids made of them halve their edges level by level,
	// but not quite evenly: the extrapolation leaves more.
	for _, row := range []struct {
		what         string
		a, b, c      float64
		area, volume float64
	}{
		{"sphere 25", 25, 25, 25, 7853.981634, 65449.846949},
		{"ellipsoid 3 2 1", 3, 2, 1, 48.88214630258206, 25.13274123},
		{"ellipsoid 5 4 3", 5, 4, 3, 199.4550593619437, 251.3274123},
		{"ellipsoid 50 20 15", 50, 20, 15, 9074.944679584562, 62831.85307},
	} {
		coarse, fine := solid.Ellipsoid(5, row.a, row.b, row.c), solid.Ellipsoid(6, row.a, row.b, row.c)
		near(t, row.what+", area", extrapolated(mesh.Area(coarse), mesh.Area(fine)), row.area, 1e-6*row.area)
		near(t, row.what+", volume", extrapolated(mesh.Volume(coarse), mesh.Volume(fine)), row.volume, 1e-6*row.volume)
	}
}

// Moments of inertia per mass, I/m, in closed form (textbook solids; the
// corner tetrahedron's integrals about its corner are ∫x² = 9, ∫xy = 6).
func TestMoments(t *testing.T) {
	type axis struct{ x, y, z float64 }
	inertia := func(m *mesh.Mesh) axis {
		s := mesh.Moments(m)
		d := [3]float64{s.Second[0][0] / s.Volume, s.Second[1][1] / s.Volume, s.Second[2][2] / s.Volume}
		return axis{d[1] + d[2], d[2] + d[0], d[0] + d[1]}
	}
	for _, row := range []struct {
		what string
		make func(n int) *mesh.Mesh
		n    int
		want axis
	}{
		{"torus 3 1", func(n int) *mesh.Mesh { return solid.Torus(3, 1, 3*n, n) }, 64, axis{5.125, 5.125, 9.75}},
		{"cone 3 4", func(n int) *mesh.Mesh { return solid.Cone(3, 4, n) }, 200, axis{1.95, 1.95, 2.7}},
		{"sphere 25", func(n int) *mesh.Mesh { return solid.Icosphere(n/10, 25) }, 0, axis{250, 250, 250}},
		{"ellipsoid 3 2 1", func(n int) *mesh.Mesh { return solid.Ellipsoid(n/10, 3, 2, 1) }, 0, axis{1, 2, 2.6}},
	} {
		coarse, fine := row.make(row.n), row.make(2*row.n)
		if row.n == 0 {
			coarse, fine = row.make(50), row.make(60)
		}
		a, b := inertia(coarse), inertia(fine)
		near(t, row.what+", I/m about x", extrapolated(a.x, b.x), row.want.x, 1e-6*row.want.x)
		near(t, row.what+", I/m about y", extrapolated(a.y, b.y), row.want.y, 1e-6*row.want.y)
		near(t, row.what+", I/m about z", extrapolated(a.z, b.z), row.want.z, 1e-6*row.want.z)
	}
	cone := mesh.Moments(solid.Cone(3, 4, 400))
	near(t, "cone, height of the centroid", cone.Centroid.Z, 1, 1e-6)

	s := mesh.Moments(solid.Tetrahedron(3, 4, 5))
	near(t, "tetrahedron, volume", s.Volume, 10, 1e-12)
	c := s.Centroid
	near(t, "tetrahedron, centroid", r3.Norm(r3.Sub(c, r3.Vec{X: 0.75, Y: 1, Z: 1.25})), 0, 1e-12)
	near(t, "tetrahedron, ∫x²", s.Second[0][0]+s.Volume*c.X*c.X, 9, 1e-11)
	near(t, "tetrahedron, ∫xy", s.Second[0][1]+s.Volume*c.X*c.Y, 6, 1e-11)
	near(t, "tetrahedron, ∫yz", s.Second[1][2]+s.Volume*c.Y*c.Z, 10.0*4*5/20, 1e-11)
	near(t, "tetrahedron, symmetric", s.Second[2][0]-s.Second[0][2], 0, 0)
}

// Schwarz's lantern, r = h = 1: its area does not tend to 2π = 6.283185 with
// its fineness alone (values computed apart from this program in float64; our
// float32 coordinates may move them by 1e-7).
func TestLantern(t *testing.T) {
	for _, row := range []struct {
		rows, around int
		area         float64
	}{{10, 10, 6.880877}, {100, 10, 30.873656}, {100, 1000, 6.283176}, {1000, 100, 7.005325}} {
		near(t, "lantern", mesh.Area(solid.Lantern(1, 1, row.around, row.rows)), row.area, 1e-7*row.area+5e-7)
	}
}

// The sum of area vectors of a closed surface is zero, whatever its shape
// (divergence theorem); a hemisphere's is its disc: ratio ½, and a flat
// surface's ratio is 1.
func TestClosureRatio(t *testing.T) {
	near(t, "torus", mesh.ClosureRatio(solid.Torus(3, 1, 48, 16)), 0, 1e-7)
	near(t, "cube", mesh.ClosureRatio(solid.Cube(2)), 0, 1e-15)
	near(t, "hemisphere", mesh.ClosureRatio(solid.Dome(1, 1, 400, 100)), 0.5, 1e-4)
	near(t, "plane", mesh.ClosureRatio(solid.Plane(2, 3)), 1, 1e-15)
	near(t, "nothing", mesh.ClosureRatio(&mesh.Mesh{}), 0, 0)
}

// A body a hundred metres from zero keeps its volume and centroid: sums are
// made about its own middle.
func TestFarFromZero(t *testing.T) {
	m := solid.Icosphere(4, 25)
	want := mesh.Moments(m)
	far := *m
	far.Origin = r3.Vec{X: 1e5, Y: -3e5, Z: 2e5}
	got := mesh.Moments(&far)
	near(t, "volume", got.Volume, want.Volume, 1e-9*want.Volume)
	near(t, "volume alone", mesh.Volume(&far), want.Volume, 1e-9*want.Volume)
	near(t, "centroid", r3.Norm(r3.Sub(got.Centroid, far.Origin)), 0, 1e-9)
	near(t, "second moment", got.Second[0][0], want.Second[0][0], 1e-9*want.Second[0][0])
}

// Bounds are those of used vertices only; an empty mesh has none.
func TestBounds(t *testing.T) {
	m := solid.Box(1, 2, 3)
	m.Positions = append(m.Positions, 100, 100, 100)
	m.Origin = r3.Vec{X: 10}
	b := mesh.Bounds(m)
	if want := (mesh.Box{Min: r3.Vec{X: 9.5, Y: -1, Z: -1.5}, Max: r3.Vec{X: 10.5, Y: 1, Z: 1.5}}); b != want {
		t.Errorf("bounds %v, want %v", b, want)
	}
	near(t, "diagonal", b.Diagonal(), math.Sqrt(14), 1e-15)
	if b.Centre() != (r3.Vec{X: 10}) {
		t.Errorf("centre %v", b.Centre())
	}
	if b := mesh.Bounds(&mesh.Mesh{}); b != (mesh.Box{}) {
		t.Errorf("an empty mesh has bounds %v", b)
	}
}

// Areas of faces add up to the whole, and those of a part to the part: a box
// 1 × 2 × 3 has 22, its two faces of 2 × 3 have 12.
func TestAreas(t *testing.T) {
	m := solid.Box(1, 2, 3)
	near(t, "box", mesh.Area(m), 22, 1e-12)
	var sum float64
	var sides []uint32
	for f, a := range mesh.FaceAreas(m) {
		sum += a
		if n := m.AreaVector(uint32(f)); n.X != 0 {
			sides = append(sides, uint32(f))
		}
	}
	near(t, "sum of faces", sum, 22, 1e-12)
	near(t, "two sides", mesh.AreaOf(m, sides), 12, 1e-12)
	near(t, "mean edge of a cube", mesh.MeanEdge(solid.Cube(1)), (2+math.Sqrt2)/3, 1e-7)
}

// The covariance of a box's eight corners is that of three coins of ± half a
// side each (analytic): spreads are the half sides, axes the box's own.
func TestPrincipalOfABox(t *testing.T) {
	half := [3]float64{9, 4, 1}
	u := r3.Unit(r3.Vec{X: 1, Y: 2, Z: -1})
	v := r3.Unit(r3.Cross(u, r3.Vec{Z: 1}))
	own := [3]r3.Vec{u, v, r3.Cross(u, v)}
	at := r3.Vec{X: 100, Y: -20, Z: 7}
	var corners []r3.Vec
	for i := range 8 {
		p := at
		for k := range 3 {
			p = r3.Add(p, r3.Scale(half[k]*float64(2*(i>>k&1)-1), own[k]))
		}
		corners = append(corners, p)
	}
	mean, axes, spread := mesh.Principal(corners)
	if d := r3.Norm(r3.Sub(mean, at)); d > 1e-12 {
		t.Errorf("the mean is off by %v", d)
	}
	for k := range 3 {
		if math.Abs(spread[k]-half[k]) > 1e-12 || 1-math.Abs(r3.Dot(axes[k], own[k])) > 1e-12 {
			t.Errorf("axis %d: %v with spread %v, want %v with %v", k, axes[k], spread[k], own[k], half[k])
		}
	}
	if _, axes, spread := mesh.Principal(nil); axes[0] != (r3.Vec{X: 1}) || spread[0] != 1 {
		t.Errorf("no points: %v, %v", axes, spread)
	}
}
