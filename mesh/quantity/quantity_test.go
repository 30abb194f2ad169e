package quantity

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.10g, want %.10g ± %g", what, got, want, tolerance)
	}
}

// JCGM 100:2008, example H.1 (calibration of a gauge block). Inputs and
// published results: l = 50 000 838 nm, u(d) = 9.7 nm with 25.6 degrees of
// freedom, u = 32 nm, effective degrees of freedom 16, t99(16) = 2.92,
// U99 = 93 nm; with the second-order terms u = 34 nm.
func TestGaugeBlock(t *testing.T) {
	d := Budget{
		{Name: "repeated observations", U: 5.8, Sensitivity: 1, Dof: 24},
		{Name: "random effects of comparator", U: 3.9, Sensitivity: 1, Dof: 5},
		{Name: "systematic effects of comparator", U: 6.7, Sensitivity: 1, Dof: 8},
	}
	near(t, "u(d)", d.Combined(), 9.7, 0.05)
	near(t, "dof of d", d.Dof(), 25.6, 0.2)

	const ls = 50_000_623.0
	theta := Budget{
		{Name: "mean temperature", U: 0.2, Sensitivity: 1},
		Within("cyclic variation", 0, 0.5, 1, "°C", Arcsine),
	}
	near(t, "u(θ)", theta.Combined(), 0.41, 0.005)
	alphaS := Within("expansion coefficient", 11.5e-6, 2e-6, 0, "1/°C", Rectangular)
	near(t, "u(αs)", alphaS.U, 1.2e-6, 0.05e-6)
	deltaAlpha := Within("difference of expansion", 0, 1e-6, -ls*-0.1, "1/°C", Rectangular)
	deltaAlpha.Dof = 50
	deltaTheta := Within("difference of temperature", 0, 0.05, -ls*11.5e-6, "°C", Rectangular)
	deltaTheta.Dof = 2
	near(t, "part of δα", deltaAlpha.Contribution(), 2.9, 0.05)
	near(t, "part of δθ", deltaTheta.Contribution(), 16.6, 0.05)

	b := Budget{
		{Name: "standard", Value: ls, U: 25, Sensitivity: 1, Dof: 18},
		{Name: "difference", Value: 215, U: d.Combined(), Sensitivity: 1, Dof: d.Dof()},
		alphaS, // sensitivity 0
		{Name: "temperature", U: theta.Combined()}, // sensitivity 0
		deltaAlpha, deltaTheta,
	}
	// 31.664 recomputed from the data above; published rounded to 32.
	near(t, "u(l)", b.Combined(), 31.664, 0.001)
	if dof := math.Floor(b.Dof()); dof != 16 {
		t.Errorf("effective degrees of freedom %v, want 16", dof)
	}
	k := b.CoverageFactor(0.99)
	near(t, "t99(16)", k, 2.92, 0.005)
	rounded, _ := roundUncertainty(b.Combined())
	near(t, "u(l) rounded", rounded, 32, 0)
	near(t, "U99", math.Ceil(k*b.Combined()), 93, 0)

	// Second-order terms: GUM H.1.7, 11.7 and 1.7 nm.
	second := append(b,
		Term{Name: "second order, δα and θ", U: ls * deltaAlpha.U * theta.Combined(), Sensitivity: 1},
		Term{Name: "second order, αs and δθ", U: ls * alphaS.U * deltaTheta.U, Sensitivity: 1})
	near(t, "second order 1", second[6].Contribution(), 11.7, 0.05)
	near(t, "second order 2", second[7].Contribution(), 1.7, 0.05)
	near(t, "u(l) with second order", math.Round(second.Combined()), 34, 0)
	if m := b.Measured(ls+215, "nm", "comparison"); m.Value != 50_000_838 || m.Unit != "nm" {
		t.Errorf("length %v %s, want 50000838 nm", m.Value, m.Unit)
	}
}

