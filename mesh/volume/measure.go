package volume

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/change"
	"rigatino/mesh/quantity"
)

// Methods, as they stand beside values.
const (
	MethodShell   = "closed shell, outline shared"
	MethodWhole   = "closed surfaces subtracted"
	MethodFarther = "closed shell, outline twice as far out"
	MethodFar     = "closed shell, outline four times as far out"
	MethodLines   = "count along lines"
	MethodRaw     = "closed shell, level as aligned"
)

// Options of Measure.
type Options struct {
	Progress func(done float64, words string)
}

// Result holds the volumes of a change.
type Result struct {
	Areas          []Area // in the order of the change's areas
	Removed, Added Total
	// Checks compare other ways of measuring, summed over the areas that could
	// be measured that way; Consistent says that each area's checks agree with
	// its value within both uncertainties.
	Checks     []Check
	Consistent bool
}

// Check is the total by another method.
type Check struct {
	Method               string
	RemovedMM3, AddedMM3 float64
	Areas                int // areas that this method could measure
}

// Total is the sum over the areas of one kind.
type Total struct {
	// Volume is nil when an area that matters could not be measured. Why then
	// says why; it also names areas too small to matter, which are in the
	// budget.
	Volume  *quantity.Measured
	Surface quantity.Measured
	Why     string
	Budget  quantity.Budget
	Areas   int
}

// Area is the volume of one change area.
type Area struct {
	Kind change.Kind
	// Volume is nil when it was declined; Why then says why.
	Volume *quantity.Measured
	Why    string
	Budget quantity.Budget

	// OutlineMM is how far outside the core the outline was drawn.
	OutlineMM float64
	// RawMM3 is the volume at the level that the alignment gives, LevelledMM3
	// at the level that the clean ring round the area shows, NaN without one.
	// ChordsMM3 is what the flat faces of the scan before cut off the smooth
	// surface through their corners, less what those of the scan after do; 0 where
	// the ring speaks against it. The value is the levelled one where there is
	// one, else the raw, and the chords: a known error is taken out (GUM 3.2.4).
	RawMM3, LevelledMM3, ChordsMM3 float64
	LocalZero                      LocalZero
	Checks                         []AreaCheck
	Consistent                     bool

	terms terms
}

// AreaCheck is an area's volume by another method.
type AreaCheck struct {
	Method     string
	MM3        float64
	U          float64 // standard uncertainty, mm³, that the method has beyond the value's
	Consistent bool
}

// work is what the areas of one change share.
type work struct {
	change                  *change.Change
	reached                 []reach
	pulled                  []pulled
	beforeFaces, afterFaces [][]uint32 // faces an area's outline may cross or hold
	unchanged               unchanged
}

// Measure measures the volume of every area of a change.
func Measure(ctx context.Context, c *change.Change, opt Options) (*Result, error) {
	if c == nil || c.Before == nil || c.After == nil {
		return nil, errors.New("there is no change to measure: compare the scans first")
	}
	say := opt.Progress
	if say == nil {
		say = func(float64, string) {}
	}
	const words = "measuring volumes"
	say(0, words)
	w := &work{change: c}
	var err error
	// Rings end at their last step; beyond it a line halfway to the next area
	// needs both distances.
	limit := (ringSteps[len(ringSteps)-1] + 2) * c.StepMM
	if w.reached, err = spread(ctx, c.After, seeds(c), limit); err != nil {
		return nil, err
	}
	say(0.1, words)
	if w.pulled, err = pullBack(ctx, c, w.reached); err != nil {
		return nil, err
	}
	w.gatherFaces()
	w.gatherUnchanged()
	say(0.2, words)
	r := &Result{Areas: make([]Area, len(c.Areas))}
	err = mesh.Parallel(ctx, len(c.Areas), func(k int) { r.Areas[k] = w.area(ctx, int32(k)) })
	if err == nil {
		err = ctx.Err()
	}
	if err != nil {
		return nil, err
	}
	say(0.7, words)
	if err := w.check(ctx, r, func(x float64) { say(0.7+0.3*x, words) }); err != nil {
		return nil, err
	}
	w.sum(r)
	say(1, "")
	return r, ctx.Err()
}

