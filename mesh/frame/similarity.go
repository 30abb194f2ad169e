package frame

import "gonum.org/v1/gonum/spatial/r3"

// Similarity enlarges about zero by Scale and then moves rigidly:
// x ↦ R·(Scale·x) + T. It is used only where somebody asked for it: a scale
// difference between two scans is a finding, not a freedom of the fit.
type Similarity struct {
	Scale float64
	Rigid
}

// Apply moves a point.
func (g Similarity) Apply(p r3.Vec) r3.Vec { return g.Rigid.Apply(r3.Scale(g.Scale, p)) }

// Matrix returns the 4×4 row-major matrix that acts on column vectors.
func (g Similarity) Matrix() [16]float64 {
	m := g.Rigid.Matrix()
	for _, row := range [3]int{0, 4, 8} {
		for k := range 3 {
			m[row+k] *= g.Scale
		}
	}
	return m
}
