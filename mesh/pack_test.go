package mesh_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// Ten bits a component are good to 0.1 degrees.
func TestPackedNormals(t *testing.T) {
	worst := 0.0
	m := solid.Icosphere(4, 1)
	for _, p := range mesh.Sample(m, 5000, 1) {
		v := m.At(p)
		v = r3.Scale(1/r3.Norm(v), v)
		x, y, z := mesh.UnpackNormal(mesh.PackNormal(3*v.X, 3*v.Y, 3*v.Z))
		u := r3.Unit(r3.Vec{X: float64(x), Y: float64(y), Z: float64(z)})
		worst = max(worst, math.Asin(r3.Norm(r3.Cross(u, v))))
		if l := math.Sqrt(float64(x*x + y*y + z*z)); math.Abs(l-511) > 1 {
			t.Fatalf("unpacked length %g, not 511", l)
		}
	}
	if deg := worst * 180 / math.Pi; deg > 0.1 {
		t.Errorf("a normal is %.3f degrees off", deg)
	}
	for _, v := range [][3]float64{{0, 0, 0}, {math.NaN(), 1, 0}, {math.Inf(1), 0, 0}} {
		if p := mesh.PackNormal(v[0], v[1], v[2]); p != 0 {
			t.Errorf("%v is packed as a normal", v)
		}
	}
}
