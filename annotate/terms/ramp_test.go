package terms

import (
	"image/color"
	"math"
	"testing"
)

// The seven colours that the design states of each ramp, at equal steps.
var statedRamps = []struct {
	name   string
	ramp   *Ramp
	points [256][3]float64
	steps  [7]string
	ratio  float64 // of the largest to the smallest of the 255 steps
}{
	{"removed", RemovedRamp(), rampPoints(250, 0.055, 0.135), [7]string{"#BAD8F8", "#95C0EE", "#6FA7E1", "#4B8ED1", "#2976BC", "#055EA2", "#014981"}, 1.12},
	{"added", AddedRamp(), rampPoints(52, 0.06, 0.135), [7]string{"#F5CAB1", "#E7AD8A", "#D68F62", "#C3723C", "#AC5714", "#8F4401", "#713401"}, 1.13},
}

func TestRampColours(t *testing.T) {
	for _, r := range statedRamps {
		for i, want := range r.steps {
			got, w := r.ramp[int(math.Round(float64(i)*255/6))], hex(want)
			if d := maxDiff(got, w); d > 2 {
				t.Errorf("%s at %d/6 is %v, stated %s", r.name, i, got, want)
			}
		}
	}
}

func TestRampSteps(t *testing.T) {
	for _, r := range statedRamps {
		// The six stated steps lie between 0.075 and 0.083 in OKLab.
		for i := range 6 {
			a, b := oklab(r.ramp[int(math.Round(float64(i)*255/6))]), oklab(r.ramp[int(math.Round(float64(i+1)*255/6))])
			if d := distance(a, b); d < 0.074 || d > 0.084 {
				t.Errorf("%s: step %d is %.4f", r.name, i+1, d)
			}
		}
		// Neighbours differ by 0.0018, about one 8-bit code, so that evenness is
		// a matter of the colours before they are coded.
		lo, hi := math.Inf(1), 0.0
		for i := 1; i < len(r.points); i++ {
			d := distance(r.points[i-1], r.points[i])
			lo, hi = min(lo, d), max(hi, d)
		}
		if hi/lo > r.ratio+0.01 {
			t.Errorf("%s: largest step over smallest is %.3f, stated %.2f", r.name, hi/lo, r.ratio)
		}
		// Depth reads in grey: luminance falls all the way.
		for i := 1; i < len(r.ramp); i++ {
			if luminance(r.ramp[i]) > luminance(r.ramp[i-1])+1e-3 {
				t.Errorf("%s is lighter at %d than before", r.name, i)
			}
		}
	}
	// Colour begins with a visible edge against the grey of no change.
	for _, r := range statedRamps {
		if d := distance(oklab(Unchanged), oklab(r.ramp[0])); d < 0.10 {
			t.Errorf("%s begins only %.3f from grey", r.name, d)
		}
	}
}

// Full protan and deutan vision after Machado, Oliveira and Fernandes (IEEE
// Trans. Vis. Comput. Graph. 15(6), 2009; matrices from memory), on linear
// sRGB.
var dichromats = map[string][9]float64{
	"protan": {0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998},
	"deutan": {0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.011820, 0.042940, 0.968881},
}

func seenBy(m [9]float64, c color.RGBA) color.RGBA {
	lin := func(b uint8) float64 {
		x := float64(b) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	r, g, b := lin(c.R), lin(c.G), lin(c.B)
	return color.RGBA{
		code(m[0]*r + m[1]*g + m[2]*b), code(m[3]*r + m[4]*g + m[5]*b), code(m[6]*r + m[7]*g + m[8]*b), 255,
	}
}

// With red-green blindness no two papers fall together (original and
// original_abraded share one), though some come so near that the pattern must
// carry the meaning: the nearest pair lies 0.061 apart for deutan and 0.036 for
// protan vision, as the design states. The two signs of change stay 0.2 apart,
// while in grey they are equal: so sign has lines of its own.
func TestColoursUnderRedGreenBlindness(t *testing.T) {
	for name, want := range map[string]float64{"deutan": 0.061, "protan": 0.036} {
		m := dichromats[name]
		nearest, pair := math.Inf(1), ""
		papers := All(Substance)
		for i, a := range papers {
			for _, b := range papers[:i] {
				if a.Look.Paper == b.Look.Paper {
					continue
				}
				if d := distance(oklab(seenBy(m, a.Look.Paper)), oklab(seenBy(m, b.Look.Paper))); d < nearest {
					nearest, pair = d, b.ID+" "+a.ID
				}
			}
		}
		if math.Abs(nearest-want) > 0.003 || pair != "matrix unassigned" {
			t.Errorf("%s: nearest are %s, %.3f apart; stated matrix and unassigned, %.3f", name, pair, nearest, want)
		}
		if d := distance(oklab(seenBy(m, RemovedRamp()[128])), oklab(seenBy(m, AddedRamp()[128]))); d < 0.2 {
			t.Errorf("%s: removed and added lie %.3f apart", name, d)
		}
	}
	if d := math.Abs(luminance(RemovedRamp()[128]) - luminance(AddedRamp()[128])); d > 0.03 {
		t.Errorf("in grey removed and added differ by %.3f", d)
	}
}

func maxDiff(a, b color.RGBA) int {
	d := func(x, y uint8) int { return max(int(x)-int(y), int(y)-int(x)) }
	return max(d(a.R, b.R), d(a.G, b.G), d(a.B, b.B))
}

// oklab converts the other way than the program does, with Ottosson's forward
// matrices.
func oklab(c color.RGBA) [3]float64 {
	lin := func(b uint8) float64 {
		x := float64(b) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	r, g, b := lin(c.R), lin(c.G), lin(c.B)
	l := math.Cbrt(0.4122214708*r + 0.5363325363*g + 0.0514459929*b)
	m := math.Cbrt(0.2119034982*r + 0.6806995451*g + 0.1073969566*b)
	s := math.Cbrt(0.0883024619*r + 0.2817188376*g + 0.6299787005*b)
	return [3]float64{
		0.2104542553*l + 0.7936177850*m - 0.0040720468*s,
		1.9779984951*l - 2.4285922050*m + 0.4505937099*s,
		0.0259040371*l + 0.7827717662*m - 0.8086757660*s,
	}
}

func distance(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}
