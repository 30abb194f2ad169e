package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// fracture is the surface along which a corner broke off: a rough plane, met
// once by every ray towards the corner. The corner is what lies beyond it.
type fracture struct {
	form  *form
	n     r3.Vec // unit normal, towards the corner
	level float64
	rough roughness // mm across the plane

	axis, e1, e2 r3.Vec // polar coordinates of directions about the corner
}

// newFracture is the plane through a place across a direction, roughened;
// middle is a place of the corner, for its axis.
func (f *form) newFracture(through, towards r3.Vec, rough roughness, middle r3.Vec) *fracture {
	b := &fracture{form: f, n: r3.Unit(towards), rough: rough}
	b.level = r3.Dot(b.n, through)
	b.axis, _ = f.polar(middle)
	b.e1, b.e2 = across(b.axis)
	return b
}

// beyond is how far a place lies beyond the break, mm.
func (b *fracture) beyond(p r3.Vec) float64 { return r3.Dot(b.n, p) - b.level - b.rough.at(p) }

// radius is where the ray in direction d meets the break; +Inf if it does not
// as far out as the specimen goes.
func (b *fracture) radius(d r3.Vec) float64 {
	g := func(rho float64) float64 { return b.beyond(b.form.place(d, rho)) }
	const out = 2
	if g(out) <= 0 {
		return math.Inf(1)
	}
	return root(g, 0, out)
}

// root is where g, negative at low and positive at high, is zero: false
// position with the stale end's value halved (the Illinois rule), down to the
// last bits so that differences of it stay smooth.
func root(g func(float64) float64, low, high float64) float64 {
	gl, gh := g(low), g(high)
	for range 80 {
		x := (low*gh - high*gl) / (gh - gl)
		if x <= low || x >= high {
			return x
		}
		switch gx := g(x); {
		case gx == 0:
			return x
		case gx < 0:
			low, gl, gh = x, gx, gh/2
		default:
			high, gh, gl = x, gx, gl/2
		}
	}
	return (low + high) / 2
}

// below is the smaller of v and the cube of the break's radius in direction d.
func (b *fracture) below(d r3.Vec, v float64) float64 {
	if p := b.form.place(d, math.Cbrt(v)); r3.Dot(b.n, p) < b.level-3 || b.beyond(p) <= 0 {
		return v
	}
	r := b.radius(d)
	return r * r * r
}

// polar gives the angle from the corner's axis and the angle round it.
func (b *fracture) polar(d r3.Vec) (theta, phi float64) {
	return math.Acos(max(-1, min(1, r3.Dot(b.axis, d)))), math.Atan2(r3.Dot(b.e2, d), r3.Dot(b.e1, d))
}

// direction undoes polar.
func (b *fracture) direction(theta, phi float64) r3.Vec {
	st, ct := math.Sincos(theta)
	sp, cp := math.Sincos(phi)
	return r3.Add(r3.Scale(ct, b.axis), r3.Add(r3.Scale(st*cp, b.e1), r3.Scale(st*sp, b.e2)))
}

// crease is the angle from the axis at which the break meets the surface whose
// r³ is given, in the direction phi round the axis; by bisection to the last
// bits.
func (b *fracture) crease(cubed func(r3.Vec) float64, phi float64) float64 {
	clear := func(theta float64) bool { // outside the corner
		d := b.direction(theta, phi)
		return b.beyond(b.form.place(d, math.Cbrt(cubed(d)))) < 0
	}
	low, high := 0.0, 0.05
	for high < 1.4 && !clear(high) {
		low, high = high, high+0.025
	}
	for range 52 {
		mid := (low + high) / 2
		if clear(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return (low + high) / 2
}

// fourier is a smooth periodic function of an angle.
type fourier struct {
	mean     float64
	cos, sin []float64 // of 1φ, 2φ …
}

func (f *fourier) at(phi float64) float64 {
	// cos and sin of nφ by turning on, so that two library calls do.
	s1, c1 := math.Sincos(phi)
	s, c := s1, c1
	sum := f.mean
	for i := range f.cos {
		sum += f.cos[i]*c + f.sin[i]*s
		c, s = c*c1-s*s1, s*c1+c*s1
	}
	return sum
}

// fitFourier takes the first terms of the series of g.
func fitFourier(g func(phi float64) float64, terms int) *fourier {
	const n = 256
	f := &fourier{cos: make([]float64, terms), sin: make([]float64, terms)}
	for i := range n {
		phi := 2 * math.Pi * float64(i) / n
		v := g(phi)
		f.mean += v / n
		for k := range terms {
			s, c := math.Sincos(float64(k+1) * phi)
			f.cos[k] += 2 * v * c / n
			f.sin[k] += 2 * v * s / n
		}
	}
	return f
}

// band is a strip along the crease: the places whose angle from the corner's
// axis differs from centre(φ) by less than half(φ), between two angles φ.
type band struct {
	*fracture
	centre, half *fourier
	from, to     float64 // φ, from < to, may pass π
	wide         float64 // multiplies half
	flat         float64 // share of the half width with full depth
	flatLong     float64 // share of the length with full depth
}

// where gives the place across the strip (-1 to 1 inside) and along it.
func (s *band) where(d r3.Vec) (across, along float64) {
	if r3.Dot(s.axis, d) < 0.05 {
		return math.Inf(1), math.Inf(1)
	}
	theta, phi := s.polar(d)
	mid, half := (s.from+s.to)/2, (s.to-s.from)/2
	along = math.Remainder(phi-mid, 2*math.Pi) / half
	if math.Abs(along) >= 1 {
		return math.Inf(1), along
	}
	return (theta - s.centre.at(phi)) / (s.wide * s.half.at(phi)), along
}

// inside says whether d lies in the strip.
func (s *band) inside(d r3.Vec) bool {
	a, l := s.where(d)
	return math.Abs(a) < 1 && math.Abs(l) < 1
}

// layer is 1 along the middle of the strip and 0 from its edge on.
func (s *band) layer(d r3.Vec) float64 {
	a, l := s.where(d)
	if math.Abs(a) >= 1 || math.Abs(l) >= 1 {
		return 0
	}
	return shoulder(a, s.flat) * shoulder(l, s.flatLong)
}

// outline returns about n directions round the strip's edge, counter-clockwise
// seen from outside, evenly spaced in φ along its sides.
func (s *band) outline(n int) []r3.Vec {
	ends := max(3, n/24)
	side := (n - 2*ends) / 2
	var out []r3.Vec
	edge := func(phi, a float64) r3.Vec {
		return s.direction(s.centre.at(phi)+a*s.wide*s.half.at(phi), phi)
	}
	for i := range side { // the outer side, with φ growing
		out = append(out, edge(s.from+(s.to-s.from)*float64(i)/float64(side), 1))
	}
	for i := range ends {
		out = append(out, edge(s.to, 1-2*float64(i)/float64(ends)))
	}
	for i := range side {
		out = append(out, edge(s.to-(s.to-s.from)*float64(i)/float64(side), -1))
	}
	for i := range ends {
		out = append(out, edge(s.from, -1+2*float64(i)/float64(ends)))
	}
	return out
}
