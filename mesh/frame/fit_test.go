package frame_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/frame"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.14g, want %.14g ± %.1g", what, got, want, tolerance)
	}
}

func randomPoint(random *rand.Rand, size float64) r3.Vec {
	return r3.Vec{X: size * random.NormFloat64(), Y: size * random.NormFloat64(), Z: size * random.NormFloat64()}
}

func randomMotion(random *rand.Rand) frame.Rigid {
	return frame.Small(r3.Vec{}, randomPoint(random, 1.5), randomPoint(random, 40))
}

// Umeyama's planar example (PAMI 13:376, 1991, section IV): x = (0,0), (1,0),
// (0,2) on to y = (0,0), (-1,0), (0,2), whose best map without the reflection
// branch would be a mirror with no residual. A plane in space can be mirrored
// by turning it over, so the points stand here as pairs at heights ±1, which
// adds 1 to one singular value and to the mean squares and nothing else.
func TestUmeyamaExample(t *testing.T) {
	plane := [][4]float64{{0, 0, 0, 0}, {1, 0, -1, 0}, {0, 2, 0, 2}}
	var before, after []r3.Vec
	for _, p := range plane {
		for _, z := range []float64{-1, 1} {
			after = append(after, r3.Vec{X: p[0], Y: p[1], Z: z})
			before = append(before, r3.Vec{X: p[2], Y: p[3], Z: z})
		}
	}
	g, fit, err := frame.FitRigid(before, after, nil)
	if err != nil {
		t.Fatal(err)
	}
	// R = (3, 2; -2, 3)/√13.
	for i, want := range []float64{0.8320502943, 0.5547001962, 0, -0.5547001962, 0.8320502943, 0, 0, 0, 1} {
		near(t, "rotation", g.R[i], want, 5e-11)
	}
	// Singular values D, from the sums over six points.
	d1 := (fit.Eigenvalues[0] + fit.Eigenvalues[1]) / 12
	d2 := (fit.Eigenvalues[0] + fit.Eigenvalues[2]) / 12
	sd3 := (fit.Eigenvalues[0] + fit.Eigenvalues[3]) / 12
	near(t, "height's singular value", d1, 1, 1e-12)
	near(t, "first singular value", d2, 0.9561723639, 5e-11)
	near(t, "second singular value, reflected", sd3, -0.1549387472, 5e-11)
	// c = tr(DE)/vx with the height taken out again, vx = 10/9.
	vx := 10.0 / 9
	c := fit.LeastSquaresScale*(vx+1) - 1
	c /= vx
	near(t, "scale", c, 0.7211102551, 5e-11)
	near(t, "scale", c, math.Sqrt(13)/5, 1e-12)
	near(t, "mean square left", vx-c*c*vx, 0.5333333333, 5e-11)
	// t = ym - c·R·xm with xm = (1/3, 2/3), ym = (-1/3, 2/3).
	turned := r3.Scale(c, g.Turn(r3.Vec{X: 1.0 / 3, Y: 2.0 / 3}))
	near(t, "translation x", -1.0/3-turned.X, -0.8, 1e-12)
	near(t, "translation y", 2.0/3-turned.Y, 0.4, 1e-12)
	near(t, "symmetric scale", fit.SymmetricScale, 1, 1e-15)
	if !fit.Mirrored {
		t.Error("a perfect mirror image was not suspected")
	}
}

