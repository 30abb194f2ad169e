package volume

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/change"
)

// Rings round an area, in steps outside its core.
var ringSteps = []float64{1, 2, 4, 6, 8, 12, 16}

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
	// Flat says that the two scans lie on each other in the clean ring with their
	// flat faces and not with smooth surfaces through their corners: corners were
	// put where they are for the faces to fit, or the specimen is flat between
	// them.
	Flat bool

	// farShifts are the shifts fitted only from so many steps on.
	farShifts map[float64]r3.Vec
}

// witness is one vertex of a ring.
type witness struct {
	gap, area, steps float64 // steps: distance from the core
	bulge            float64 // what gap would be more against flat faces
	normal, at       r3.Vec
}

// How far the means of two rings may lie apart and still agree: in mm, or in
// standard errors.
const (
	agreeMM     = 0.003
	agreeErrors = 2
)

// witnesses gathers the vertices of both scans round area k. One scan alone
// would be biased: vertices lie on a convex surface, the flat faces of the
// other scan inside it.
func (w *work) witnesses(k int32) []witness {
	step := w.change.StepMM
	limit := ringSteps[len(ringSteps)-1] * step
	var out []witness
	collect := func(s *change.Side, faces []uint32, sign float64, place func(v uint32) (own, other float64)) {
		seen := map[uint32]bool{}
		var vertices []uint32
		for _, f := range faces {
			i, j, l := s.Topology.Face(f)
			for _, v := range [3]uint32{i, j, l} {
				if !seen[v] {
					seen[v] = true
					vertices = append(vertices, v)
				}
			}
		}
		got := make([]witness, len(vertices))
		_ = mesh.Parallel(context.Background(), (len(vertices)+1023)/1024, func(b int) {
			for n := b * 1024; n < min(len(vertices), (b+1)*1024); n++ {
				v := vertices[n]
				own, other := place(v)
				// Two steps outside another core belong to that one's outline.
				if own > limit || own < step || other < 2*step || other < own || s.Core[v] >= 0 || math.IsNaN(s.Gap[v]) {
					continue
				}
				if math.Abs(s.Smooth[v]) > w.change.LimitMM {
					continue // a speck too small to be an area
				}
				area, normal := around(s, v)
				got[n] = witness{sign * s.Gap[v], area, own / step, sign * float64(s.Bulge[v]), normal, s.Vertex(v)}
			}
		})
		for _, g := range got {
			if g.area > 0 {
				out = append(out, g)
			}
		}
	}
	collect(w.change.After, w.afterFaces[k], 1, func(v uint32) (float64, float64) { return w.reached[v].of(k) })
	collect(w.change.Before, w.beforeFaces[k], -1, func(v uint32) (float64, float64) {
		p := w.pulled[v]
		if p.face == bvh.None {
			return math.Inf(1), math.Inf(1)
		}
		a, b, c := w.change.After.Topology.Face(p.face)
		own, other := 0.0, math.Inf(1)
		for n, u := range [3]uint32{a, b, c} {
			o, r := w.reached[u].of(k)
			if p.weights[n] > 0 {
				own += p.weights[n] * o
			}
			other = min(other, r)
		}
		return own, other
	})
	return out
}

// around returns the surface that belongs to a vertex and the mean normal of
// two rings of faces about it.
func around(s *change.Side, v uint32) (area float64, normal r3.Vec) {
	for _, f := range s.Topology.FacesOf(v) {
		area += r3.Norm(s.Mesh.AreaVector(f)) / 3
	}
	var few [16]uint32
	for _, u := range append(s.Topology.Ring(v, few[:0]), v) {
		for _, f := range s.Topology.FacesOf(u) {
			normal = r3.Add(normal, s.Mesh.AreaVector(f))
		}
	}
	if l := r3.Norm(normal); l > 0 {
		normal = r3.Scale(1/l, normal)
	}
	return area, normal
}

