package mesh

import "gonum.org/v1/gonum/spatial/r3"

// SurfacePoint is a place on a mesh: a face and barycentric weights of its
// three corners (their sum is 1).
type SurfacePoint struct {
	Face    uint32
	Weights [3]float64
}

// At returns the coordinates of p on m.
func (m *Mesh) At(p SurfacePoint) r3.Vec {
	a, b, c := m.Corners(p.Face)
	w := p.Weights
	return r3.Add(r3.Add(r3.Scale(w[0], a), r3.Scale(w[1], b)), r3.Scale(w[2], c))
}
