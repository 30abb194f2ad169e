package register

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// judge gives the verdict.
func (f *fine) judge(r *Result, picked bool) {
	hold := f.holding(r)
	r.Weakest = hold.words
	next := pickNext
	if picked {
		next = checkFit
	}
	difference := math.Abs(math.Log(r.RelativeScale))
	switch {
	case r.StableShareAfter < leastStable:
		reason := fmt.Sprintf("only %.0f\u00a0%% of the later scan lies on the earlier one; at least %.0f\u00a0%% must", 100*r.StableShareAfter, 100*leastStable)
		if !picked {
			reason = "where the scans lie now they do not fit, and without picked pairs no other place is tried: " + reason
		}
		r.refuse(reason, next)
	case hold.ratio < sliding:
		r.refuse("what both scans share leaves a motion free: "+hold.motion, "pick pairs on features that stop this motion, or scan the piece with what holds it")
	case !(difference <= math.Max(2*r.RelativeScaleU, scaleFloor)) && !f.opt.Similarity:
		r.Verdict = Ambiguous
		r.Reason = fmt.Sprintf("on what both scans share, one is %.2f\u00a0%% larger than the other", 100*difference)
		r.NextStep = "set the scale of both scans first, or check the unit of one"
	case hold.ratio < weak:
		r.Verdict = Ambiguous
		r.Reason = "what both scans share hardly holds one motion: " + hold.motion
		r.NextStep = "pick pairs on features that stop this motion"
	default:
		r.Verdict = Accepted
		r.Reason = fmt.Sprintf("%.0f\u00a0%% of the later scan lies where it lay before", 100*r.StableShareAfter)
		if hold.ratio < warned {
			r.Reason += "; one motion is held weakly: " + hold.motion
		}
	}
}

// hold says how the stable area holds the pose.
type hold struct {
	ratio  float64 // least over greatest eigenvalue
	motion string
	words  string
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
	for i := range f.at {
		if !f.stable(i) {
			continue
		}
		p := r3.Scale(1/radius, r3.Sub(f.at[i], r.Centre))
		m := f.facing[i]
		c := r3.Cross(p, m)
		j := [rigidPart]float64{c.X, c.Y, c.Z, m.X, m.Y, m.Z}
		for x := range rigidPart {
			for y := x; y < rigidPart; y++ {
				a.SetSym(x, y, a.At(x, y)+j[x]*j[y]/n)
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
	out.motion = f.sayMotion(turn, shift)
	// The uncertainty of that motion at the far end of the specimen.
	box := mesh.Bounds(f.before)
	worst := 0.0
	for k := range 8 {
		p := r3.Vec{X: pickOf(k&1 == 0, box.Min.X, box.Max.X), Y: pickOf(k&2 == 0, box.Min.Y, box.Max.Y), Z: pickOf(k&4 == 0, box.Min.Z, box.Max.Z)}
		worst = math.Max(worst, r.UAt(p))
	}
	out.words = fmt.Sprintf("%s; ±\u00a0%.3f\u00a0mm at the far end (k\u00a0=\u00a02)", out.motion, 2*worst)
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
	c := f.middle()
	a := mat.NewSymDense(3, nil)
	step := max(1, f.before.VertexCount()/20_000)
	n := 0.0
	for v := 0; v < f.before.VertexCount(); v += step {
		p := r3.Sub(f.before.Vertex(uint32(v)), c)
		x := [3]float64{p.X, p.Y, p.Z}
		for i := range 3 {
			for k := i; k < 3; k++ {
				a.SetSym(i, k, a.At(i, k)+x[i]*x[k])
			}
		}
		n++
	}
	var e mat.EigenSym
	if n == 0 || !e.Factorize(a, true) {
		return [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}, [3]float64{1, 1, 1}
	}
	values := e.Values(nil)
	var v mat.Dense
	e.VectorsTo(&v)
	for k := range 3 {
		axes[k] = r3.Vec{X: v.At(0, 2-k), Y: v.At(1, 2-k), Z: v.At(2, 2-k)}
		spread[k] = math.Sqrt(math.Max(values[2-k], 0) / n)
	}
	return axes, spread
}
