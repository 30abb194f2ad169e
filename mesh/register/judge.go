package register

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Limits of what lies together beyond chance.
const (
	leastNet  = 0.10 // of the after-scan
	leastPart = 0.75 // of what agrees (right poses of the tests have 0.95 and more)
	// thinRim of the after-scan is the least that part scans may share for their
	// picked pose to be shown at all.
	thinRim = 0.03
)

// judge gives the verdict.
func (f *fine) judge(r *Result, d *doubts) {
	r.Weakest = d.hold.words
	next := pickNext
	if len(f.opt.Picks) > 0 {
		next = checkFit
	}
	v := f.survey()
	difference := math.Abs(math.Log(r.RelativeScale))
	switch {
	case d.mirrored > 1:
		r.refuse("the mirror image of the later scan fits the earlier one better than the scan itself: one of the two looks mirrored", "save that scan again without mirroring or changing axes")
	case r.StableShareAfter < leastStable && r.StableShareAfter >= thinRim && len(f.opt.Picks) > 0 && v.net() >= leastPart*v.same && d.hold.ratio >= weak:
		r.ambiguous(fmt.Sprintf("both scans share a thin rim only, %.0f\u00a0%% of the later one; at least %.0f\u00a0%% must agree to hold it", 100*r.StableShareAfter, 100*leastStable),
			"scan again with a wider rim that both show, or add a scan that shows both sides of it")
	case r.StableShareAfter < leastStable:
		reason := fmt.Sprintf("only %.0f\u00a0%% of the later scan lies on the earlier one; at least %.0f\u00a0%% must", 100*r.StableShareAfter, 100*leastStable)
		if len(f.opt.Picks) == 0 {
			reason = "no place was found where the scans fit: " + reason
		}
		r.refuse(reason, next)
	case v.net() < leastNet || v.net() < leastPart*v.same:
		r.refuse("the surfaces cross here more than they lie on one another: what agrees may be chance", next)
	case d.hold.ratio < sliding:
		r.refuse("what both scans share leaves a motion free: "+d.hold.motion, "pick pairs on features that stop this motion, or scan the piece with what holds it")
	case d.slides > rivalRatio:
		r.ambiguous("pushed away, the scan comes to rest elsewhere and fits as well there; free is "+d.hold.motion, "pick pairs on features that stop this motion, or scan the piece with what holds it")
	case d.rival > rivalRatio:
		r.ambiguous("the scan fits nearly as well in another place", pickNext)
	case d.second > 0 && (!f.opt.MayAppear || d.second*d.left > d.main/2):
		r.ambiguous(fmt.Sprintf("two parts moved differently: another motion, %.1f\u00a0mm away, explains %.0f\u00a0%% of what this one leaves", d.apart, 100*d.second),
			"mark bed, mount and what is no specimen as support in both scans, or pick three or more pairs on the specimen")
	case !f.opt.MayAppear && d.outside > mixed && d.left-d.outside > mixedLeft:
		r.ambiguous(fmt.Sprintf("%.0f\u00a0%% of the later scan lies outside the earlier one and %.0f\u00a0%% elsewhere: either much was put on and taken off, or a part moved", 100*d.outside, 100*(d.left-d.outside)),
			"mark bed, mount and what is no specimen as support in both scans, or pick three or more pairs on the specimen")
	case d.mirrored > rivalRatio:
		r.ambiguous("the mirror image of the later scan fits nearly as well: whether one scan is mirrored cannot be told from them", "check both scans for mirroring, then "+pickNext)
	case !(difference <= math.Max(2*r.RelativeScaleU, scaleFloor)) && !f.opt.Similarity:
		r.ambiguous(fmt.Sprintf("on what both scans share, one is %.2f\u00a0%% larger than the other", 100*difference),
			"set the scale of both scans first, or check the unit of one")
	case d.hold.ratio < weak:
		r.ambiguous("what both scans share hardly holds one motion: "+d.hold.motion, "pick pairs on features that stop this motion")
	default:
		r.Verdict = Accepted
		r.Reason = fmt.Sprintf("%.0f\u00a0%% of the later scan lies where it lay before", 100*r.StableShareAfter)
		if d.hold.ratio < warned {
			r.Reason += "; one motion is held weakly: " + d.hold.motion
		}
		r.worth()
	}
}

func (r *Result) ambiguous(reason, next string) {
	r.Verdict, r.Reason, r.NextStep = Ambiguous, reason, next
}

// survey says how much of the looked-at places lies together and what chance
// would give.
func (f *fine) survey() (v survey) {
	n := float64(max(1, len(f.gap)))
	for i, e := range f.gap {
		switch {
		case !f.ok[i]:
		case math.Abs(e) <= f.limit:
			v.same += 1 / n
		case math.Abs(e) <= 3*f.limit:
			v.flank += 1 / n
		}
	}
	return v
}