// localZero looks at the rings round area k.
//
// The ring is clean from the first distance on at which the mean gap agrees
// with what the shift fitted farther out predicts there: matter removed or
// added thinly round the core shows as a mean that falls outwards, an error of
// the alignment does not.
//
// Where the gaps to smooth surfaces leave a mean that no shift explains, and
// those to flat faces leave less, the latter hold.
func (w *work) localZero(k int32) LocalZero {
	all := w.witnesses(k)
	z := w.zeroOf(all)
	if !z.Clean {
		return z
	}
	left, err := leftOver(all, z.FromMM/w.change.StepMM)
	if math.Abs(left) <= max(agreeMM, agreeErrors*err) {
		return z
	}
	for i := range all {
		all[i].gap += all[i].bulge
	}
	flat := w.zeroOf(all)
	if !flat.Clean {
		return z
	}
	if l, _ := leftOver(all, flat.FromMM/w.change.StepMM); math.Abs(l) < math.Abs(left) {
		flat.Flat = true
		return flat
	}
	return z
}

// leftOver is the mean gap from a distance on that the best shift leaves, with
// its standard error.
func leftOver(all []witness, from float64) (mean, err float64) {
	mean, err, _ = ringMean(all, from, math.Inf(1), sumsOf(beyond(all, from)).shift())
	return mean, err
}

// zeroOf finds the level that a ring of places shows.
func (w *work) zeroOf(all []witness) LocalZero {
	step := w.change.StepMM
	z := LocalZero{}
	for r := 0; r+1 < len(ringSteps); r++ {
		mean, _, _ := ringMean(all, ringSteps[r], ringSteps[r+1], r3.Vec{})
		z.MeansMM = append(z.MeansMM, mean)
	}
	last := ringSteps[len(ringSteps)-1]
	for r := 0; r+2 < len(ringSteps); r++ {
		outside := beyond(all, ringSteps[r+1])
		if len(outside) < fewest {
			break
		}
		shift := sumsOf(outside).shift()
		here, errHere, n := ringMean(all, ringSteps[r], ringSteps[r+1], shift)
		there, errThere, _ := ringMean(all, ringSteps[r+1], last, shift)
		if n >= fewest && math.Abs(here-there) <= max(agreeMM, agreeErrors*math.Hypot(errHere, errThere)) {
			z.Clean = true
			z.FromMM, z.ToMM = ringSteps[r]*step, last*step
			clean := sumsOf(beyond(all, ringSteps[r]))
			z.ShiftMM, z.LevelMM = clean.shift(), clean.gap/clean.area
			z.farShifts = map[float64]r3.Vec{}
			for _, from := range ringSteps[r+1:] {
				if far := beyond(all, from); len(far) >= fewest {
					z.farShifts[from] = sumsOf(far).shift()
				}
			}
			break
		}
	}
	return z
}

// fewest is the number of vertices below which a ring says nothing.
const fewest = 16

func beyond(all []witness, steps float64) []witness {
	var out []witness
	for _, x := range all {
		if x.steps >= steps {
			out = append(out, x)
		}
	}
	return out
}

// ringMean is the mean gap between two distances from the core, less what a
// shift explains, with its standard error; NaN where there are too few.
func ringMean(all []witness, from, to float64, shift r3.Vec) (mean, err float64, n int) {
	var sum, squares, weight mesh.Sum
	for _, x := range all {
		if x.steps < from || x.steps >= to {
			continue
		}
		g := x.gap - r3.Dot(shift, x.normal)
		sum.Add(x.area * g)
		squares.Add(x.area * g * g)
		weight.Add(x.area)
		n++
	}
	if n < fewest {
		return math.NaN(), math.NaN(), n
	}
	mean = sum.Value() / weight.Value()
	// Neighbours share error: one in eight counts as independent.
	return mean, math.Sqrt(max(0, squares.Value()/weight.Value()-mean*mean) / (float64(n) / 8)), n
}
