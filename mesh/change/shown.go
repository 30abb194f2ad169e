package change

import "math"

// ShownGap is AfterGap with zero wherever the pair claims nothing: only vertices
// of faces in a change area keep their gap, so that a picture does not show
// noise as change. Within an area the average over the neighbours is shown where
// a vertex differs from it by no more than the scan's own noise, so that contours
// and rims are not toothed by it; what differs more, as a scratch one vertex wide,
// is shown as it is. An area shows nothing of the other sign: matter put on beside
// matter taken off is an area of its own. NaN stays NaN.
func (c *Change) ShownGap() []float32 {
	out := make([]float32, len(c.AfterGap))
	for i, g := range c.AfterGap {
		if math.IsNaN(float64(g)) {
			out[i] = g
		}
	}
	noise := math.Hypot(c.Before.NoiseMM, c.After.NoiseMM)
	// By the side's own faces: the numbers in an area count those left out too.
	for f := range c.After.Topology.Component {
		area := c.After.areaAt(uint32(f))
		if area < 0 {
			continue
		}
		// At the rim of an area noise may have the other sign, and a vertex may be
		// one of a neighbouring area too.
		sign := 1.0
		if c.Areas[area].Kind == Removed {
			sign = -1
		}
		for _, v := range c.After.Mesh.Triangles[3*f : 3*f+3] {
			g := c.AfterGap[v]
			if mean := c.After.Smooth[c.After.Weld.Of[v]]; math.Abs(float64(g)-mean) <= noiseShown*noise {
				g = float32(mean)
			}
			if sign*float64(g) < 0 {
				continue
			}
			// Where the scans are worse than elsewhere the pair shows less.
			if w := c.After.Weld.Of[v]; math.Abs(float64(g)) < c.smallestAt(c.After, w, c.Areas[area].Kind) && math.Abs(float64(g)) > c.SmallestMM {
				g = 0
			}
			out[v] = g
		}
	}
	return out
}

// noiseShown is how many standard deviations of the noise count as noise in a
// picture.
const noiseShown = 3