// doubt looks for what speaks against the pose.
func (f *fine) doubt(ctx context.Context, s *search, r *Result) (*doubts, error) {
	d := &doubts{hold: f.holding(r)}
	searched := len(f.opt.Picks) == 0
	best, err := s.assess(ctx, f.pose)
	if err != nil {
		return nil, err
	}
	if searched {
		if d.mirrored, err = s.mirror(ctx, best.score); err != nil {
			return nil, err
		}
	}
	// What is refused anyhow needs no other doubt.
	if r.StableShareAfter < leastStable || d.hold.ratio < sliding {
		return d, nil
	}
	if d.hold.ratio < doubtful {
		if d.slides, err = s.slides(ctx, best, d.hold.turn, d.hold.shift, r.Centre, f.opt.Picks); err != nil {
			return nil, err
		}
	}
	if !searched {
		return d, nil
	}
	if err := s.challenge(ctx, best); err != nil {
		return nil, err
	}
	d.rival = s.rival(best)
	d.main, d.outside = best.net(), best.outside
	return d, s.second(ctx, best, d)
}

// hold says how the stable area holds the pose.
type hold struct {
	ratio       float64 // least over greatest eigenvalue
	turn, shift r3.Vec  // of a motion that it hardly holds, a few patches long
	motion      string
	words       string
}

// holding looks for the motion under which the stable area slides on itself:
// the least eigenvector of the scaled normal equations (Gelfand et al. 2003,
// points centred and brought to a mean radius of 1).
func (f *fine) holding(r *Result) hold {
	var radius, n float64
	for i := range f.at {
		if f.stable(i) {
			radius, n = radius+r3.Norm(r3.Sub(f.at[i], r.Centre)), n+1
		}
	}
	if n < 12 {
		return hold{motion: "too little is left"}
	}
	radius /= n
	a := mat.NewSymDense(rigidPart, nil)
	row := func(p, m r3.Vec) [rigidPart]float64 {
		c := r3.Cross(p, m)
		return [rigidPart]float64{c.X, c.Y, c.Z, m.X, m.Y, m.Z}
	}
	for i := range f.at {
		if !f.stable(i) {
			continue
		}
		p := r3.Scale(1/radius, r3.Sub(f.at[i], r.Centre))
		// The noise of normals seems to hold what is free. One side's normals times
		// the other's keeps it out: their noises have nothing to do with one another.
		j, k := row(p, f.mine[i]), row(p, f.theirs[i])
		for x := range rigidPart {
			for y := x; y < rigidPart; y++ {
				a.SetSym(x, y, a.At(x, y)+(j[x]*k[y]+j[y]*k[x])/(2*n))
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(a, true) {
		return hold{motion: "too little is left"}
	}
	values := e.Values(nil)
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	turn := r3.Vec{X: vectors.At(0, 0), Y: vectors.At(1, 0), Z: vectors.At(2, 0)}
	shift := r3.Vec{X: vectors.At(3, 0), Y: vectors.At(4, 0), Z: vectors.At(5, 0)}
	out := hold{ratio: math.Max(values[0], 0) / values[rigidPart-1]}
	// As long that places at the mean radius move by a few patches.
	reach := math.Max(8*f.size, 0.12*f.radius) / math.Sqrt(r3.Norm2(turn)+r3.Norm2(shift))
	out.turn, out.shift = r3.Scale(reach/radius, turn), r3.Scale(reach, shift)
	out.motion = f.sayMotion(turn, shift)
	// The uncertainty of that motion at the far end of the specimen, where it can be
	// stated.
	out.words = out.motion
	box := mesh.Bounds(f.before)
	worst := 0.0
	for k := range 8 {
		p := r3.Vec{X: pickOf(k&1 == 0, box.Min.X, box.Max.X), Y: pickOf(k&2 == 0, box.Min.Y, box.Max.Y), Z: pickOf(k&4 == 0, box.Min.Z, box.Max.Z)}
		e, known := r.ErrorAt(p)
		if !known {
			return out
		}
		worst = math.Max(worst, e)
	}
	out.words = fmt.Sprintf("%s; ±\u00a0%.3f\u00a0mm at the far end (95\u00a0%%)", out.motion, worst)
	return out
}

func pickOf(first bool, a, b float64) float64 {
	if first {
		return a
	}
	return b
}

// sayMotion names a motion by the axes of the before-scan.
func (f *fine) sayMotion(turn, shift r3.Vec) string {
	axes, lengths := f.axes()
	names := [3]string{"the long axis", "the middle axis", "the short axis"}
	if lengths[0] < 1.15*lengths[2] {
		names = [3]string{"one axis", "one axis", "one axis"}
	}
	nearest := func(v r3.Vec) string {
		best, at := -1.0, 0
		for k, a := range axes {
			if d := math.Abs(r3.Dot(a, v)); d > best {
				best, at = d, k
			}
		}
		return names[at]
	}
	if r3.Norm(turn) >= r3.Norm(shift) {
		return "turning about " + nearest(turn)
	}
	return "sliding along " + nearest(shift)
}

// axes are the principal axes of the before-scan's corners, longest first, with
// the spread along each.
func (f *fine) axes() (axes [3]r3.Vec, spread [3]float64) {
	var points []r3.Vec
	step := max(1, f.before.VertexCount()/20_000)
	for v := 0; v < f.before.VertexCount(); v += step {
		points = append(points, f.before.Vertex(uint32(v)))
	}
	_, axes, spread = mesh.Principal(points)
	return axes, spread
}
