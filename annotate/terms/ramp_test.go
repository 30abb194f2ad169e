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
