package handover

import (
	"io"
	"math"

	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/gltf"
)

// WriteChange writes the scan after as a plain GLB whose vertex colours say how
// far the surface moved: one hue for removed, one for added, grey below the
// smallest change the pair can show, darker grey where nothing is known.
func WriteChange(w io.Writer, c *change.Change) error {
	most := c.SmallestMM
	for _, g := range c.AfterGap {
		if v := math.Abs(float64(g)); v > most {
			most = v
		}
	}
	m := c.After.Mesh
	out := &mesh.Mesh{Origin: m.Origin, Positions: m.Positions, Triangles: m.Triangles, Normals: m.Normals, Colours: make([]uint8, 4*m.VertexCount())}
	removed, added := terms.RemovedRamp(), terms.AddedRamp()
	for i, g := range c.ShownGap() {
		v := float64(g)
		colour := terms.Unchanged
		switch {
		case math.IsNaN(v):
			unknown, _ := terms.Get(terms.Substance, "unassigned")
			colour = unknown.Look.Ink
		case math.Abs(v) >= c.SmallestMM && most > c.SmallestMM:
			step := min(255, int(255*(math.Abs(v)-c.SmallestMM)/(most-c.SmallestMM)))
			if v < 0 {
				colour = removed[step]
			} else {
				colour = added[step]
			}
		}
		copy(out.Colours[4*i:], []uint8{colour.R, colour.G, colour.B, 255})
	}
	return gltf.Write(w, out, 1e-3)
}