// The second set (algorithm notes, section 2; eigenvalues computed apart in
// double precision): six points turned by 30° about z and shifted by -1.
func TestSixPoints(t *testing.T) {
	after := []r3.Vec{{X: 1, Y: 1, Z: 1}, {X: 3, Y: 4, Z: 5}, {X: 10, Y: 8, Z: 6}, {X: 2, Y: 4, Z: 7}, {X: 7, Y: 1, Z: 2}, {X: -14, Y: -5, Z: 16}}
	truth := frame.Rotation(r3.Vec{Z: 1}, math.Pi/6)
	truth.T = r3.Vec{X: -1, Y: -1, Z: -1}
	before := make([]r3.Vec, len(after))
	for i, p := range after {
		before[i] = truth.Apply(p)
	}
	near(t, "y₁", before[0].X, -0.6339746, 5e-8)
	near(t, "y₆", before[5].Y, -12.33012702, 5e-9)
	g, fit, err := frame.FitRigid(before, after, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range g.R {
		near(t, "rotation", g.R[i], truth.R[i], 1e-12)
	}
	near(t, "translation", r3.Norm(r3.Sub(g.T, truth.T)), 0, 1e-12)
	for i, want := range []float64{583.16666667, 445.29531151, -463.57291008, -564.88906810} {
		near(t, "eigenvalue", fit.Eigenvalues[i], want, 5e-9)
	}
	if fit.Mirrored || fit.RMS > 1e-12 {
		t.Errorf("mirrored %v, RMS %g", fit.Mirrored, fit.RMS)
	}
	// Weights choose the pairs that count: a wrong pair of weight 0 is nothing.
	before[2] = r3.Vec{X: 500}
	g, _, err = frame.FitRigid(before, after, []float64{1, 1, 0, 1, 2, 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "weighted translation", r3.Norm(r3.Sub(g.T, truth.T)), 0, 1e-12)
}

// The symmetric scale inverts when the two sides change places (Horn 1987,
// section 2.D), whatever the noise; a pure enlargement is found exactly.
func TestSimilarity(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 1))
	truth := frame.Similarity{Scale: 1.25, Rigid: randomMotion(random)}
	var before, noisy, after []r3.Vec
	for range 12 {
		p := randomPoint(random, 20)
		after = append(after, p)
		before = append(before, truth.Apply(p))
		noisy = append(noisy, r3.Add(truth.Apply(p), randomPoint(random, 2)))
	}
	g, fit, err := frame.FitSimilarity(before, after, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale", g.Scale, 1.25, 1e-12)
	near(t, "residual", fit.Max, 0, 1e-11)
	m, want := g.Matrix(), truth.Matrix()
	for i := range m {
		near(t, "matrix", m[i], want[i], 1e-11)
	}
	there, _, err := frame.FitSimilarity(noisy, after, nil)
	if err != nil {
		t.Fatal(err)
	}
	back, _, err := frame.FitSimilarity(after, noisy, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale there and back", there.Scale*back.Scale, 1, 1e-12)
}

func TestDegeneratePairs(t *testing.T) {
	line := []r3.Vec{{X: 0}, {X: 1}, {X: 3}, {X: 7}}
	same := []r3.Vec{{X: 2}, {X: 2}, {X: 2}}
	three := []r3.Vec{{}, {X: 10}, {Y: 10}}
	for name, c := range map[string]struct {
		before, after []r3.Vec
		want          error
	}{
		"two pairs":               {three[:2], three[:2], frame.ErrTooFew},
		"no pairs":                {nil, nil, frame.ErrTooFew},
		"one line":                {line, line, frame.ErrCollinear},
		"three equal points":      {same, same, frame.ErrCollinear},
		"one point picked twice":  {[]r3.Vec{{}, {}, {X: 4}}, []r3.Vec{{}, {}, {X: 4}}, frame.ErrCollinear},
		"line on one side only":   {three, []r3.Vec{{}, {X: 5}, {X: 9}}, frame.ErrCollinear},
		"three good ones":         {three, three, nil},
		"duplicate of a good one": {append(three, three[1]), append(three, three[1]), nil},
	} {
		if _, _, err := frame.FitRigid(c.before, c.after, nil); !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want %v", name, err, c.want)
		}
	}
	bad := [][]r3.Vec{{{X: math.NaN()}, {X: 1}, {Y: 1}}, {{X: math.Inf(1)}, {X: 1}, {Y: 1}}, three[:2]}
	for _, b := range bad {
		if _, _, err := frame.FitRigid(b, three, nil); err == nil {
			t.Errorf("%v was taken", b)
		}
	}
	if _, _, err := frame.FitRigid(three, three, []float64{1, 1, -1}); err == nil {
		t.Error("a negative weight was taken")
	}
}

// A mirrored scan shows only where the pairs do not lie in one plane.
func TestMirrorSuspicion(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 5))
	g := randomMotion(random)
	for range 50 {
		var flatBefore, flatAfter, before, after []r3.Vec
		for range 6 {
			p := randomPoint(random, 30)
			before = append(before, r3.Add(p, randomPoint(random, 0.1)))
			after = append(after, g.Apply(r3.Vec{X: -p.X, Y: p.Y, Z: p.Z}))
			p.Z = 0
			flatBefore = append(flatBefore, r3.Add(p, randomPoint(random, 0.1)))
			flatAfter = append(flatAfter, g.Apply(r3.Vec{X: -p.X, Y: p.Y}))
		}
		_, fit, err := frame.FitRigid(before, after, nil)
		if err != nil || !fit.Mirrored {
			t.Fatalf("mirror image not suspected: %v, %+v", err, fit)
		}
		_, fit, err = frame.FitRigid(flatBefore, flatAfter, nil)
		if err != nil || fit.Mirrored || fit.RMS > 1 {
			t.Fatalf("points in one plane can be turned over: %v, %+v", err, fit)
		}
	}
}

