package colour

import (
	"image/color"
	"math"
)

// Linear is a colour in linear light with the primaries of sRGB.
type Linear struct{ R, G, B float64 }

// ToLinear undoes the transfer curve of sRGB for one component
// (IEC 61966-2-1).
func ToLinear(coded float64) float64 {
	if coded <= 0.04045 {
		return coded / 12.92
	}
	return math.Pow((coded+0.055)/1.055, 2.4)
}

// ToCoded applies the transfer curve of sRGB to one linear component.
func ToCoded(linear float64) float64 {
	if linear <= 0.0031308 {
		return 12.92 * linear
	}
	return 1.055*math.Pow(linear, 1/2.4) - 0.055
}

// FromRGB returns the linear colour of 8-bit sRGB.
func FromRGB(r, g, b uint8) Linear { return Linear{byteToLinear[r], byteToLinear[g], byteToLinear[b]} }

// byteToLinear is ToLinear of every 8-bit code.
var byteToLinear = func() (t [256]float64) {
	for i := range t {
		t[i] = ToLinear(float64(i) / 255)
	}
	return t
}()

// RGBA8 returns the nearest opaque 8-bit sRGB colour; components outside the
// gamut are clipped.
func (c Linear) RGBA8() color.RGBA {
	code := func(x float64) uint8 { return uint8(math.Round(255 * min(max(ToCoded(x), 0), 1))) }
	return color.RGBA{code(c.R), code(c.G), code(c.B), 255}
}

// Luminance is the relative luminance Y of linear sRGB (ITU-R BT.709
// weights), as WCAG 2 uses it.
func (c Linear) Luminance() float64 { return 0.2126*c.R + 0.7152*c.G + 0.0722*c.B }

// Contrast is the contrast ratio of WCAG 2: from 1 to 21.
func Contrast(a, b Linear) float64 {
	x, y := a.Luminance(), b.Luminance()
	if x < y {
		x, y = y, x
	}
	return (x + 0.05) / (y + 0.05)
}
