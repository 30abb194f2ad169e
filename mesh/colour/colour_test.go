package colour

import (
	"math"
	"testing"
)

// The 34 pairs that Sharma, Wu and Dalal publish for checking an
// implementation (Color Res. Appl. 30(1) 21-30, 2005, table 1), to four
// decimals: L a b of both colours and ΔE00.
var sharma = [34][7]float64{
	{50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425},
	{50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615},
	{50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412},
	{50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000},
	{50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000},
	{50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000},
	{50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669},
	{50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669},
	{50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792},
	{50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792},
	{50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195},
	{50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195},
	{50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045},
	{50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045},
	{50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461},
	{50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065},
	{50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492},
	{50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977},
	{50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030},
	{50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535},
	{50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000},
	{50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000},
	{50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000},
	{50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000},
	{60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644},
	{63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630},
	{61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731},
	{35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645},
	{22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373},
	{36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146},
	{90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441},
	{90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381},
	{6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377},
	{2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082},
}

func TestDifferencePairs(t *testing.T) {
	for i, r := range sharma {
		p, q := Lab{r[0], r[1], r[2]}, Lab{r[3], r[4], r[5]}
		if d := Difference(p, q); math.Abs(d-r[6]) > 1e-4 {
			t.Errorf("pair %d: %.4f, published %.4f", i+1, d, r[6])
		}
		if a, b := Difference(p, q), Difference(q, p); math.Abs(a-b) > 1e-12 {
			t.Errorf("pair %d: not symmetric: %g and %g", i+1, a, b)
		}
	}
}

// With kL the lightness term alone shrinks: for two greys ΔE is that term.
func TestWeightedLightness(t *testing.T) {
	p, q := Lab{50, 0, 0}, Lab{60, 0, 0}
	if a, b := Difference(p, q), WeightedDifference(p, q, 2); math.Abs(a-2*b) > 1e-12 {
		t.Errorf("kL 2 gives %g of %g, want half", b, a)
	}
}

// IEC 61966-2-1: the transfer curve meets itself at its corner, every 8-bit
// code comes back, and mid grey 0.5 coded is 0.21404 linear.
func TestTransferCurve(t *testing.T) {
	if x := ToLinear(0.5); math.Abs(x-0.2140411) > 1e-7 {
		t.Errorf("0.5 coded is %.7f linear", x)
	}
	for i := range 256 {
		c := FromRGB(uint8(i), uint8(i), uint8(i)).RGBA8()
		if int(c.R) != i || int(c.G) != i || int(c.B) != i || c.A != 255 {
			t.Errorf("code %d comes back as %v", i, c)
		}
	}
	if a, b := ToCoded(0.0031308), 12.92*0.0031308; math.Abs(a-b) > 1e-9 {
		t.Errorf("the curve jumps by %g at its corner", a-b)
	}
}

// L*a*b* of the sRGB primaries under D65, to two decimals as B. Lindbloom's
// calculator gives them (values from memory).
func TestLabOfPrimaries(t *testing.T) {
	for _, r := range []struct {
		r, g, b uint8
		want    Lab
	}{
		{255, 0, 0, Lab{53.24, 80.09, 67.20}},
		{0, 255, 0, Lab{87.73, -86.18, 83.18}},
		{0, 0, 255, Lab{32.30, 79.19, -107.86}},
		{255, 255, 255, Lab{100, 0, 0}},
		{0, 0, 0, Lab{0, 0, 0}},
	} {
		g := LabOf(r.r, r.g, r.b)
		if math.Abs(g.L-r.want.L) > 0.02 || math.Abs(g.A-r.want.A) > 0.02 || math.Abs(g.B-r.want.B) > 0.02 {
			t.Errorf("%d %d %d is %.3f, want %.2f", r.r, r.g, r.b, g, r.want)
		}
	}
}

// Ottosson's own check table (bottosson.github.io/posts/oklab, values from
// memory), XYZ to OKLab to three decimals.
func TestOKLabTable(t *testing.T) {
	for _, r := range []struct {
		in   XYZ
		want OKLab
	}{
		{XYZ{0.950, 1, 1.089}, OKLab{1, 0, 0}},
		{XYZ{1, 0, 0}, OKLab{0.450, 1.236, -0.019}},
		{XYZ{0, 1, 0}, OKLab{0.922, -0.671, 0.263}},
		{XYZ{0, 0, 1}, OKLab{0.153, -1.415, -0.449}},
	} {
		if d := r.in.OKLab().Distance(r.want); d > 0.0012 {
			t.Errorf("%v gives %.4f, want %.3f", r.in, r.in.OKLab(), r.want)
		}
	}
	for _, c := range []Linear{{0.2, 0.5, 0.9}, {1, 0, 0}, {0.01, 0.02, 0}} {
		b := c.OKLab().Linear()
		if math.Abs(b.R-c.R)+math.Abs(b.G-c.G)+math.Abs(b.B-c.B) > 1e-6 {
			t.Errorf("%v comes back as %v", c, b)
		}
		// Both routes to OKLab agree as far as their rounded matrices do.
		if d := c.OKLab().Distance(c.XYZ().OKLab()); d > 5e-4 {
			t.Errorf("%v: the routes differ by %g", c, d)
		}
	}
}

// WCAG 2: black on white is 21, a colour on itself 1.
func TestContrast(t *testing.T) {
	if c := Contrast(FromRGB(0, 0, 0), FromRGB(255, 255, 255)); math.Abs(c-21) > 1e-9 {
		t.Errorf("black on white %g", c)
	}
	// #777777 on white is 4.48, the well-known shade that just fails 4.5.
	if c := Contrast(FromRGB(255, 255, 255), FromRGB(0x77, 0x77, 0x77)); math.Abs(c-4.48) > 0.005 {
		t.Errorf("#777777 on white %.3f", c)
	}
}

// Every corner of the sRGB cube and a grey come back from L*a*b* to the rounding
// of the two matrices, which IEC 61966-2-1 and its inverse give to seven digits.
func TestLabAndBack(t *testing.T) {
	for i := range 9 {
		c := Linear{float64(i & 1), float64(i >> 1 & 1), float64(i >> 2 & 1)}
		if i == 8 {
			c = Linear{0.002, 0.002, 0.002} // on the straight part of the curve
		}
		d := FromLab(c.Lab())
		for _, x := range []float64{d.R - c.R, d.G - c.G, d.B - c.B} {
			if math.Abs(x) > 2e-6 {
				t.Errorf("%v comes back as %v", c, d)
			}
		}
	}
}
