package scale

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.12g, want %.12g within %g", what, got, want, within)
	}
}

// four are the bars of the worked example.
func four() []Bar {
	var bars []Bar
	for i, l := range []float64{100.000, 100.020, 50.010, 50.000} {
		bars = append(bars, Bar{LengthMM: l, LengthUMM: 0.02, MeasuredMM: []float64{1.2500, 1.2506, 0.62490, 0.62520}[i], MeasuredUMM: 2.5e-4})
	}
	return bars
}

// Source: an example worked in double precision with another program (numpy),
// four bars of which two are half as long; each figure to the digits it was
// given with.
func TestWorkedExample(t *testing.T) {
	c, err := Fit(four(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "factor", c.Factor, 79.99135801517, 5e-12)
	near(t, "internal u", c.Internal, 0.01430708580, 5e-12)
	near(t, "relative u", c.RelativeU(), 1.7886e-4, 5e-9)
	near(t, "χ²", c.Chi2, 1.34032555, 5e-9)
	near(t, "Birge ratio", c.Birge, 0.66841244, 5e-9)
	near(t, "u", c.U, c.Internal, 0)
	for i, want := range []struct{ residual, digits, without float64 }{
		{0.010802481, 5e-10, 79.98560068}, {-0.0171923338, 5e-11, 80.00053117},
		{0.0234003763, 5e-11, 79.98720068}, {-0.0105970311, 5e-11, 79.99324180},
	} {
		r := c.Readings[i]
		near(t, "residual", r.ResidualMM, want.residual, want.digits)
		near(t, "factor without", r.FactorWithout, want.without, 5e-9)
		// By the definition of both.
		near(t, "length error", r.LengthErrorMM, four()[i].LengthMM-r.FactorWithout*four()[i].MeasuredMM, 1e-12)
	}
	if c.Verdict != Verified {
		t.Errorf("the verdict is %s: %s", c.Verdict, c.Reason)
	}
	t.Logf("checked: factor %.11f ± %.10f, source: worked example, 79.99135801517 ± 0.01430708580", c.Factor, c.Internal)
}

// Source: the law of propagation (GUM 5.1.2) by hand: u(s)/s is the root of the
// sum of the squares of both relative uncertainties.
func TestOneBar(t *testing.T) {
	c, err := Fit([]Bar{{LengthMM: 100, LengthUMM: 0.01, MeasuredMM: 2, MeasuredUMM: 1e-4}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "factor", c.Factor, 50, 0)
	near(t, "u", c.U, 50*math.Sqrt(1e-8+2.5e-9), 1e-15)
	near(t, "u", c.U, 0.005590170, 5e-10)
	if c.Verdict != Unverified || c.Readings[0].Predicted || c.Worst != -1 {
		t.Errorf("one bar is %s (%s), reading %+v", c.Verdict, c.Reason, c.Readings[0])
	}
	// What all bars have in common enters with the relative weight of one bar.
	c, err = Fit([]Bar{{LengthMM: 100, LengthUMM: 0.01, MeasuredMM: 2, MeasuredUMM: 1e-4}}, Options{CommonUMM: 0.03})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "u with a common part", c.U, 50*math.Sqrt(1e-8+2.5e-9+9e-8), 1e-14)
	// It does not become less with the number of bars.
	many := make([]Bar, 1000)
	for i := range many {
		many[i] = Bar{LengthMM: 100, LengthUMM: 0.01, MeasuredMM: 2, MeasuredUMM: 1e-4}
	}
	if c, err = Fit(many, Options{CommonUMM: 0.03}); err != nil {
		t.Fatal(err)
	}
	near(t, "u of a thousand bars with a common part", c.U, math.Hypot(50*3e-4, 50*math.Sqrt(1.25e-8/1000)), 1e-12)
}

// The verdict follows the number of bars and whether they agree.
func TestVerdicts(t *testing.T) {
	bar := func(l, m float64) Bar { return Bar{LengthMM: l, LengthUMM: 0.02, MeasuredMM: m, MeasuredUMM: 0.02} }
	for _, row := range []struct {
		name    string
		bars    []Bar
		verdict string
		says    string
	}{
		{"no bar", nil, AsStated, "no scale bar"},
		{"one", []Bar{bar(100, 99.9)}, Unverified, "nothing checks it"},
		{"two", []Bar{bar(100, 99.9), bar(50, 49.93)}, DifferenceOnly, "difference"},
		{"two that disagree", []Bar{bar(100, 99.9), bar(50, 49)}, Unverified, "disagree"},
		{"three", []Bar{bar(100, 99.9), bar(50, 49.93), bar(80, 79.94)}, Verified, "held out"},
		// A gross slip draws factor and weights to itself; it is still the one named.
		{"one of three is far too short", []Bar{
			{LengthMM: 6, LengthUMM: 0.02, MeasuredMM: 103.6, MeasuredUMM: 0.55}, {LengthMM: 32.69, LengthUMM: 0.02, MeasuredMM: 32.64, MeasuredUMM: 0.55},
			{LengthMM: 75.66, LengthUMM: 0.02, MeasuredMM: 75.53, MeasuredUMM: 0.55}}, Unverified, "bar 1 "},
		{"one of three is far too long", []Bar{bar(100, 99.9), bar(500, 49.93), bar(80, 79.94)}, Unverified, "bar 2 "},
		{"one of four is wrong", []Bar{bar(100, 99.9), bar(50, 49.93), bar(80, 79.54), bar(120, 119.88)}, Unverified, "bar 3 "},
	} {
		c, err := Fit(row.bars, Options{})
		if err != nil {
			t.Fatalf("%s: %v", row.name, err)
		}
		if c.Verdict != row.verdict || !strings.Contains(c.Reason, row.says) {
			t.Errorf("%s: %s (%s), want %s", row.name, c.Verdict, c.Reason, row.verdict)
		}
		if (c.NextStep == "") != (c.Verdict == Verified) {
			t.Errorf("%s: next step %q", row.name, c.NextStep)
		}
	}
	// A wrong bar is not left out; the scatter it causes widens the uncertainty.
	c, err := Fit([]Bar{bar(100, 99.9), bar(50, 49.93), bar(80, 79.54), bar(120, 119.88)}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !(c.U == c.External && c.External > 2*c.Internal) {
		t.Errorf("with a wrong bar u is %g, internal %g, external %g", c.U, c.Internal, c.External)
	}
}

// A bar held out takes no part in the factor, and its length error is what the
// others say of it. Source: the definition; the uncertainty by GUM 5.1.2.
func TestBarHeldOut(t *testing.T) {
	bars := four()
	with, err := Fit(bars[:3], Options{})
	if err != nil {
		t.Fatal(err)
	}
	bars[3].HeldOut = true
	c, err := Fit(bars, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "factor", c.Factor, with.Factor, 0)
	near(t, "factor", c.Factor, 79.99324180, 5e-9) // as the worked example leaves this bar out
	r := c.Readings[3]
	near(t, "length error", r.LengthErrorMM, 50-with.Factor*0.62520, 1e-12)
	near(t, "its u", r.LengthErrorUMM, math.Sqrt(0.02*0.02+math.Pow(with.Factor*2.5e-4, 2)+math.Pow(0.6252*with.Internal, 2)), 1e-12)
	near(t, "residual", r.ResidualMM, r.LengthErrorMM, 1e-12)
	if c.Verdict != Verified {
		t.Errorf("three bars and one held out: %s", c.Verdict)
	}
	// The bar held out is wrong by 0.4 mm: the factor does not move, and it is told.
	bars[3].LengthMM += 0.4
	wrong, err := Fit(bars, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if wrong.Factor != c.Factor || wrong.Verdict != Unverified || wrong.Worst != 3 {
		t.Errorf("a wrong bar held out: factor %v was %v, %s, worst %d", wrong.Factor, c.Factor, wrong.Verdict, wrong.Worst)
	}
	near(t, "length error of the wrong bar", wrong.Readings[3].LengthErrorMM, r.LengthErrorMM+0.4, 1e-12)
	for i := range bars {
		bars[i].HeldOut = true
	}
	if _, err := Fit(bars, Options{}); err == nil || !strings.Contains(err.Error(), "held out") {
		t.Errorf("with every bar held out: %v", err)
	}
}

// A factor within 1 % of a ratio of two units is not used until a person says
// that the lengths were checked.
func TestUnitSlip(t *testing.T) {
	for _, row := range []struct {
		factor float64
		slip   float64 // 0 for none
	}{
		{1, 0}, {1.005, 0}, {5, 0}, {980, 0}, {1000, 1000}, {1009, 1000}, {1011, 0}, {99.2, 100}, {10.05, 10}, {25.5, 25.4},
		{26, 0}, {2.54, 2.54}, {0.001, 0.001}, {0.0994, 0.1}, {0.01, 0.01}, {1 / 25.4, 1 / 25.4}, {0.5, 0}, {304.8, 0},
	} {
		bars := []Bar{
			{LengthMM: 100 * row.factor, LengthUMM: 0.01 * row.factor, MeasuredMM: 100, MeasuredUMM: 0.01},
			{LengthMM: 50 * row.factor, LengthUMM: 0.01 * row.factor, MeasuredMM: 50, MeasuredUMM: 0.01},
			{LengthMM: 80 * row.factor, LengthUMM: 0.01 * row.factor, MeasuredMM: 80, MeasuredUMM: 0.01},
		}
		c, err := Fit(bars, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if (c.Slip != nil) != (row.slip != 0) || c.Slip != nil && math.Abs(c.Slip.Ratio/row.slip-1) > 1e-12 {
			t.Errorf("factor %g: slip %+v, want %g", row.factor, c.Slip, row.slip)
		}
		want := Verified
		if row.slip != 0 {
			want = AsStated
		}
		if c.Verdict != want {
			t.Errorf("factor %g: %s (%s)", row.factor, c.Verdict, c.Reason)
		}
		if c, err = Fit(bars, Options{LengthsChecked: true}); err != nil || c.Slip != nil || c.Verdict != Verified {
			t.Errorf("factor %g with lengths checked: %s, %v", row.factor, c.Verdict, err)
		}
	}
}

// What cannot be a bar is refused by name.
func TestNoBar(t *testing.T) {
	good := Bar{LengthMM: 100, LengthUMM: 0.02, MeasuredMM: 100, MeasuredUMM: 0.02}
	for name, change := range map[string]func(*Bar){
		"stated length": func(b *Bar) { b.LengthMM = 0 },
		"in the scan":   func(b *Bar) { b.MeasuredMM = math.Inf(1) },
		"uncertainties": func(b *Bar) { b.LengthUMM = math.NaN() },
		"0 or more":     func(b *Bar) { b.MeasuredUMM = -1 },
		"exactly":       func(b *Bar) { b.LengthUMM, b.MeasuredUMM = 0, 0 },
		"as calibrated": func(b *Bar) { b.LengthMM = 1e300 },
	} {
		bad := good
		bad.Name = "long one"
		change(&bad)
		if _, err := Fit([]Bar{good, bad}, Options{}); err == nil || !strings.Contains(err.Error(), name) || !strings.Contains(err.Error(), "long one") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Fit(make([]Bar, 1_000_000), Options{}); err == nil || !strings.Contains(err.Error(), "1000000 bars") {
		t.Errorf("a million bars: %v", err)
	}
	if _, err := Fit([]Bar{good}, Options{CommonUMM: math.NaN()}); err == nil {
		t.Error("a common part that is no number is taken")
	}
}

// Short bars, poor bars and bars all one way are told, and change no verdict.
func TestAdvice(t *testing.T) {
	bar := func(u, l float64, along r3.Vec) Bar {
		return Bar{LengthMM: l, LengthUMM: u, MeasuredMM: l, MeasuredUMM: 0.02, Along: along}
	}
	x, y, skew := r3.Vec{X: 2}, r3.Vec{Y: 3}, r3.Vec{X: 1, Y: 0.3}
	for _, row := range []struct {
		name string
		bars []Bar
		want string
	}{
		{"none", nil, ""},
		{"good", []Bar{bar(0.02, 200, x), bar(0.02, 100, y)}, ""},
		{"short", []Bar{bar(0.02, 100, x), bar(0.02, 100, y)}, "bars_short"},
		{"poor", []Bar{bar(0.02, 200, x), bar(0.2, 100, y)}, "bar_uncertain"},
		{"one way", []Bar{bar(0.02, 200, x), bar(0.02, 150, skew), bar(0.02, 150, r3.Scale(-1, x))}, "bars_one_way"},
		{"typed", []Bar{bar(0.02, 200, r3.Vec{}), bar(0.02, 150, r3.Vec{})}, ""},
	} {
		var ids []string
		for _, f := range Advice(row.bars, 220) {
			ids = append(ids, f.ID)
			if f.Reason == "" || f.WayOut == "" {
				t.Errorf("%s: %s says nothing", row.name, f.ID)
			}
		}
		if got := strings.Join(ids, " "); got != row.want {
			t.Errorf("%s: %q, want %q", row.name, got, row.want)
		}
	}
}
