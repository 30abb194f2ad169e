package terms

import (
	"image/color"
	"math"
	"sync"
)

// Ramp is a scale of change for one sign: entry 0 stands at the smallest
// change that a pair of scans can show, entry 255 at the full scale.
type Ramp [256]color.RGBA

// RemovedRamp is blue, from light to dark.
func RemovedRamp() *Ramp { return removedRamp() }

// AddedRamp is brown, from light to dark.
func AddedRamp() *Ramp { return addedRamp() }

var (
	removedRamp = sync.OnceValue(func() *Ramp { return newRamp(250, 0.055, 0.135) })
	addedRamp   = sync.OnceValue(func() *Ramp { return newRamp(52, 0.06, 0.135) })
)

// newRamp codes the colours of rampPoints for the screen.
func newRamp(hue, c0, c1 float64) *Ramp {
	ramp := new(Ramp)
	for k, p := range rampPoints(hue, c0, c1) {
		rgb := oklabToLinear(p[0], p[1], p[2])
		ramp[k] = color.RGBA{code(rgb[0]), code(rgb[1]), code(rgb[2]), 255}
	}
	return ramp
}

// rampPoints runs through OKLCH (Ottosson 2020) at one hue in degrees:
// lightness falls evenly from 0.87 to 0.40, so that depth reads in grey; chroma
// bulges from c0 towards c1; colours outside sRGB lose chroma in steps of 2 %.
// The curve, drawn with 256 chords, is then taken at equal lengths along it, so
// that equal steps of change look equal. The result is in OKLab.
func rampPoints(hue, c0, c1 float64) (out [256][3]float64) {
	const chords = 256
	sin, cos := math.Sincos(hue * math.Pi / 180)
	var points [chords + 1][3]float64
	var along [chords + 1]float64
	for i := range points {
		t := float64(i) / chords
		l, c := 0.87+(0.40-0.87)*t, c0+(c1-c0)*math.Sin(0.62*math.Pi*t)
		for !inGamut(oklabToLinear(l, c*cos, c*sin)) {
			c *= 0.98
		}
		points[i] = [3]float64{l, c * cos, c * sin}
		if i > 0 {
			p, q := points[i-1], points[i]
			along[i] = along[i-1] + math.Sqrt((p[0]-q[0])*(p[0]-q[0])+(p[1]-q[1])*(p[1]-q[1])+(p[2]-q[2])*(p[2]-q[2]))
		}
	}
	i := 0
	for k := range out {
		want := along[chords] * float64(k) / 255
		for i < chords-1 && along[i+1] < want {
			i++
		}
		f := (want - along[i]) / (along[i+1] - along[i])
		p, q := points[i], points[i+1]
		for j := range p {
			out[k][j] = p[j] + f*(q[j]-p[j])
		}
	}
	return out
}

// oklabToLinear converts OKLab to linear sRGB with Ottosson's matrices.
func oklabToLinear(l, a, b float64) [3]float64 {
	cube := func(x float64) float64 { return x * x * x }
	x := cube(l + 0.3963377774*a + 0.2158037573*b)
	y := cube(l - 0.1055613458*a - 0.0638541728*b)
	z := cube(l - 0.0894841775*a - 1.2914855480*b)
	return [3]float64{
		4.0767416621*x - 3.3077115913*y + 0.2309699292*z,
		-1.2684380046*x + 2.6097574011*y - 0.3413193965*z,
		-0.0041960863*x - 0.7034186147*y + 1.7076147010*z,
	}
}

func inGamut(c [3]float64) bool {
	for _, x := range c {
		if x < 0 || x > 1 {
			return false
		}
	}
	return true
}

// code is the nearest 8-bit sRGB code (IEC 61966-2-1).
func code(x float64) uint8 {
	x = min(max(x, 0), 1)
	if x <= 0.0031308 {
		x *= 12.92
	} else {
		x = 1.055*math.Pow(x, 1/2.4) - 0.055
	}
	return uint8(math.Round(255 * x))
}