// gatherFaces lists for every area the faces of either scan that its outline
// may hold or cross at any distance used.
func (w *work) gatherFaces() {
	n := len(w.change.Areas)
	b, a := w.change.Before, w.change.After
	gather := func(s *change.Side, labels func(v uint32, put func(label int32))) [][]uint32 {
		out := make([][]uint32, n)
		var here []int32
		put := func(l int32) {
			if l < 0 {
				return
			}
			for _, h := range here {
				if h == l {
					return
				}
			}
			here = append(here, l)
		}
		for f, part := range s.Topology.Component {
			if part < 0 {
				continue
			}
			here = here[:0]
			i, j, k := s.Topology.Face(uint32(f))
			labels(i, put)
			labels(j, put)
			labels(k, put)
			for _, l := range here {
				out[l] = append(out[l], uint32(f))
			}
		}
		return out
	}
	w.afterFaces = gather(a, func(v uint32, put func(int32)) {
		put(w.reached[v].label[0])
		put(w.reached[v].label[1])
	})
	w.beforeFaces = gather(b, func(v uint32, put func(int32)) {
		put(b.Core[v])
		if p := w.pulled[v]; p.face != bvh.None {
			i, j, k := a.Topology.Face(p.face)
			for _, u := range [3]uint32{i, j, k} {
				put(w.reached[u].label[0])
				put(w.reached[u].label[1])
			}
		}
	})
}

// levelAfter and levelBefore are the outline of area k at distance d, positive
// inside, on the two scans.
func (w *work) levelAfter(k int32, d float64) func(v uint32) float64 {
	return func(v uint32) float64 { return w.reached[v].level(k, d) }
}

func (w *work) levelBefore(k int32, d float64) func(v uint32) float64 {
	b, a := w.change.Before, w.change.After
	return func(v uint32) float64 {
		p := w.pulled[v]
		f, inCore := -d, false
		if p.face != bvh.None {
			f = 0
			i, j, l := a.Topology.Face(p.face)
			for n, u := range [3]uint32{i, j, l} {
				f += p.weights[n] * w.reached[u].level(k, d)
				inCore = inCore || a.Core[u] >= 0
			}
		}
		// A core of the scan before is inside whatever the scan after says (the
		// lid of a pit, the top of an overhang), unless the two scans call the
		// place parts of different areas: then both follow the scan after, or
		// their outlines would not be the same line.
		if core := b.Core[v]; core >= 0 && !inCore {
			f = -d
			if core == k {
				f = d
			}
		}
		return f
	}
}

// shellAt closes the shell of area k with its outline the given number of
// steps outside the core. What it returns is of no use once ctx is done.
func (w *work) shellAt(ctx context.Context, k int32, steps float64) *shell {
	c := w.change
	d := steps * c.StepMM
	origin, centre := c.Areas[k].CentroidMM, c.Options.Centre
	before := cut(ctx, c.Before, w.beforeFaces[k], w.levelBefore(k, d), origin, centre)
	after := cut(ctx, c.After, w.afterFaces[k], w.levelAfter(k, d), origin, centre)
	return newShell(before, after, origin, max(c.Before.EdgeMM, c.After.EdgeMM))
}

// outlineSteps is the least distance of an outline outside the core, in steps.
const outlineSteps = 2

