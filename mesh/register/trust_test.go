package register

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// onBed is a bone on a lumpy bed that stayed while the bone was turned on it.
func onBed(seed uint64) (before, after *mesh.Mesh, bones [2]int, truth frame.Rigid) {
	p := bonePair(seed, 0.3, 0.05, 44, 38)
	up := frame.Identity()
	up.T.Z = 30
	turn := frame.FromMatrix(p.truth.Matrix()).Then(frame.Small(r3.Vec{}, r3.Vec{X: 3, Y: -2, Z: 9}, r3.Vec{X: 5, Z: 31}))
	before = joined(mesh.Transform(p.before, up.Apply), noisy(bedOf(seed, 110, 60), seed, 0.05))
	after = joined(mesh.Transform(p.after, turn.Apply), noisy(bedOf(seed, 110, 56), seed+77, 0.05))
	return before, after, [2]int{p.before.FaceCount(), p.after.FaceCount()}, turn.Inverse().Then(p.truth).Then(up)
}

func firstFaces(m *mesh.Mesh, n int, first bool) []bool {
	out := make([]bool, m.FaceCount())
	for f := range out {
		out[f] = (f < n) == first
	}
	return out
}

// Strokes settle what scans alone cannot: with an unmoved bed in both, the bone's
// own motion is found once somebody trusts the bone or never trusts the bed, by
// search and from picks alike (fabricated, the truth is known; without strokes it
// must not be accepted, as TestNeverLies has it).
func TestStrokesSettleWhatCarriesTheFit(t *testing.T) {
	before, after, bones, truth := onBed(2)
	if r := align(t, before, after, Options{}); r.Verdict == Accepted {
		t.Errorf("without strokes: accepted, %s", r.Reason)
	}
	var picks []Pick
	random := rand.New(rand.NewPCG(3, 9))
	for k := range 4 {
		a := middleOf(after, uint32((k+1)*bones[1]/5))
		e := r3.Scale(0.3, r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()})
		picks = append(picks, Pick{Before: r3.Add(truth.Apply(a), e), After: a})
	}
	rows := map[string]Options{
		"never the bed":         {BeforeNever: firstFaces(before, bones[0], false), AfterNever: firstFaces(after, bones[1], false)},
		"trust it in the later": {AfterTrust: firstFaces(after, bones[1], true)},
		"never, with picks":     {AfterNever: firstFaces(after, bones[1], false), Picks: picks},
	}
	for name, opt := range rows {
		r := align(t, before, after, opt)
		off := 0.0
		for v := 0; v < bones[1]/2; v += 50 {
			p := after.Vertex(uint32(v))
			off = math.Max(off, r3.Norm(r3.Sub(r.AfterToBefore.Apply(p), truth.Apply(p))))
		}
		if r.Verdict != Accepted || off > 0.1 {
			t.Errorf("%s: %s (%s), %.3f mm off", name, r.Verdict, r.Reason, off)
		}
		for f := bones[1]; f < after.FaceCount(); f++ {
			if r.StableAfter[f] {
				t.Fatalf("%s: face %d of the bed carries the fit", name, f)
			}
		}
		t.Logf("checked: %s: %s, %.4f mm off", name, r.Verdict, off)
	}
}

// Nothing to trust is a verdict, marks of another scan an error.
func TestStrokesOnNothing(t *testing.T) {
	p := bonePair(1, 0.2, 0.05, 20, 18)
	if r := align(t, p.before, p.after, Options{AfterTrust: make([]bool, p.after.FaceCount())}); r.Verdict != Refused || r.NextStep == "" {
		t.Errorf("nothing trusted: %s", r.Verdict)
	}
	if _, err := Align(t.Context(), p.before, p.after, Options{AfterNever: make([]bool, 7)}); err == nil {
		t.Error("marks of another scan: no error")
	}
}

