package colour

import "math"

// OKLab is a colour in Ottosson's OKLab (2020), in which equal steps look
// about equal; L runs from 0 to 1.
type OKLab struct{ L, A, B float64 }

// OKLab converts linear sRGB. Matrices as Ottosson gives them for sRGB.
func (c Linear) OKLab() OKLab {
	return fromCones(
		0.4122214708*c.R+0.5363325363*c.G+0.0514459929*c.B,
		0.2119034982*c.R+0.6806995451*c.G+0.1073969566*c.B,
		0.0883024619*c.R+0.2817188376*c.G+0.6299787005*c.B,
	)
}

// OKLab converts XYZ (D65).
func (c XYZ) OKLab() OKLab {
	return fromCones(
		0.8189330101*c.X+0.3618667424*c.Y-0.1288597137*c.Z,
		0.0329845436*c.X+0.9293118715*c.Y+0.0361456387*c.Z,
		0.0482003018*c.X+0.2643662691*c.Y+0.6338517070*c.Z,
	)
}

func fromCones(l, m, s float64) OKLab {
	l, m, s = math.Cbrt(l), math.Cbrt(m), math.Cbrt(s)
	return OKLab{
		0.2104542553*l + 0.7936177850*m - 0.0040720468*s,
		1.9779984951*l - 2.4285922050*m + 0.4505937099*s,
		0.0259040371*l + 0.7827717662*m - 0.8086757660*s,
	}
}

// Linear converts to linear sRGB; components outside 0 to 1 are outside the
// gamut.
func (c OKLab) Linear() Linear {
	cube := func(x float64) float64 { return x * x * x }
	l := cube(c.L + 0.3963377774*c.A + 0.2158037573*c.B)
	m := cube(c.L - 0.1055613458*c.A - 0.0638541728*c.B)
	s := cube(c.L - 0.0894841775*c.A - 1.2914855480*c.B)
	return Linear{
		4.0767416621*l - 3.3077115913*m + 0.2309699292*s,
		-1.2684380046*l + 2.6097574011*m - 0.3413193965*s,
		-0.0041960863*l - 0.7034186147*m + 1.7076147010*s,
	}
}

// Distance is the distance of two colours in OKLab.
func (c OKLab) Distance(d OKLab) float64 {
	return math.Sqrt((c.L-d.L)*(c.L-d.L) + (c.A-d.A)*(c.A-d.A) + (c.B-d.B)*(c.B-d.B))
}
