package quantity

import (
	"context"
	"math"
	"testing"
)

// JCGM 100:2008, example H.2 (resistance and reactance found together). Data of
// table H.2, from memory; published: R = 127.732 Ω, u 0.071; X = 219.847 Ω, u
// 0.295; Z = 254.260 Ω, u 0.236; r(R,X) = -0.588, r(R,Z) = -0.485, r(X,Z) =
// 0.993; of the inputs r(V,I) = -0.355, r(V,φ) = 0.858, r(I,φ) = -0.645.
func TestResistanceAndReactance(t *testing.T) {
	rows := [][]float64{
		{5.007, 19.663e-3, 1.0456}, {4.994, 19.639e-3, 1.0438}, {5.005, 19.640e-3, 1.0468},
		{4.990, 19.685e-3, 1.0428}, {4.999, 19.678e-3, 1.0433},
	}
	in, err := observed(rows)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "r(V,I)", in.correlation(0, 1), -0.355, 0.0006)
	near(t, "r(V,φ)", in.correlation(0, 2), 0.858, 0.0006)
	near(t, "r(I,φ)", in.correlation(1, 2), -0.645, 0.0006)
	model := func(x []float64) []float64 {
		z := x[0] / x[1]
		return []float64{z * math.Cos(x[2]), z * math.Sin(x[2]), z}
	}
	out := in.Through(model)
	for i, row := range []struct{ value, u float64 }{{127.732, 0.071}, {219.847, 0.295}, {254.260, 0.236}} {
		near(t, "value", out.Values[i], row.value, 0.0006)
		near(t, "u", out.U(i), row.u, 0.0011) // X is 0.296 from unrounded inputs
	}
	near(t, "r(R,X)", out.correlation(0, 1), -0.588, 0.001)
	near(t, "r(R,Z)", out.correlation(0, 2), -0.485, 0.001)
	near(t, "r(X,Z)", out.correlation(1, 2), 0.993, 0.001)

	// Without the covariances the same data give a plainly wrong u.
	alone := in
	alone.Covariance = append([]float64(nil), in.Covariance...)
	for i := range 3 {
		for k := range 3 {
			if i != k {
				alone.Covariance[3*i+k] = 0
			}
		}
	}
	if u := alone.Through(model).U(0); math.Abs(u-0.071) < 0.03 {
		t.Errorf("u(R) without correlation is %v: the test could not tell", u)
	}
	if _, err := observed(rows[:1]); err == nil {
		t.Error("one observation was taken for a spread")
	}
	if _, err := observed([][]float64{{1, 2}, {1}}); err == nil {
		t.Error("observations of different length were taken")
	}
}

// GUM F.1.2.3: a quotient of values on one scale does not carry the scale.
func TestSharedFactorCancels(t *testing.T) {
	j := Sharing([]float64{20, 500}, []float64{0.4, 5}, []float64{3, 3}, 0.01)
	near(t, "u of the first", j.U(0), math.Hypot(0.4, 3*20*0.01), 1e-12)
	q := j.Through(func(x []float64) []float64 { return []float64{x[0] / x[1]} })
	near(t, "u of the share", q.U(0), 0.04*math.Hypot(0.4/20, 5.0/500), 2e-6)
	if m := q.Measured(0, Share, "test"); m.Value != 0.04 || m.K != 2 {
		t.Errorf("share %+v", m)
	}
}

// JCGM 101:2008, 9.2 (additive model): four normal inputs of u = 1 give u = 2
// and ±3.92 for 95 %; four rectangular ones u = 2 and ±3.88 (exactly
// 2√3·(2 − 0.6^(1/4)) = 3.8794); with one of them ten times as wide u = 10.1
// and ±17.0, where the GUM's own interval is ±19.8. A million trials leave
// about 0.005 of a unit (0.03 in the last case).
func TestAdditiveModel(t *testing.T) {
	unit := func(shape Distribution, u float64) Term {
		return Term{U: u, Sensitivity: 1, Distribution: shape}
	}
	sum := func(x []float64) float64 { return x[0] + x[1] + x[2] + x[3] }
	for _, row := range []struct {
		name     string
		in       []Term
		u, half  float64
		toU, toH float64
	}{
		{"normal", []Term{unit(Normal, 1), unit(Normal, 1), unit(Normal, 1), unit(Normal, 1)}, 2, 3.92, 0.01, 0.03},
		{"rectangular", []Term{unit(Rectangular, 1), unit(Rectangular, 1), unit(Rectangular, 1), unit(Rectangular, 1)},
			2, 2 * math.Sqrt(3) * (2 - math.Pow(0.6, 0.25)), 0.01, 0.03},
		{"one wide", []Term{unit(Rectangular, 1), unit(Rectangular, 1), unit(Rectangular, 1), unit(Rectangular, 10)}, math.Sqrt(103), 17.0, 0.05, 0.1},
	} {
		got, err := simulate(context.Background(), row.in, 1_000_000, 101, 0.95, sum)
		if err != nil {
			t.Fatal(err)
		}
		near(t, row.name+" mean", got.Mean, 0, 0.03)
		near(t, row.name+" u", got.U, row.u, row.toU)
		near(t, row.name+" half-width", (got.High-got.Low)/2, row.half, row.toH)
	}
}

// JCGM 101:2008, 6.4.3 to 6.4.9: each distribution has the standard deviation
// that the term states; Student's t of ν degrees has √(ν/(ν−2)) of it, and with
// 10 degrees 95.45 % lie within 2.28 u (GUM table G.2).
func TestDraws(t *testing.T) {
	for _, shape := range []Distribution{Normal, Rectangular, Triangular, Arcsine} {
		got, err := Simulate(context.Background(), []Term{{Value: 3, U: 0.5, Distribution: shape}}, 200_000, 7, func(x []float64) float64 { return x[0] })
		if err != nil {
			t.Fatal(err)
		}
		near(t, string(shape)+" mean", got.Mean, 3, 0.006)
		near(t, string(shape)+" u", got.U, 0.5, 0.005)
	}
	got, err := Simulate(context.Background(), []Term{{U: 1, Dof: 10, Distribution: Normal}}, 400_000, 7, func(x []float64) float64 { return x[0] })
	if err != nil {
		t.Fatal(err)
	}
	near(t, "u of t with 10 degrees", got.U, math.Sqrt(10.0/8), 0.01)
	near(t, "interval of t with 10 degrees", (got.High-got.Low)/2, 2.28, 0.03)
	if m := got.Measured(Millimetre, "test"); !(math.Abs(m.Expanded()-2.28) < 0.05) {
		t.Errorf("expanded uncertainty %v", m.Expanded())
	}
	// The same seed gives the same bytes, another seed does not.
	one := []Term{{U: 1, Distribution: Normal}}
	f := func(x []float64) float64 { return x[0] * x[0] }
	a, _ := Simulate(context.Background(), one, 50_000, 1, f)
	b, _ := Simulate(context.Background(), one, 50_000, 1, f)
	c, _ := Simulate(context.Background(), one, 50_000, 2, f)
	if a != b || a == c {
		t.Errorf("seed 1 gave %v and %v, seed 2 %v", a, b, c)
	}
	done, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Simulate(done, one, 50_000, 1, f); err == nil {
		t.Error("a stopped simulation gave a result")
	}
}