// Student's t, GUM table G.2, columns 95.45 % and 99 %.
func TestCoverageFactor(t *testing.T) {
	for _, row := range []struct{ dof, k9545, k99 float64 }{
		{1, 13.97, 63.66}, {2, 4.53, 9.92}, {5, 2.65, 4.03}, {10, 2.28, 3.17},
		{20, 2.13, 2.85}, {50, 2.05, 2.68}, {math.Inf(1), 2.000, 2.576},
	} {
		b := Budget{{U: 1, Sensitivity: 1, Dof: row.dof}}
		near(t, "k for 95.45 %", b.CoverageFactor(coverageTwoSigma), row.k9545, 0.006)
		near(t, "k for 99 %", b.CoverageFactor(0.99), row.k99, 0.006)
	}
}

// Volume uncertainty of a difference of two elevation models after Anderson,
// Earth Surf. Process. Landforms 44:1015 (2019), with the numbers of the open
// notebook VolumetricUncertaintyCalculations: 11.725159819775277,
// 63.66416245931655 (its 0.79 for √(π/5)) and 4448.03846571 m³ give
// 4448.509502899844 m³. The systematic part is 99.9 % of the variance.
func TestElevationDifference(t *testing.T) {
	const n, cell, range5 = 682640.0, 0.25, 2.3546
	b := Budget{
		{Name: "uncorrelated", U: 1.96 * 0.11584754, Sensitivity: math.Sqrt(n) * cell * cell},
		{Name: "correlated", U: 1.96 * math.Sqrt(0.0071469), Sensitivity: 0.79 * range5 * math.Sqrt(n) * cell},
		{Name: "systematic", U: 0.104254974, Sensitivity: n * cell * cell},
	}
	near(t, "uncorrelated", b[0].Contribution(), 11.725159819775277, 1e-5)
	near(t, "correlated", b[1].Contribution(), 63.66416245931655, 1e-3)
	near(t, "systematic", b[2].Contribution(), 4448.03846571, 1e-3)
	near(t, "total", b.Combined(), 4448.509502899844, 1e-3)
}

// GUM 7.2.6: "might be rounded up to 11", "should be rounded down to 28", and
// y = 10.057 62 Ω with u = 27 mΩ is given as 10.058 Ω.
func TestRounding(t *testing.T) {
	for _, row := range []struct{ u, rounded, place float64 }{
		{10.47, 11, 1}, {28.05, 28, 1}, {0.027, 0.027, 0.001},
		// Review of Particle Physics, introduction 5.3: 0.827 ± 0.119 is 0.83 ± 0.12,
		// 0.827 ± 0.367 is 0.8 ± 0.4; 950 to 999 becomes 1000 with two digits.
		{0.119, 0.12, 0.01}, {0.367, 0.4, 0.1}, {0.97, 1.0, 0.1},
		// 350 and 0.4 are 1 and 2 % too small, which is allowed; 0.4 for 0.44 is not.
		{354, 350, 10}, {355, 400, 100}, {0.4067, 0.4, 0.1}, {0.44, 0.5, 0.1}, {99.9, 100, 10},
	} {
		rounded, place := roundUncertainty(row.u)
		near(t, "rounded", rounded, row.rounded, 1e-12)
		near(t, "place", place, row.place, 1e-12)
	}
	for _, u := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, place := roundUncertainty(u); place != 0 {
			t.Errorf("uncertainty %v has digits", u)
		}
	}
}

