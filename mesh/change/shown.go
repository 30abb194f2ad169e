package change

import "math"

// ShownGap is AfterGap with zero wherever the pair claims nothing: only vertices
// of faces in a change area keep their gap, so that a picture does not show
// noise as change. NaN stays NaN.
func (c *Change) ShownGap() []float32 {
	out := make([]float32, len(c.AfterGap))
	for i, g := range c.AfterGap {
		if math.IsNaN(float64(g)) {
			out[i] = g
		}
	}
	for _, a := range c.Areas {
		for _, f := range a.AfterFaces {
			for _, v := range c.After.Mesh.Triangles[3*f : 3*f+3] {
				out[v] = c.AfterGap[v]
			}
		}
	}
	return out
}
