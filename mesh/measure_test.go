package mesh_test

import (
	"math"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

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
		area := 100 * (mesh.Area(m)/(4*math.Pi*25*25) - 1)
		volume := 100 * (mesh.Volume(m)/(4*math.Pi/3*25*25*25) - 1)
		near(t, "area error", area, row.area, 2e-6)
		near(t, "volume error", volume, row.volume, 2e-6)
		near(t, "mean edge", mesh.MeanEdge(m)/25, row.edgeR, 6e-7)
	}
}

// near fails unless got lies within tolerance of want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.12g, want %.12g ± %.1g", what, got, want, tolerance)
	}
}