// area measures one area.
func (w *work) area(ctx context.Context, k int32) Area {
	a := Area{Kind: w.change.Areas[k].Kind, LevelledMM3: math.NaN(), LocalZero: w.localZero(k)}
	z := &a.LocalZero
	step := w.change.StepMM
	steps := max(outlineSteps, z.FromMM/step)
	a.OutlineMM = steps * step
	s := w.shellAt(ctx, k, steps)
	if ctx.Err() != nil {
		return a
	}
	if a.Why = s.refuse(); a.Why != "" {
		return a
	}
	sign := 1.0
	if a.Kind == change.Added {
		sign = -1
	}
	a.RawMM3 = sign * s.volume
	value := a.RawMM3
	if z.Clean {
		a.LevelledMM3 = sign * s.levelled(z.ShiftMM)
		value = a.LevelledMM3
		a.Checks = append(a.Checks, AreaCheck{Method: MethodRaw, MM3: a.RawMM3})
	}
	a.terms = w.terms(k, s, &a, sign)
	a.terms.lineLevel = value - a.RawMM3
	value += a.ChordsMM3
	for i := range a.Checks {
		a.Checks[i].MM3 += a.ChordsMM3
	}
	method := MethodShell
	if s.loops == 0 {
		method = MethodWhole
	} else {
		w.otherOutlines(ctx, k, steps, &a, sign, value)
	}
	a.Budget = budget(w.change, []*Area{&a})
	v := a.Budget.Measured(value, quantity.CubicMillimetre, method)
	a.Volume = &v
	return a
}

// otherOutlines checks the value by outlines farther out, each at the level of
// the ring outside it alone, so that thin change just outside the nearer
// outline shows.
func (w *work) otherOutlines(ctx context.Context, k int32, steps float64, a *Area, sign, value float64) {
	for _, c := range []struct {
		method string
		times  float64
	}{{MethodFarther, 2}, {MethodFar, 4}} {
		at := steps * c.times
		if at > ringSteps[len(ringSteps)-1] {
			continue
		}
		s := w.shellAt(ctx, k, at)
		if ctx.Err() != nil || s.refuse() != "" {
			continue
		}
		shift, ok := a.LocalZero.farShifts[at]
		if !ok {
			shift = a.LocalZero.ShiftMM
		}
		v := sign*s.levelled(shift) + a.ChordsMM3
		// Its own level is that of a ring farther out, and counts with all the
		// surface inside.
		u := 0.0
		if ok {
			level, _ := w.levelUncertainty(s, 0, a.LocalZero.ToMM-at*w.change.StepMM)
			u = math.Sqrt(max(0, level*level-a.terms.level*a.terms.level-a.terms.noise*a.terms.noise))
		}
		a.Checks = append(a.Checks, AreaCheck{Method: c.method, MM3: v, U: u})
		if c.method == MethodFarther {
			a.terms.outline = v - value
			a.terms.lineLevel = sign * (s.levelled(a.LocalZero.ShiftMM) - s.volume)
		}
	}
}

// levelled is the volume once a shift of the scan after has been taken out:
// where it lies t·n too far out, that much too little is counted as removed.
func (s *shell) levelled(t r3.Vec) float64 { return s.volume + r3.Dot(t, s.after.areaVector) }

// mostRim is the share of an outline that may lie along the open rim of a scan.
const mostRim = 0.5

// refuse says in a sentence why a shell gives no volume; empty when it does.
func (s *shell) refuse() string {
	switch {
	case s.before.turned || s.after.turned:
		return "faces of the scan are inside out against each other here: mend the scan's orientation"
	case s.unpaired > 0 && (s.before.faces == 0 || s.after.faces == 0):
		return "only one of the two scans has surface here: scan both stages of this place"
	case s.loops == 0 && s.unpaired > 0 && s.capArea > 0.01*(s.before.area+s.after.area):
		return "the outlines on the two scans do not match: rescan the surface round this place"
	case s.rimLength > mostRim*s.outline && s.outline > 0:
		return fmt.Sprintf("%.0f %% of the outline runs along the open rim of a scan, where nobody knows how the matter went on: scan more of the specimen", 100*s.rimLength/s.outline)
	case !(s.openness < 1e-9):
		return "the shell round this place does not close: mend the scan"
	}
	return ""
}
