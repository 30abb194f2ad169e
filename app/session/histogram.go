package session

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/handover/picture"
	"rigatino/annotate/project"
	"rigatino/mesh"
)

// Histogram is how much of the surface of the later scan of a comparison moved
// how far. It counts what the specimen shows: nothing where the pair can show
// nothing.
type Histogram struct {
	SmallestMM     float64 // the smallest change this pair can show
	FullMM, StepMM float64 // end of the scale, and from tick to tick
	// Removed and Added are the surface in mm² per bin of BinMM from 0 on; the
	// last bin holds what lies beyond the end too.
	BinMM          float64
	Removed, Added []float64
	// UnchangedMM2 shows no change, ElsewhereMM2 is not in the other scan.
	UnchangedMM2, ElsewhereMM2 float64
}

// histogramBins is how many bins a side of the scale has.
const histogramBins = 48

// GapHistogram is the histogram of a comparison.
func (d *Desk) GapHistogram(c *project.Comparison) *Histogram {
	d.showGaps(c)
	return d.gaps
}

// showGaps works out once what a comparison shows on the specimen.
func (d *Desk) showGaps(c *project.Comparison) {
	if d.shownOf == c.Change {
		return
	}
	d.shownOf, d.shown = c.Change, c.Change.ShownGap()
	d.gaps = histogramOf(c.Change.After.Mesh, 1, d.shown, c.Change.SmallestMM, fullScale(c))
}

// histogramOf counts the surface of a mesh, times factor squared, by a value of its
// vertices, mm.
func histogramOf(m *mesh.Mesh, factor float64, values []float32, smallest, full float64) *Histogram {
	h := &Histogram{SmallestMM: smallest, FullMM: full, StepMM: picture.StepOf(full), BinMM: full / histogramBins,
		Removed: make([]float64, histogramBins), Added: make([]float64, histogramBins)}
	for f := range m.FaceCount() {
		third := factor * factor * r3.Norm(m.AreaVector(uint32(f))) / 3
		for _, v := range m.Triangles[3*f : 3*f+3] {
			g := float64(values[v])
			bin := min(int(math.Abs(g)/h.BinMM), histogramBins-1)
			switch {
			case math.IsNaN(g):
				h.ElsewhereMM2 += third
			case math.Abs(g) < h.SmallestMM:
				h.UnchangedMM2 += third
			case g < 0:
				h.Removed[bin] += third
			default:
				h.Added[bin] += third
			}
		}
	}
	return h
}

// fullScale is where the scale of a comparison ends.
func fullScale(c *project.Comparison) float64 {
	most := c.Change.SmallestMM
	for _, a := range c.Change.Areas {
		most = math.Max(most, a.MaxDepthMM)
	}
	return picture.FullScale(most)
}