// The prediction of Fitzpatrick, West and Maurer (1998) against a simulation:
// fixed pairs, independent pick errors, 4000 draws, a target off to one side.
// The RMS of 4000 draws of a 3-D length has a standard error below 1.2 %.
func TestTargetErrorBySimulation(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 2))
	after := []r3.Vec{{X: -40, Y: 2, Z: 3}, {X: 35, Y: 10}, {X: 5, Y: -15, Z: 10}, {X: 12, Y: 14, Z: -9}}
	target := r3.Vec{X: 60, Y: 30, Z: -20}
	const each = 0.2 // mm, per coordinate
	pick := each * math.Sqrt(3)
	var sum, fre2 float64
	const draws = 4000
	for range draws {
		before := make([]r3.Vec, len(after))
		for i, p := range after {
			before[i] = r3.Add(p, randomPoint(random, each))
		}
		g, fit, err := frame.FitRigid(before, after, nil)
		if err != nil {
			t.Fatal(err)
		}
		sum += r3.Norm2(r3.Sub(g.Apply(target), target))
		fre2 += fit.RMS * fit.RMS
	}
	_, fit, err := frame.FitRigid(after, after, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := math.Sqrt(sum / draws)
	near(t, "target error", fit.TargetError(target, pick)/want, 1, 0.04)
	// <FRE²> = (1 - 2/N)·FLE² (the same paper).
	near(t, "residual", fre2/draws/(pick*pick), 1-2.0/4, 0.02)
	if fit.TargetError(target, pick) < 1.5*fit.TargetError(r3.Vec{}, pick) {
		t.Error("a far target is not less certain than one among the pairs")
	}
}

// One slipped pick of five stands out when it is left out, and the number is
// then the slip itself.
func TestLeaveOneOut(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 8))
	g := randomMotion(random)
	var before, after []r3.Vec
	for range 5 {
		p := randomPoint(random, 30)
		after = append(after, p)
		before = append(before, g.Apply(p))
	}
	before[3] = r3.Add(before[3], r3.Vec{X: 3})
	out := frame.LeaveOneOut(before, after)
	near(t, "slip", out[3], 3, 1e-9)
	for i, r := range out {
		if i != 3 && !(r < 3) {
			t.Errorf("pair %d keeps %g", i, r)
		}
	}
	for _, r := range frame.LeaveOneOut(before[:3], after[:3]) {
		if !math.IsNaN(r) {
			t.Errorf("two pairs cannot judge the third, got %g", r)
		}
	}
}
