package colour

import "math"

// XYZ is a colour in CIE 1931 XYZ, Y = 1 for white.
type XYZ struct{ X, Y, Z float64 }

// Lab is a colour in CIE 1976 L*a*b* under D65: L from 0 to 100.
type Lab struct{ L, A, B float64 }

// XYZ converts with the matrix of IEC 61966-2-1.
func (c Linear) XYZ() XYZ {
	return XYZ{
		0.4124564*c.R + 0.3575761*c.G + 0.1804375*c.B,
		0.2126729*c.R + 0.7151522*c.G + 0.0721750*c.B,
		0.0193339*c.R + 0.1191920*c.G + 0.9503041*c.B,
	}
}

// white is D65 as the matrix above gives it, so that grey has a = b = 0.
var white = Linear{1, 1, 1}.XYZ()

// Lab converts to L*a*b* (CIE 15).
func (c XYZ) Lab() Lab {
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x, y, z := f(c.X/white.X), f(c.Y/white.Y), f(c.Z/white.Z)
	return Lab{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

// Lab converts linear sRGB to L*a*b*.
func (c Linear) Lab() Lab { return c.XYZ().Lab() }

// LabOf returns the L*a*b* of 8-bit sRGB.
func LabOf(r, g, b uint8) Lab { return FromRGB(r, g, b).Lab() }

// Difference is the colour difference ΔE00 (CIEDE2000) of two colours, with
// all weights 1; about 1 is just visible. Formula and implementation notes:
// Sharma, Wu and Dalal, Color Res. Appl. 30(1) 21-30, 2005.
func Difference(a, b Lab) float64 { return WeightedDifference(a, b, 1) }

// WeightedDifference is ΔE00 with the lightness term divided by kL: kL = 2
// lets shading that is baked into a scan's texture count half.
func WeightedDifference(p, q Lab, kL float64) float64 {
	const pow7of25 = 6103515625.0
	pow7 := func(x float64) float64 { x2 := x * x; return x2 * x2 * x2 * x }
	sin := func(deg float64) float64 { return math.Sin(deg * math.Pi / 180) }
	cos := func(deg float64) float64 { return math.Cos(deg * math.Pi / 180) }

	meanC7 := pow7((math.Hypot(p.A, p.B) + math.Hypot(q.A, q.B)) / 2)
	g := 0.5 * (1 - math.Sqrt(meanC7/(meanC7+pow7of25)))
	a1, a2 := (1+g)*p.A, (1+g)*q.A
	c1, c2 := math.Hypot(a1, p.B), math.Hypot(a2, q.B)
	h1, h2 := hue(a1, p.B), hue(a2, q.B)

	// Hue difference and mean hue on the circle; without chroma there is no hue.
	dh, meanH := 0.0, h1+h2
	if c1*c2 != 0 {
		dh = h2 - h1
		switch {
		case dh > 180:
			dh -= 360
		case dh < -180:
			dh += 360
		}
		switch {
		case math.Abs(h1-h2) <= 180:
			meanH = (h1 + h2) / 2
		case h1+h2 < 360:
			meanH = (h1 + h2 + 360) / 2
		default:
			meanH = (h1 + h2 - 360) / 2
		}
	}
	dL, dC := q.L-p.L, c2-c1
	dH := 2 * math.Sqrt(c1*c2) * sin(dh/2)

	meanL, meanC := (p.L+q.L)/2, (c1+c2)/2
	t := 1 - 0.17*cos(meanH-30) + 0.24*cos(2*meanH) + 0.32*cos(3*meanH+6) - 0.20*cos(4*meanH-63)
	turn := 30 * math.Exp(-math.Pow((meanH-275)/25, 2))
	c7 := pow7(meanC)
	rc := 2 * math.Sqrt(c7/(c7+pow7of25))
	l50 := (meanL - 50) * (meanL - 50)
	sl := 1 + 0.015*l50/math.Sqrt(20+l50)
	sc := 1 + 0.045*meanC
	sh := 1 + 0.015*meanC*t
	rt := -sin(2*turn) * rc

	l, c, h := dL/(kL*sl), dC/sc, dH/sh
	return math.Sqrt(l*l + c*c + h*h + rt*c*h)
}

// hue is the hue angle in degrees, 0 to 360; 0 for grey.
func hue(a, b float64) float64 {
	if a == 0 && b == 0 {
		return 0
	}
	h := math.Atan2(b, a) * 180 / math.Pi
	if h < 0 {
		h += 360
	}
	return h
}

// FromLab undoes Linear.Lab: L*a*b* under D65 to linear sRGB, whose components
// lie outside 0 to 1 where the colour is outside the gamut (CIE 15).
func FromLab(c Lab) Linear {
	y := (c.L + 16) / 116
	undo := func(t float64) float64 {
		if t*t*t > 216.0/24389 {
			return t * t * t
		}
		return (116*t - 16) * 27 / 24389
	}
	x, yy, z := white.X*undo(y+c.A/500), white.Y*undo(y), white.Z*undo(y-c.B/200)
	return Linear{
		3.2404542*x - 1.5371385*yy - 0.4985314*z,
		-0.9692660*x + 1.8760108*yy + 0.0415560*z,
		0.0556434*x - 0.2040259*yy + 1.0572252*z,
	}
}
