package register

import (
	"context"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// fitted is the report of a pair begun at the truth: what the search does first
// changes nothing of it.
func fitted(t *testing.T, p pair, checks ...Pick) *Result {
	t.Helper()
	ctx := context.Background()
	opt := Options{Checks: checks}
	l, err := newLevels(ctx, p.before, p.after, opt)
	if err != nil {
		t.Fatal(err)
	}
	f, err := newFine(ctx, p.before, p.after, frame.Similarity{Scale: 1, Rigid: p.disturbed(3, 0.1, 0.05)}, opt, l)
	if err != nil {
		t.Fatal(err)
	}
	r := &Result{AppliedScale: 1}
	if err := f.polish(ctx, false); err != nil {
		t.Fatal(err)
	}
	r.AfterToBefore = f.pose.Rigid
	if err := f.describe(ctx, r, func(float64, string) {}); err != nil {
		t.Fatal(err)
	}
	r.Weakest = f.holding(r).words
	return r
}

// smoothPair is a bone pair whose scans are bent by smooth error of the given
// RMS each: twelve waves as long as a third of the body and more. marks are true
// pairs on bare surface of both scans, each picked with an error of 0.02 mm a
// direction; the scans' smooth error is in them too.
func smoothPair(seed uint64, share, noise, smooth float64, nBefore, nAfter, marks int) (pair, []Pick) {
	b := newBone(seed, share, 3+4*share)
	random := rand.New(rand.NewPCG(seed, 61))
	bend := [2][]wave{waves(random, 12, 30, 120, smooth), waves(random, 12, 30, 120, smooth)}
	pose := anyPose(seed)
	at := func(k int, matrix bool) func(d r3.Vec) r3.Vec {
		return func(d r3.Vec) r3.Vec {
			p := b.at(d, matrix)
			return r3.Add(p, r3.Scale(height(bend[k], p), d))
		}
	}
	var picks []Pick
	picked := func(p r3.Vec) r3.Vec {
		return r3.Add(p, r3.Vec{X: 0.02 * random.NormFloat64(), Y: 0.02 * random.NormFloat64(), Z: 0.02 * random.NormFloat64()})
	}
	for len(picks) < marks {
		if d := direction(random); b.at(d, true) == b.at(d, false) {
			picks = append(picks, Pick{Before: picked(at(0, true)(d)), After: picked(pose.Apply(at(1, false)(d)))})
		}
	}
	return pair{
		before: scan(2*seed, nBefore, noise, frame.Identity(), at(0, true)),
		after:  scan(2*seed+1, nAfter, noise, pose, at(1, false)),
		truth:  pose.Inverse(),
		body:   b,
	}, picks
}

// The stated error at places of the body, changed or not, holds in 95 % of the
// cases or more (exact binomial test at 1 %), and is no more than three times the
// true one in the middle: a large error proves nothing.
func TestStatedErrorHolds(t *testing.T) {
	n := 5
	if long() {
		n = 200
	}
	var stated, truth []float64
	held, smooth := 0, 0
	for k := range n {
		seed := uint64(k + 1)
		p := bonePair(seed, []float64{0.2, 0.4, 0.6}[k%3], 0.05, 60, 52)
		r := fitted(t, p)
		random := rand.New(rand.NewPCG(seed, 88))
		at := p.after.Vertex(uint32(random.IntN(p.after.VertexCount())))
		should := p.truth.Apply(at)
		off := r3.Norm(r3.Sub(r.AfterToBefore.Apply(at), should))
		u, known := r.ErrorAt(should)
		if !known {
			t.Errorf("seed %d: no error stated: %s", seed, r.ErrorUnknown)
		}
		stated, truth = append(stated, u), append(truth, off)
		if off <= u {
			held++
		}
		if r.SmoothMM > 0 {
			smooth++
		}
	}
	slices.Sort(stated)
	slices.Sort(truth)
	t.Logf("checked: stated error holds at %d of %d places; median stated %.4f mm, true %.4f mm; smooth error said to show in %d", held, n, stated[n/2], truth[n/2], smooth)
	// So few or fewer held would come by chance in less than 1 % of tries.
	if p := (distuv.Binomial{N: float64(n), P: 0.95}).CDF(float64(held)); p < 0.01 {
		t.Errorf("held at %d of %d places only (chance %.2g)", held, n, p)
	}
	if stated[n/2] > 3*truth[n/2] {
		t.Errorf("median stated error %.4f mm is more than three times the true one, %.4f mm", stated[n/2], truth[n/2])
	}
	if smooth > n/20+1 {
		t.Errorf("smooth error said to show in %d of %d scans that have none", smooth, n)
	}
}

// Under smooth error of 0.05 mm in each scan the fit's residual hardly grows
// while the pose goes off many times more than independent noise would let it
// (8 to 27 times in the simulation of such error): the report states no number
// then, says why, and asks for check points. With check points it states one, and
// that covers the true error in 95 % of the cases or more (exact binomial test at
// 1 %; Fitzpatrick, West and Maurer, IEEE Trans. Med. Imaging 17:694, 1998). The
// covariance that budgets take does so too.
func TestSmoothErrorIsSaid(t *testing.T) {
	n := 1
	if long() {
		n = 60
	}
	said, inBudget := 0, 0
	held := map[int]int{}
	truth, budget, stated := []float64{}, []float64{}, map[int][]float64{}
	number := regexp.MustCompile(`good to|±`)
	for k := range n {
		p, marks := smoothPair(uint64(k+1), 0.4, 0.05, 0.05, 60, 52, 8)
		at := p.after.Vertex(uint32(rand.New(rand.NewPCG(uint64(k), 88)).IntN(p.after.VertexCount())))
		should := p.truth.Apply(at)
		for _, count := range []int{0, 1, 3, 8} {
			r := fitted(t, p, marks[:count]...)
			r.Verdict = Accepted
			r.worth()
			off := r3.Norm(r3.Sub(r.AfterToBefore.Apply(at), should))
			u, known := r.ErrorAt(should)
			if count < leastChecks {
				if known || u != 0 || r.ErrorOverChange != 0 || number.MatchString(r.Reason+r.Weakest) {
					t.Errorf("seed %d, %d check points: %.4f mm stated (%s; %s)", k+1, count, u, r.Reason, r.Weakest)
				}
			} else {
				if !known || !(r.ErrorOverChange > 0) || !number.MatchString(r.Reason) {
					t.Errorf("seed %d, %d check points: no error stated (%s)", k+1, count, r.Reason)
				}
				stated[count] = append(stated[count], u)
				if off <= u {
					held[count]++
				}
			}
			if count == 0 {
				if r.SmoothMM > 0 && r.ErrorUnknown != "" && strings.Contains(r.Reason, "not known") && strings.Contains(r.NextStep, "check points") {
					said++
				}
				truth = append(truth, off)
				s := r.fromScans(should)
				if budget = append(budget, s); off <= s {
					inBudget++
				}
			}
		}
	}
	middle := func(a []float64) float64 { slices.Sort(a); return a[len(a)/2] }
	t.Logf("checked: smooth error of 0.05 mm: said, and no number stated without check points, in %d of %d; by 3 check points the stated error held in %d, by 8 in %d, from the covariance for budgets in %d; medians %.4f, %.4f and %.4f mm, true %.4f mm",
		said, n, held[3], held[8], inBudget, middle(stated[3]), middle(stated[8]), middle(budget), middle(truth))
	if said < n {
		t.Errorf("smooth error said in %d of %d only", said, n)
	}
	for name, h := range map[string]int{"by 3 check points": held[3], "by 8 check points": held[8], "from the covariance for budgets": inBudget} {
		if p := (distuv.Binomial{N: float64(n), P: 0.95}).CDF(float64(h)); p < 0.01 {
			t.Errorf("%s the error held in %d of %d only (chance %.2g)", name, h, n, p)
		}
	}
}

// A difference of size is measured on the stable area, not swallowed: 0.3 %.
func TestSizeIsMeasured(t *testing.T) {
	sizes := []float64{1.003}
	if long() {
		sizes = []float64{1.003, 0.997, 1.006}
	}
	for _, by := range sizes {
		p := bonePair(7, 0.4, 0.02, 60, 52)
		p.after = mesh.Transform(p.after, func(v r3.Vec) r3.Vec { return r3.Scale(by, v) })
		r := align(t, p.before, p.after, Options{})
		t.Logf("checked: size 1/%.4f: %.5f ± %.5f (k = 2), %s", by, r.RelativeScale, 2*r.RelativeScaleU, r.Verdict)
		if math.Abs(r.RelativeScale*by-1) > 2*r.RelativeScaleU+1e-4 || r.Verdict == Accepted {
			t.Errorf("size 1/%.4f: measured %.5f ± %.5f, %s", by, r.RelativeScale, 2*r.RelativeScaleU, r.Verdict)
		}
		s := align(t, p.before, p.after, Options{Similarity: true})
		if math.Abs(s.AppliedScale*by-1) > 2*r.RelativeScaleU+1e-4 || s.Verdict != Accepted {
			t.Errorf("asked for, size 1/%.4f: applied %.5f, %s (%s)", by, s.AppliedScale, s.Verdict, s.Reason)
		}
	}
}
