package project

import (
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/frame"
)

// turned expresses a covariance of rotation and translation in a turned frame.
func turned(c [36]float64, g frame.Rigid) []float64 {
	j := mat.NewDense(6, 6, nil)
	for block := range 2 {
		for row := range 3 {
			for col := range 3 {
				j.Set(3*block+row, 3*block+col, g.R[3*row+col])
			}
		}
	}
	return sandwich(j, c[:])
}

// moved expresses a covariance of a rotation about one centre and a translation
// as one about another: a turn ω about c shifts c' by ω × (c' − c).
func moved(c []float64, from, to r3.Vec) []float64 {
	d := r3.Sub(to, from)
	j := mat.NewDense(6, 6, nil)
	for i := range 6 {
		j.Set(i, i, 1)
	}
	// ω × d = −[d]ₓ ω
	cross := [3][3]float64{{0, d.Z, -d.Y}, {-d.Z, 0, d.X}, {d.Y, -d.X, 0}}
	for row := range 3 {
		for col := range 3 {
			j.Set(3+row, col, cross[row][col])
		}
	}
	return sandwich(j, c)
}

// sandwich returns J C Jᵀ.
func sandwich(j *mat.Dense, c []float64) []float64 {
	var left, out mat.Dense
	left.Mul(j, mat.NewDense(6, 6, slices.Clone(c)))
	out.Mul(&left, j.T())
	return slices.Clone(out.RawMatrix().Data)
}
