package change

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

// Gaps drawn on a plate with a spherical covariance of range 5 mm and sill
// 0.02 mm beside 0.01 mm of noise that no two places share (exact, by the Cholesky
// factor of their covariance) must return a range of 4 to 6 mm, and both
// deviations to a tenth, as the median of nine drawings. Without a shared part
// neighbours share nothing.
func TestVariogram(t *testing.T) {
	const n, side, reach, sill, nugget = 900, 45.0, 5.0, 0.02, 0.01
	rng := rand.New(rand.NewPCG(5, 6))
	at, normal := make([]r3.Vec, n), make([]r3.Vec, n)
	for i := range at {
		at[i], normal[i] = r3.Vec{X: side * rng.Float64(), Y: side * rng.Float64()}, r3.Vec{Z: 1}
	}
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			h := r3.Norm(r3.Sub(at[i], at[j])) / reach
			v := 0.0
			if h < 1 {
				v = sill * sill * (1 - 1.5*h + 0.5*h*h*h)
			}
			if i == j {
				v += nugget * nugget
			}
			cov.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		t.Fatal("the covariance is none")
	}
	var lower mat.TriDense
	chol.LTo(&lower)
	draw := func(values []float64) []float64 {
		z := mat.NewVecDense(n, nil)
		for i := range n {
			z.SetVec(i, rng.NormFloat64())
		}
		out := mat.NewVecDense(n, values)
		out.MulVec(&lower, z)
		return values
	}
	var found [3][]float64
	for range 9 {
		v := newVariogram(at, normal, draw(make([]float64, n)), side/3)
		for k, x := range []float64{v.RangeMM, v.SillMM, v.NuggetMM} {
			found[k] = append(found[k], x)
		}
	}
	a, s, c := mesh.Nth(found[0], 4), mesh.Nth(found[1], 4), mesh.Nth(found[2], 4)
	t.Logf("checked: range %.2f mm, shared %.4f mm, not shared %.4f mm; drawn with %v, %v, %v", a, s, c, reach, sill, nugget)
	if a < 4 || a > 6 {
		t.Errorf("range %v mm, drawn with 5", a)
	}
	near(t, "shared part", s, sill, 0.1*sill)
	near(t, "part not shared", c, nugget, 0.2*nugget)

	noise := make([]float64, n)
	for i := range noise {
		noise[i] = nugget * rng.NormFloat64()
	}
	if v := newVariogram(at, normal, noise, side/3); v.SillMM > 0.4*nugget && v.RangeMM > 1.5 {
		t.Errorf("noise alone has %+v: places as near as those drawn (1.5 mm) share something", v)
	}
}

// Independent values over a surface: area over πa²/5, worked for 100 mm² and a
// range of 5 mm (6.366); never less than one.
func TestIndependent(t *testing.T) {
	v := Variogram{RangeMM: 5}
	near(t, "of 100 mm²", v.Independent(100), 6.3662, 1e-4)
	near(t, "of 3 mm²", v.Independent(3), 1, 0)
	if !math.IsInf(Variogram{}.Independent(3), 1) {
		t.Error("what shares nothing is independent everywhere")
	}
}

// What the alignment leaves open at a place, by hand: a translation of 0.02 mm
// along z and a turn of 0.001 about x through the centre. 30 mm out along y, on
// a surface that looks along z, that is √(0.02² + 0.03²); on one that looks
// along x nothing. SmallestAt has twice it.
func TestSmallestAtAPlace(t *testing.T) {
	c := &Change{LimitMM: 0.02}
	c.Options.RegistrationCovariance[7*5] = 0.02 * 0.02
	c.Options.RegistrationCovariance[0] = 1e-6
	c.Options.Centre = r3.Vec{X: 1}
	at := r3.Vec{X: 1, Y: 30}
	near(t, "along z", c.SmallestAt(Removed, at, r3.Vec{Z: 1}), 0.03+2*math.Hypot(0.02, 0.03), 1e-12)
	near(t, "along x", c.SmallestAt(Removed, at, r3.Vec{X: 1}), 0.03, 1e-12)
}

// A pair whose error is six times as large at one end (same body before and
// after, with four true cuts): whatever a picture shows is at least what the pair
// can show at that place, and at the bad end that is more than at the good one.
func TestShownByPlace(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	body := bentbody.New(1)
	s := bentbody.Scanning{Triangles: 60000, NoiseMM: 0.02}
	before, after := body.Before(s), body.After(s)
	smoothError(before, 0.01, 5, 6, rng)
	smoothError(after, 0.01, 5, 6, rng)
	c := compare(t, before, after, frame.Identity(), Options{})
	box := mesh.Bounds(c.After.Mesh)
	var good, bad, goodN, badN float64
	for v := range uint32(c.After.Weld.Count) {
		least := c.smallestAt(c.After, v, Removed)
		if least < c.SmallestMM-1e-12 {
			t.Fatalf("%v mm at a place, %v for the pair", least, c.SmallestMM)
		}
		if z := (c.After.Vertex(v).Z - box.Min.Z) / (box.Max.Z - box.Min.Z); z < 0.5 {
			good, goodN = good+least, goodN+1
		} else if z > 0.95 {
			bad, badN = bad+least, badN+1
		}
	}
	t.Logf("checked: smallest change %.3f mm on the good half, %.3f mm at the bad end, %.3f mm for the pair", good/goodN, bad/badN, c.SmallestMM)
	if bad/badN < 2*good/goodN {
		t.Errorf("%v mm at the bad end, %v on the good half", bad/badN, good/goodN)
	}
	for i, g := range c.ShownGap() {
		if x := math.Abs(float64(g)); x > c.SmallestMM {
			v := c.After.Weld.Of[i]
			kind := Added
			if g < 0 {
				kind = Removed
			}
			if least := c.smallestAt(c.After, v, kind); x < least-1e-6 {
				t.Fatalf("vertex %d shows %v mm, where the pair can show %v", i, x, least)
			}
		}
	}
	for _, a := range c.Areas {
		if !(a.SmallestMM > 0) || a.MaxDepthMM < a.SmallestMM {
			t.Errorf("an area %v mm deep where %v can be shown", a.MaxDepthMM, a.SmallestMM)
		}
	}
}
