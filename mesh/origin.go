package mesh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// originSample is the most points that ChooseOrigin looks at.
const originSample = 4096

// ChooseOrigin returns a point near the middle of n points, for use as
// Mesh.Origin. It looks at an even sample of them. Each coordinate is a
// multiple of a power of two between 1/8 and 1/4 of the sample's extent, so
// that float32 coordinates of a specimen far away lose no bit when it is
// subtracted, and those of a specimen about zero stay what they are (the
// origin is then zero). Where a point of the sample is not finite the origin is zero.
func ChooseOrigin(n int, at func(i int) r3.Vec) r3.Vec {
	if n == 0 {
		return r3.Vec{}
	}
	lo, hi := at(0), at(0)
	step := max(1, n/originSample)
	for i := 0; i < n; i += step {
		p := at(i)
		lo = r3.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y), Z: min(lo.Z, p.Z)}
		hi = r3.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y), Z: max(hi.Z, p.Z)}
	}
	extent := max(hi.X-lo.X, hi.Y-lo.Y, hi.Z-lo.Z)
	if !(extent >= 0) || math.IsInf(extent, 0) {
		return r3.Vec{}
	}
	if extent == 0 {
		return lo
	}
	_, exp := math.Frexp(extent)
	grain := math.Ldexp(1, exp-3)
	// Adding zero turns -0 into 0.
	round := func(a, b float64) float64 { return math.Round((a+b)/2/grain)*grain + 0 }
	return r3.Vec{X: round(lo.X, hi.X), Y: round(lo.Y, hi.Y), Z: round(lo.Z, hi.Z)}
}
