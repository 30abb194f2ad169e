package register

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"rigatino/mesh"
)

// leastChecks is how many check points answer the demand for them: with three the
// error is seen in every direction at least once.
const leastChecks = 3

// farOff is the share of the specimen's diagonal from which on the check point in
// the middle speaks against the pose. A place picked by hand is off by some
// tenths of a millimetre to a millimetre, a wrong pose by much more. Our own.
const farOff = 0.02

// checkPoints sets the pairs that took no part in the fit against it.
func (r *Result) checkPoints(f *fine) {
	sum := 0.0
	for _, d := range r.offChecks(f.opt.Checks) {
		sum += d * d
		r.CheckPointMax = math.Max(r.CheckPointMax, d)
	}
	if r.CheckPoints = len(f.opt.Checks); r.CheckPoints > 0 {
		r.CheckPointRMS = math.Sqrt(sum / float64(r.CheckPoints))
	}
	if r.CheckPoints >= leastChecks {
		r.checked = r.newChecked(f.opt.Checks)
	}
}

// checked is what check points say of the pose's error: the motion that they ask
// for, and how well they know it.
type checked struct {
	centre, turn, shift r3.Vec
	axes                [3]r3.Vec
	across              [3]float64 // mean square distance of the check points from each axis, mm²
	mark2               float64    // mean square error of a pair, mm²
	n                   float64
}

// leastAcross is how far check points must lie from the line through them, root
// mean square over its length: from there on they know no turn about it.
const leastAcross = 0.02

// newChecked fits a small motion to what is left between check points, nil where
// they lie in a line. A pair is off by what smooth error gives at least, however
// well few of them happen to agree.
func (r *Result) newChecked(checks []Pick) *checked {
	c := &checked{n: float64(len(checks))}
	at, off := make([]r3.Vec, len(checks)), make([]r3.Vec, len(checks))
	for i, p := range checks {
		at[i] = p.Before
		off[i] = r3.Sub(r.AfterToBefore.Apply(r3.Scale(r.AppliedScale, p.After)), p.Before)
		c.shift = r3.Add(c.shift, r3.Scale(1/c.n, off[i]))
	}
	var spread [3]float64
	c.centre, c.axes, spread = mesh.Principal(at)
	var around r3.Vec
	for i := range at {
		around = r3.Add(around, r3.Cross(r3.Sub(at[i], c.centre), off[i]))
		for k, a := range c.axes {
			c.across[k] += r3.Norm2(r3.Cross(a, r3.Sub(at[i], c.centre))) / c.n
		}
	}
	if !(c.across[0] > leastAcross*leastAcross*spread[0]*spread[0]) {
		return nil
	}
	for k, a := range c.axes {
		c.turn = r3.Add(c.turn, r3.Scale(r3.Dot(around, a)/(c.n*c.across[k]), a))
	}
	for i := range at {
		c.mark2 += r3.Norm2(r3.Sub(off[i], c.motion(at[i]))) / (c.n - 2)
	}
	c.mark2 = math.Max(c.mark2, r.SmoothMM*r.SmoothMM)
	return c
}

// motion is how far off the check points say that a place lies.
func (c *checked) motion(p r3.Vec) r3.Vec {
	return r3.Add(c.shift, r3.Cross(c.turn, r3.Sub(p, c.centre)))
}

// errorAt is how far off, mm, the pose puts a place, 95 %: the motion that the
// check points ask for there and how uncertain that is, which is the target
// registration error that their own errors predict (Fitzpatrick, West and Maurer,
// IEEE Trans. Med. Imaging 17:694, 1998) by Fisher's factor for three directions
// and the 3n-6 that their errors are known from.
func (c *checked) errorAt(p r3.Vec) (mm float64, known bool) {
	d := r3.Sub(p, c.centre)
	lever := 1.0
	for k, a := range c.axes {
		lever += r3.Norm2(r3.Cross(a, d)) / c.across[k] / 3
	}
	wide := distuv.F{D1: 3, D2: 3*c.n - rigidPart}.Quantile(0.95)
	mm = r3.Norm(c.motion(p)) + math.Sqrt(wide*c.mark2/c.n*lever)
	return mm, !math.IsNaN(mm) && !math.IsInf(mm, 0)
}

// offChecks are the distances, mm, that pairs keep under the pose.
func (r *Result) offChecks(checks []Pick) []float64 {
	var out []float64
	for _, p := range checks {
		after := r.AfterToBefore.Apply(r3.Scale(r.AppliedScale, p.After))
		out = append(out, r3.Norm(r3.Sub(after, p.Before)))
	}
	return out
}

// checkWords says what the check points say.
func (r *Result) checkWords() string {
	if r.CheckPoints == 1 {
		return fmt.Sprintf("one check point lies %.2f\u00a0mm off", r.CheckPointRMS)
	}
	return fmt.Sprintf("%d check points lie %.2f\u00a0mm off (RMS), %.2f\u00a0mm at most", r.CheckPoints, r.CheckPointRMS, r.CheckPointMax)
}

// heedChecks takes an accepted verdict back where most check points lie far off.
func (r *Result) heedChecks(checks []Pick, diagonal float64) {
	if r.Verdict != Accepted || len(checks) < leastChecks {
		return
	}
	off := r.offChecks(checks)
	slices.Sort(off)
	if off[len(off)/2] > farOff*diagonal {
		r.ambiguous("what both scans share fits, and "+r.checkWords(), "look at the check points again; if they are right, the pose is not: mark what moved as never to be trusted")
	}
}
