package volume

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// witness is a place where nothing changed.
type witness struct {
	gap, area  float64
	normal, at r3.Vec
}

// normalSums are the sums of a least-squares fit of gaps by t·n.
type normalSums struct {
	n         [6]float64 // Σ A n nᵀ: xx yy zz xy yz zx
	y         [3]float64 // Σ A g n
	normal    r3.Vec     // Σ A n
	gap, area float64    // Σ A g, Σ A
	squares   float64    // Σ A g²
	count     int
}

func (s *normalSums) add(x *witness) {
	n := x.normal
	for k, v := range [6]float64{n.X * n.X, n.Y * n.Y, n.Z * n.Z, n.X * n.Y, n.Y * n.Z, n.Z * n.X} {
		s.n[k] += x.area * v
	}
	for k, v := range [3]float64{n.X, n.Y, n.Z} {
		s.y[k] += x.area * x.gap * v
	}
	s.normal = r3.Add(s.normal, r3.Scale(x.area, n))
	s.gap += x.area * x.gap
	s.area += x.area
	s.squares += x.area * x.gap * x.gap
	s.count++
}

// join adds the sums of another set of places.
func (s *normalSums) join(o *normalSums) {
	for k := range s.n {
		s.n[k] += o.n[k]
	}
	for k := range s.y {
		s.y[k] += o.y[k]
	}
	s.normal = r3.Add(s.normal, o.normal)
	s.gap += o.gap
	s.area += o.area
	s.squares += o.squares
	s.count += o.count
}

// mean is the mean gap less what a shift t explains, Σ A (g - t·n) / Σ A, with
// its standard error; NaN where there are too few places.
func (s *normalSums) mean(t r3.Vec) (mean, err float64) {
	if s.count < fewest {
		return math.NaN(), math.NaN()
	}
	x := [3]float64{t.X, t.Y, t.Z}
	square := s.squares + 2*(s.n[3]*x[0]*x[1]+s.n[4]*x[1]*x[2]+s.n[5]*x[2]*x[0])
	for k := range x {
		square += x[k] * (s.n[k]*x[k] - 2*s.y[k])
	}
	mean = (s.gap - r3.Dot(t, s.normal)) / s.area
	// Neighbours share error: one in eight counts as independent.
	return mean, math.Sqrt(max(0, square/s.area-mean*mean) / (float64(s.count) / 8))
}

// fewest is the number of places below which a ring says nothing.
const fewest = 16

// shift is the translation t that fits the gaps best as t·n. A flat ring says
// nothing about shifts along itself: a slight pull to zero (a thousandth of the
// trace) keeps them out.
func (s *normalSums) shift() r3.Vec {
	ridge := 1e-3 * (s.n[0] + s.n[1] + s.n[2])
	a := mat.NewSymDense(3, []float64{
		s.n[0] + ridge, s.n[3], s.n[5],
		s.n[3], s.n[1] + ridge, s.n[4],
		s.n[5], s.n[4], s.n[2] + ridge,
	})
	var chol mat.Cholesky
	var t mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&t, mat.NewVecDense(3, s.y[:])) != nil {
		return r3.Vec{}
	}
	return r3.Vec{X: t.AtVec(0), Y: t.AtVec(1), Z: t.AtVec(2)}
}