// checks are true pairs of a bone, each moved by an error.
func checks(p pair, n int, errors ...r3.Vec) []Pick {
	var out []Pick
	for k := range n {
		a := p.after.Vertex(uint32((2*k + 1) * p.after.VertexCount() / (2 * n)))
		b := p.truth.Apply(a)
		if len(errors) > 0 {
			b = r3.Add(b, errors[k%len(errors)])
		}
		out = append(out, Pick{Before: b, After: a})
	}
	return out
}

// Check points take no part in the fit and are reported by number, RMS and
// largest (by hand: off by 3 and 4 mm the RMS is √12.5); where the scans have
// smooth error they answer the demand for them; where most lie far off, the pose
// is not accepted.
func TestCheckPoints(t *testing.T) {
	p := bonePair(5, 0.3, 0.05, 44, 38)
	start := p.disturbed(2, 2, 1)
	bare := align(t, p.before, p.after, Options{Start: &start})
	r := align(t, p.before, p.after, Options{Start: &start, Checks: checks(p, 6)})
	if r.AfterToBefore != bare.AfterToBefore {
		t.Error("check points moved the pose")
	}
	if r.CheckPoints != 6 || r.CheckPointRMS > 0.15 || r.CheckPointMax < r.CheckPointRMS || !strings.Contains(r.Reason, "6 check points") {
		t.Errorf("%d check points, %.3f and %.3f mm: %s", r.CheckPoints, r.CheckPointRMS, r.CheckPointMax, r.Reason)
	}
	two := align(t, p.before, p.after, Options{Start: &start, Checks: checks(p, 2, r3.Vec{X: 3}, r3.Vec{Z: 4})})
	if math.Abs(two.CheckPointRMS-math.Sqrt(12.5)) > 0.15 || math.Abs(two.CheckPointMax-4) > 0.15 {
		t.Errorf("RMS %.3f and largest %.3f mm, put in 3.536 and 4", two.CheckPointRMS, two.CheckPointMax)
	}
	far := align(t, p.before, p.after, Options{Start: &start, Checks: checks(p, 5, r3.Vec{X: 6, Y: 2})})
	if far.Verdict != Ambiguous || !strings.Contains(far.NextStep, "check points") {
		t.Errorf("check points 6 mm off: %s, %s", far.Verdict, far.NextStep)
	}
}

// Where the scans are bent by smooth error (0.05 mm each), the report asks for
// check points and states no error, and does so once it has them.
func TestCheckPointsAnswerTheDemand(t *testing.T) {
	p, marks := smoothPair(3, 0.3, 0.05, 0.05, 60, 52, 4)
	start := p.disturbed(2, 2, 1)
	bare := align(t, p.before, p.after, Options{Start: &start})
	if bare.SmoothMM == 0 || bare.ErrorOverChange != 0 || !strings.Contains(bare.NextStep, "check points") {
		t.Fatalf("smooth error %.3f mm, error %.3f mm, next %q", bare.SmoothMM, bare.ErrorOverChange, bare.NextStep)
	}
	r := align(t, p.before, p.after, Options{Start: &start, Checks: marks})
	if r.Verdict != Accepted || !(r.ErrorOverChange > 0) || strings.Contains(r.NextStep, "check points") || !strings.Contains(r.Reason, "4 check points") {
		t.Errorf("%s: %s; next %q", r.Verdict, r.Reason, r.NextStep)
	}
}

// Whoever looks on sees the scan come home: the last pose shown is the result,
// and the first is another.
func TestPosesAreShown(t *testing.T) {
	p := bonePair(2, 0.3, 0.05, 30, 26)
	start := p.disturbed(3, 3, 2)
	var shown []frame.Rigid
	r := align(t, p.before, p.after, Options{Start: &start, Pose: func(g frame.Rigid) { shown = append(shown, g) }})
	if len(shown) < 2 || shown[len(shown)-1] != r.AfterToBefore || shown[0] == r.AfterToBefore {
		t.Errorf("%d poses shown", len(shown))
	}
	if r3.Norm(r.WeakShift)+r3.Norm(r.WeakTurn) == 0 {
		t.Error("the motion held least is not told")
	}
}
