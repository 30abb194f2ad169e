package volume

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
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
	beyond                  map[uint32]overhang // of the scan before, beyond the rim of the scan after
	beforeFaces, afterFaces [][]uint32          // faces an area's outline may cross or hold
	masks                   [][2][]uint32       // faces before and after that the count along lines takes for an area's
	unchanged               unchanged
	lines                   *lineCounter // nil where a scan is open
	numbers                 sync.Pool    // *[]uint32, for zoneOf
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
	limit := (ringSteps[rings] + 2) * c.StepMM
	// The walk has one front; the other processor prepares the count meanwhile.
	stopped := mesh.Parallel(ctx, 2, func(i int) {
		if i == 0 {
			w.reached, err = spread(ctx, c.After, seeds(c), limit)
		} else if len(c.Areas) > 0 && c.Before.Topology.Closed() && c.After.Topology.Closed() {
			w.lines = newLineCounter(c.Before, c.After)
		}
	})
	if err == nil {
		err = stopped
	}
	if err != nil {
		return nil, err
	}
	say(0.1, words)
	w.beyond = w.overhangs()
	w.gatherFaces()
	w.gatherUnchanged()
	say(0.2, words)
	r := &Result{Areas: make([]Area, len(c.Areas))}
	w.masks = make([][2][]uint32, len(c.Areas))
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

// shells closes the shells of area k with outlines at the given distances
// outside the core, mm. What it returns is of no use once ctx is done.
func (w *work) shells(ctx context.Context, k int32, zones [2]*zone, levels [2][][]float64) []*shell {
	c := w.change
	about := &origins{near: c.Areas[k].CentroidMM, centre: c.Options.Centre}
	// Oblique to everything that people cut or models are built from.
	about.far = r3.Add(about.near, r3.Scale(max(c.Before.DiagonalMM, c.After.DiagonalMM), r3.Vec{X: 0.6, Y: 0.64, Z: 0.48}))
	var patches [2][]*patch
	_ = mesh.Parallel(ctx, 2, func(i int) { patches[i] = cut(ctx, zones[i], levels[i], about) })
	if ctx.Err() != nil {
		return nil
	}
	out := make([]*shell, len(levels[0]))
	_ = mesh.Parallel(ctx, len(out), func(i int) {
		out[i] = newShell(patches[0][i], patches[1][i], about, max(c.Before.EdgeMM, c.After.EdgeMM))
	})
	return out
}

// outlineSteps is the least distance of an outline outside the core, in steps.
const outlineSteps = 2

// farther are the methods with outlines farther out, and how many times.
var farther = []struct {
	method string
	times  float64
}{{MethodFarther, 2}, {MethodFar, 4}}

// area measures one area.
func (w *work) area(ctx context.Context, k int32) Area {
	before, after := w.zones(k)
	a := Area{Kind: w.change.Areas[k].Kind, LevelledMM3: math.NaN(), LocalZero: w.localZero(w.ringSums(k, before, after))}
	z := &a.LocalZero
	step := w.change.StepMM
	steps := max(outlineSteps, z.FromMM/step)
	a.OutlineMM = steps * step
	distances := []float64{a.OutlineMM}
	for _, f := range farther {
		if steps*f.times <= ringSteps[rings] {
			distances = append(distances, a.OutlineMM*f.times)
		}
	}
	levels := [2][][]float64{w.levelsBefore(before, k, distances), w.levelsAfter(after, k, distances)}
	shells := w.shells(ctx, k, [2]*zone{before, after}, levels)
	if ctx.Err() != nil {
		return a
	}
	s := shells[0]
	if a.Why = s.refuse(); a.Why != "" {
		return a
	}
	// Lines are counted inside the outline twice as far out, which there always is.
	w.masks[k] = [2][]uint32{before.inside(levels[0][1]), after.inside(levels[1][1])}
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
	a.terms = w.terms(s, &a, sign, chords(before, levels[0][0])-chords(after, levels[1][0]))
	a.terms.lineLevel = value - a.RawMM3
	value += a.ChordsMM3
	for i := range a.Checks {
		a.Checks[i].MM3 += a.ChordsMM3
	}
	method := MethodShell
	if s.loops == 0 {
		method = MethodWhole
	} else {
		w.otherOutlines(shells[1:], steps, &a, sign, value)
	}
	a.Budget = budget(w.change, []*Area{&a})
	v := a.Budget.Measured(value, quantity.CubicMillimetre, method)
	a.Volume = &v
	return a
}

// inside lists the faces with a corner inside an outline.
func (z *zone) inside(level []float64) []uint32 {
	var out []uint32
	for n, f := range z.faces {
		c := &z.corners[n]
		if level[c[0]] > 0 || level[c[1]] > 0 || level[c[2]] > 0 {
			out = append(out, f)
		}
	}
	return out
}

// otherOutlines checks the value by outlines farther out, each at the level of
// the ring outside it alone, so that thin change just outside the nearer
// outline shows.
func (w *work) otherOutlines(shells []*shell, steps float64, a *Area, sign, value float64) {
	for i, s := range shells {
		if s.refuse() != "" {
			continue
		}
		at := steps * farther[i].times
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
		a.Checks = append(a.Checks, AreaCheck{Method: farther[i].method, MM3: v, U: u})
		if farther[i].method == MethodFarther {
			a.terms.outline = v - value
			a.terms.lineLevel = sign * (s.levelled(a.LocalZero.ShiftMM) - s.volume)
		}
	}
}

// levelled is the volume once a shift of the scan after has been taken out:
// where it lies t·n too far out, that much too little is counted as removed.
func (s *shell) levelled(t r3.Vec) float64 { return s.volume + r3.Dot(t, s.after.areaVector) }

const (
	// mostRim is the share of an outline that may lie along the open rim of a
	// scan, whatever the rims do to the volume.
	mostRim = 0.5
	// mostSlant is the share of the volume that may hang on how the matter ended
	// between the rims of the two scans where more of the outline lies along them.
	mostSlant = 0.1
	// mostShifted is the share of the volume by which it may differ about a far
	// origin.
	mostShifted = 1e-3
)

// refuse says in a sentence why a shell gives no volume; empty when it does.
func (s *shell) refuse() string {
	switch {
	case s.before.turned || s.after.turned:
		return "faces of the scan are inside out against each other here: mend the scan's orientation"
	case s.unpaired > 0 && (s.before.faces == 0 || s.after.faces == 0):
		return "only one of the two scans has surface here: scan both stages of this place"
	case s.loops == 0 && s.unpaired > 0 && s.capArea > 0.01*(s.before.area+s.after.area):
		return "the outlines on the two scans do not match: rescan the surface round this place"
	case s.rimLength > mostRim*s.outline && s.outline > 0 && s.slant > mostSlant*math.Abs(s.volume):
		return fmt.Sprintf("%.0f %% of the outline runs along the open rim of a scan, and %.0f mm³ hang on how the matter went on between the two rims: scan more of the specimen, or both stages down to the same line", 100*s.rimLength/s.outline, s.slant)
	case !(s.shifted <= mostShifted*math.Abs(s.volume)) && s.shifted > closedMM3:
		return fmt.Sprintf("the surface round this place does not close (its volume changes by %.3g mm³ with the place it is counted from): mend the scan", s.shifted)
	}
	return ""
}

// closedMM3 is what rounding may leave between the volumes of a closed shell
// about two origins.
const closedMM3 = 1e-6
