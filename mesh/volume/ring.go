package volume

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
)

// Rings round an area, in steps outside its core.
var ringSteps = [rings + 1]float64{1, 2, 4, 6, 8, 12, 16}

// LocalZero is what the surface round an area says about the level at which
// the two scans lie when nothing changed. Gaps here are positive where the
// scan after lies outside the scan before.
type LocalZero struct {
	// MeansMM are the mean gaps of successive rings, NaN where a ring is empty.
	MeansMM []float64
	// Clean says that from FromMM outside the core on the ring holds no change
	// any more, so that it shows the level.
	Clean        bool
	FromMM, ToMM float64
	// ShiftMM is the translation t that fits the gaps of the clean ring best as
	// t·n: the error of the alignment as seen here.
	ShiftMM r3.Vec
	// LevelMM is the mean gap of the clean ring.
	LevelMM float64
	// TailMM is how much of a change that made nearer rings unclean may go on in
	// the clean one: what the rings agree to. 0 where the first ring is clean.
	TailMM float64
	// Flat says that the two scans lie on each other in the clean ring with their
	// flat faces and not with smooth surfaces through their corners: corners were
	// put where they are for the faces to fit, or the specimen is flat between
	// them.
	Flat bool

	// farShifts are the shifts fitted only from so many steps on.
	farShifts map[float64]r3.Vec
}

// How far the means of two rings may lie apart and still agree: in mm, or in
// standard errors.
const (
	agreeMM     = 0.003
	agreeErrors = 2
)

// rings is the number of rings round an area.
const rings = 6

// ringSums are the sums over each ring, of gaps to the smooth surfaces through
// the corners of the other scan and of those to its flat faces.
type ringSums struct{ smooth, flat [rings]normalSums }

// zoneBlock is the number of vertices of a zone that one worker takes at a time.
const zoneBlock = 4096

// ringSums gathers the vertices of both scans round area k. One scan alone
// would be biased: vertices lie on a convex surface, the flat faces of the
// other scan inside it.
func (w *work) ringSums(k int32, before, after *zone) *ringSums {
	step := w.change.StepMM
	limit := ringSteps[rings] * step
	out := &ringSums{}
	for _, side := range []struct {
		zone  *zone
		sign  float64
		place func(v uint32) (own, other float64)
	}{
		{after, 1, func(v uint32) (float64, float64) { return w.reached[v].of(k) }},
		{before, -1, func(v uint32) (float64, float64) { return w.ofLanded(v, k) }},
	} {
		s, vertices := side.zone.side, side.zone.vertices
		parts := make([]*ringSums, (len(vertices)+zoneBlock-1)/zoneBlock)
		_ = mesh.Parallel(context.Background(), len(parts), func(b int) {
			sums := &ringSums{}
			parts[b] = sums
			for _, v := range vertices[b*zoneBlock : min(len(vertices), (b+1)*zoneBlock)] {
				// Two steps outside another core belong to that one's outline.
				own, other := side.place(v)
				if own >= limit || own < step || other < 2*step || other < own || s.Core[v] >= 0 || math.IsNaN(s.Gap[v]) {
					continue
				}
				if math.Abs(s.Smooth[v]) > w.change.LimitMM {
					continue // a speck too small to be an area
				}
				x := witnessAt(s, v, side.sign)
				if x.area == 0 {
					continue
				}
				r := 0
				for own >= ringSteps[r+1]*step {
					r++
				}
				sums.smooth[r].add(&x)
				x.gap += side.sign * float64(s.Bulge[v])
				sums.flat[r].add(&x)
			}
		})
		for _, p := range parts {
			for r := range rings {
				out.smooth[r].join(&p.smooth[r])
				out.flat[r].join(&p.flat[r])
			}
		}
	}
	return out
}

// ofLanded is reach.of for a vertex of the scan before.
func (w *work) ofLanded(v uint32, k int32) (own, other float64) {
	corners, weights, ok := w.lands(v)
	if !ok {
		return math.Inf(1), math.Inf(1)
	}
	other = math.Inf(1)
	for n, u := range corners {
		o, r := w.reached[u].of(k)
		if weights[n] > 0 {
			own += weights[n] * o
		}
		other = min(other, r)
	}
	return own, other
}

// witnessAt is the surface that belongs to a vertex, its gap, and the mean normal
// of two rings of faces about it.
func witnessAt(s *change.Side, v uint32, sign float64) witness {
	normal := s.Stars[v].Sum()
	var few [16]uint32
	for _, u := range ringOf(s.Topology, v, few[:0]) {
		normal = r3.Add(normal, s.Stars[u].Sum())
	}
	if l := length(normal); l > 0 {
		normal = r3.Scale(1/l, normal)
	}
	return witness{gap: sign * s.Gap[v], area: float64(s.Stars[v].AreaMM2), normal: normal, at: s.Vertex(v)}
}

// localZero looks at the rings round an area.
//
// The ring is clean from the first distance on at which the mean gap agrees
// with what the shift fitted farther out predicts there: matter removed or
// added thinly round the core shows as a mean that falls outwards, an error of
// the alignment does not.
//
// Where the gaps to smooth surfaces leave a mean that no shift explains, and
// those to flat faces leave less, the latter hold.
func (w *work) localZero(sums *ringSums) LocalZero {
	z, from := w.zeroOf(&sums.smooth)
	if !z.Clean {
		return z
	}
	left, err := leftOver(&sums.smooth, from)
	if math.Abs(left) <= max(agreeMM, agreeErrors*err) {
		return z
	}
	flat, from := w.zeroOf(&sums.flat)
	if !flat.Clean {
		return z
	}
	if l, _ := leftOver(&sums.flat, from); math.Abs(l) < math.Abs(left) {
		flat.Flat = true
		return flat
	}
	return z
}

// leftOver is the mean gap from a ring on that the best shift leaves, with its
// standard error.
func leftOver(sums *[rings]normalSums, from int) (mean, err float64) {
	s := beyond(sums, from)
	return s.mean(s.shift())
}

// zeroOf finds the level that rings show, and the first ring that is clean.
func (w *work) zeroOf(sums *[rings]normalSums) (z LocalZero, from int) {
	step := w.change.StepMM
	for r := range rings {
		mean, _ := sums[r].mean(r3.Vec{})
		z.MeansMM = append(z.MeansMM, mean)
	}
	for r := 0; r+1 < rings; r++ {
		outside := beyond(sums, r+1)
		if outside.count < fewest {
			break
		}
		shift := outside.shift()
		here, errHere := sums[r].mean(shift)
		there, errThere := outside.mean(shift)
		if off := math.Abs(here - there); sums[r].count >= fewest && off <= max(agreeMM, agreeErrors*math.Hypot(errHere, errThere)) {
			z.Clean = true
			if r > 0 {
				z.TailMM = max(agreeMM, off)
			}
			z.FromMM, z.ToMM = ringSteps[r]*step, ringSteps[rings]*step
			clean := beyond(sums, r)
			z.ShiftMM, z.LevelMM = clean.shift(), clean.gap/clean.area
			z.farShifts = map[float64]r3.Vec{}
			for n := r + 1; n < rings; n++ {
				if far := beyond(sums, n); far.count >= fewest {
					z.farShifts[ringSteps[n]] = far.shift()
				}
			}
			return z, r
		}
	}
	return z, 0
}

// beyond joins the rings from one on.
func beyond(sums *[rings]normalSums, from int) *normalSums {
	out := &normalSums{}
	for r := from; r < rings; r++ {
		out.join(&sums[r])
	}
	return out
}
