package solid_test

import (
	"math"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// near fails unless got is within half a unit of the last digit of want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.12g, want %.12g ± %.1g", what, got, want, tolerance)
	}
}

// Every closed body has no open edge, faces that agree, and a positive volume;
// Euler's number V - E + F is 2 for all but the torus, where it is 0.
func TestClosedBodies(t *testing.T) {
	for name, c := range map[string]struct {
		m     *mesh.Mesh
		euler int
	}{
		"icosphere": {solid.Icosphere(3, 25), 2}, "ellipsoid": {solid.Ellipsoid(2, 3, 2, 1), 2},
		"torus": {solid.Torus(3, 1, 24, 12), 0}, "cone": {solid.Cone(3, 4, 40), 2},
		"cylinder": {solid.Cylinder(2, 5, 30, 4), 2}, "cap": {solid.Cap(20, 5, 36, 6), 2},
		"cube": {solid.Cube(2), 2}, "box": {solid.Box(1, 2, 3), 2}, "tetrahedron": {solid.Tetrahedron(3, 4, 5), 2},
	} {
		w := mesh.NewWeld(c.m)
		topo := mesh.NewTopology(c.m, w)
		if !topo.Closed() || !topo.Oriented() || topo.Components != 1 || topo.Degenerate+topo.Duplicate != 0 {
			t.Errorf("%s: border %d, non-manifold %d, turned %d, parts %d", name, topo.Border, topo.NonManifold, topo.Turned, topo.Components)
		}
		if w.Count != c.m.VertexCount() {
			t.Errorf("%s: %d stored vertices weld to %d", name, c.m.VertexCount(), w.Count)
		}
		if e := w.Count - c.m.FaceCount()/2; e != c.euler {
			t.Errorf("%s: Euler number %d, want %d", name, e, c.euler)
		}
		if v := mesh.Volume(c.m); !(v > 0) {
			t.Errorf("%s: volume %g", name, v)
		}
	}
}

// A pyramid on a regular n-gon has the volume n r² h sin(2π/n) / 6 and n equal
// sides (elementary geometry).
func TestConeIsAPyramid(t *testing.T) {
	r, h, n := 3.0, 4.0, 7
	m := solid.Cone(r, h, n)
	step := 2 * math.Pi / float64(n)
	base := float64(n) / 2 * r * r * math.Sin(step)
	apothem := r * math.Cos(step/2)
	side := r * math.Sin(step/2) * math.Hypot(apothem, h)
	near(t, "volume", mesh.Volume(m), base*h/3, 1e-5)
	near(t, "area", mesh.Area(m), base+float64(n)*side, 1e-5)
}

// Open bodies: the rim of a dome is one loop of n edges, a plane's one of 4n.
func TestOpenBodies(t *testing.T) {
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		rims []int
	}{
		"dome":    {solid.Dome(20, 5, 36, 6), []int{36}},
		"plane":   {solid.Plane(10, 5), []int{20}},
		"lantern": {solid.Lantern(1, 1, 12, 5), []int{12, 12}},
	} {
		topo := mesh.NewTopology(c.m, mesh.NewWeld(c.m))
		loops := topo.BorderLoops()
		if len(loops) != len(c.rims) || !topo.Oriented() {
			t.Fatalf("%s: %d rims, want %d; turned %d", name, len(loops), len(c.rims), topo.Turned)
		}
		for i, l := range loops {
			if len(l) != c.rims[i] {
				t.Errorf("%s: rim of %d vertices, want %d", name, len(l), c.rims[i])
			}
		}
	}
	near(t, "plane", mesh.Area(solid.Plane(10, 5)), 100, 1e-5)
}
