package mesh

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Principal returns the mean of some points, their principal axes by falling
// spread, and the spread (standard deviation) along each: the eigenvectors of
// their covariance. Without points, or where there is no answer, the axes are
// those of the frame, with a spread of 1.
func Principal(points []r3.Vec) (mean r3.Vec, axes [3]r3.Vec, spread [3]float64) {
	n := float64(len(points))
	for _, p := range points {
		mean = r3.Add(mean, r3.Scale(1/n, p))
	}
	covariance := mat.NewSymDense(3, nil)
	for _, p := range points {
		d := r3.Sub(p, mean)
		x := [3]float64{d.X, d.Y, d.Z}
		for i := range 3 {
			for k := i; k < 3; k++ {
				covariance.SetSym(i, k, covariance.At(i, k)+x[i]*x[k])
			}
		}
	}
	var e mat.EigenSym
	if n == 0 || !e.Factorize(covariance, true) {
		return mean, [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}, [3]float64{1, 1, 1}
	}
	values := e.Values(nil)
	var v mat.Dense
	e.VectorsTo(&v)
	for k := range 3 { // eigenvalues rise
		axes[k] = r3.Vec{X: v.At(0, 2-k), Y: v.At(1, 2-k), Z: v.At(2, 2-k)}
		spread[k] = math.Sqrt(math.Max(values[2-k], 0) / n)
	}
	return mean, axes, spread
}