func TestPrint(t *testing.T) {
	for _, row := range []struct {
		m    Measured
		want string
	}{
		// The worked budget for matrix of 36 163 mm³: u 203 mm³, k 2.
		{Measured{Value: 36163, U: 203.3, K: 2, Unit: CubicMillimetre}, "36.2 ± 0.4 cm³"},
		{Measured{Value: 10.05762, U: 0.027, K: 1, Unit: "Ω"}, "10.058 ± 0.027 Ω"},
		{Measured{Value: 0.0972, U: 0.0015, K: 2, Unit: Share}, "9.72 ± 0.30 %"},
		{Measured{Value: 233.33, U: 62.36, K: 2, Unit: CubicMillimetre}, "230 ± 130 mm³"},
		{Measured{Value: 12.34, U: 0.06, K: 2, Unit: Millimetre}, "12.34 ± 0.12 mm"},
		{Measured{Value: 123.4, U: 0.3, K: 2, Unit: Millimetre}, "12.34 ± 0.06 cm"},
		{Measured{Value: -0.01, U: 0.2, K: 2, Unit: Millimetre}, "0.0 ± 0.4 mm"},
		{Measured{Value: -3.26, U: 0.2, K: 2, Unit: Millimetre}, "\u22123.3 ± 0.4 mm"},
		{Measured{Value: 0, U: 1.2, K: 2, Unit: CubicMillimetre}, "0.0 ± 2.4 mm³"},
		{Measured{Value: -2, U: 75, K: 2, Unit: CubicMillimetre}, "0 ± 150 mm³"},
		{Measured{Value: 54.321, K: 2, Unit: Millimetre}, "54.32 mm"},
	} {
		got := row.m.String()
		if strings.ReplaceAll(got, noBreak, " ") != row.want {
			t.Errorf("%+v prints %q, want %q", row.m, got, row.want)
		}
		if strings.Contains(got, " ") {
			t.Errorf("%q can break at a line's end", got)
		}
	}
}

func TestJSON(t *testing.T) {
	m := Measured{Value: 36163, U: 203, K: 2, Unit: CubicMillimetre, Method: "closed shell"}
	data, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	const want = `{"value":36163,"u":203,"k":2,"U":406,"unit":"mm3","method":"closed shell"}`
	if string(data) != want {
		t.Errorf("JSON %s, want %s", data, want)
	}
	var back Measured
	if err := json.Unmarshal(data, &back); err != nil || back != m {
		t.Errorf("read back %+v (%v), want %+v", back, err, m)
	}
	// The order of keys must not decide which of u and U is which.
	if err := json.Unmarshal([]byte(`{"U":406,"u":203,"value":1,"k":2,"unit":"","method":""}`), &back); err != nil || back.U != 203 {
		t.Errorf("u read as %v (%v), want 203", back.U, err)
	}
	if _, err := json.Marshal(Measured{Value: math.NaN()}); err == nil {
		t.Error("a value that is no number was written")
	}
	if !m.Covers(36500) || m.Covers(36600) {
		t.Error("36163 ± 406 must hold 36500 and not 36600")
	}

	data, err = json.Marshal(Budget{{Name: "noise", Value: 0, Unit: "mm", Sensitivity: -2, U: 0.5, Distribution: Normal}})
	if err != nil {
		t.Fatal(err)
	}
	const wantTerm = `[{"name":"noise","value":0,"unit":"mm","sensitivity":-2,"u":0.5,"contribution":1,"distribution":"normal"}]`
	if string(data) != wantTerm {
		t.Errorf("budget %s, want %s", data, wantTerm)
	}
	if data, _ = json.Marshal(Term{Dof: 4}); !strings.Contains(string(data), `"dof":4`) {
		t.Errorf("degrees of freedom are lost in %s", data)
	}
	if _, err := json.Marshal(Term{U: math.Inf(1)}); err == nil {
		t.Error("an infinite uncertainty was written")
	}
}

// A value from another way is printed to the digits of the first (GUM 7.2.6: a
// result and its uncertainty end at the same digit), in its unit.
func TestBeside(t *testing.T) {
	for _, row := range []struct {
		m     Measured
		value float64
		want  string
	}{
		{Measured{Value: 160600, U: 1650, K: 2, Unit: CubicMillimetre}, 159912, "159.9\u00a0cm³"},
		{Measured{Value: 999, U: 1, K: 2, Unit: CubicMillimetre}, 1003.2, "1003.2\u00a0mm³"},
		{Measured{Value: 7.81, U: 0.006, K: 2, Unit: CubicMillimetre}, -0.0001, "0.000\u00a0mm³"},
	} {
		if got := row.m.Beside(row.value); got != row.want {
			t.Errorf("%v beside %v: got %q, wanted %q", row.value, row.m, got, row.want)
		}
	}
}
