package register

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
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
