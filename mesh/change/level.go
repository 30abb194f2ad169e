package change

import (
	"context"
	"math"

	"rigatino/mesh"
)

// madToSigma turns a median absolute deviation into the standard deviation of
// a normal distribution.
const madToSigma = 1.4826

// limitSigmas is the limit of a core in standard deviations of the averaged
// gap on unchanged surface.
const limitSigmas = 3

// floorMM is the least limit: noise-free pairs of different triangles show
// false areas below it.
const floorMM = 0.02

// existence is how much higher than the limit of its core the averaged gap of
// an area must rise somewhere for the area to be claimed. Three sigma alone is
// no test of significance: there are thousands of places to pass it by chance,
// and the error of the alignment lies over wide ones.
const existence = 1.5

// widestSpread is the largest spread of the gap on unchanged surface, as a
// share of the specimen's diagonal, that is still taken for unchanged.
const widestSpread = 1.0 / 500

// smoothingRounds keeps the width of averaging near 1 mm on usual scans: 4
// rounds at edges of 1 mm, 12 at 0.35 mm and below. The volume hardly depends
// on it; the limit does.
func smoothingRounds(edge float64) int {
	if !(edge > 0) {
		return 4
	}
	return int(min(max(math.Round(4/edge), 4), 12))
}

// unchangedSpread estimates the standard deviation of the averaged gap where
// nothing changed, while any part of the surface, up to nearly all, may have
// changed: the unchanged values lie about zero because the scans are aligned,
// so a width is started from the values nearest zero and clipped at three
// sigma until it stands, never wider than most: where all has changed nothing is
// left to start from. A median absolute deviation over everything, the usual
// choice, grows to millimetres when half of the surface has changed.
func unchangedSpread(values []float64, most float64) float64 {
	size := make([]float64, 0, len(values))
	for _, v := range values {
		if !math.IsNaN(v) {
			size = append(size, math.Abs(v))
		}
	}
	if len(size) == 0 {
		return math.NaN()
	}
	// The twentieth part nearest zero lies within 0.0627 σ if all is
	// unchanged; if only a share S is, this starts 1/S too wide.
	sigma := min(most, mesh.Nth(size, len(size)/20)/0.0627)
	for range 60 {
		sum, n := 0.0, 0
		for _, v := range size {
			if v < limitSigmas*sigma {
				sum += v * v
				n++
			}
		}
		if n == 0 {
			return 0
		}
		// A normal distribution cut at 3 σ has 0.98653 of its deviation left.
		next := math.Sqrt(sum/float64(n)) / 0.98653
		if math.Abs(next-sigma) <= 1e-6*sigma {
			return next
		}
		sigma = next
	}
	return sigma
}

// roughness is the robust spread of what averaging took off the gap, where the
// surface is unchanged: noise from vertex to vertex of both scans.
func (s *Side) roughness(limit float64) float64 {
	rest := make([]float64, 0, len(s.Gap))
	for v, g := range s.Gap {
		if !math.IsNaN(g) && math.Abs(s.Smooth[v]) < limit {
			rest = append(rest, math.Abs(g-s.Smooth[v]))
		}
	}
	if len(rest) == 0 {
		return 0
	}
	return madToSigma * mesh.Nth(rest, len(rest)/2)
}

// shareNoise tells the two scans' own noise apart. A gap at a vertex holds the
// vertex's own noise and that of the other scan at a point inside a face,
// where the mean over three corners leaves half of the variance.
func shareNoise(before, after *Side, limit float64) {
	var b, a float64
	_ = mesh.Parallel(context.Background(), 2, func(i int) {
		if i == 0 {
			b = before.roughness(limit)
		} else {
			a = after.roughness(limit)
		}
	})
	before.NoiseMM = math.Sqrt(max(0, (b*b-a*a/2)/0.75))
	after.NoiseMM = math.Sqrt(max(0, (a*a-b*b/2)/0.75))
}

// smooth averages the gap over neighbours.
func (s *Side) smooth() {
	s.Smooth = mesh.SmoothField(s.Topology, s.Gap, smoothingRounds(s.EdgeMM))
	s.SpreadMM = unchangedSpread(s.Smooth, s.DiagonalMM*widestSpread)
}
