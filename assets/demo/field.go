package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// shoulder is the cross-section of every layer: 1 for |x| <= flat, 0 from 1 on,
// between them a quintic with two continuous derivatives at both ends.
func shoulder(x, flat float64) float64 {
	x = math.Abs(x)
	switch {
	case x <= flat:
		return 1
	case x >= 1:
		return 0
	}
	u := (1 - x) / (1 - flat)
	return u * u * u * (10 - 15*u + 6*u*u)
}

// wave is amplitude·cos(k·p + phase) of a place p in mm.
type wave struct {
	amplitude, phase float64
	k                r3.Vec // radians per mm
}

// roughness is a sum of waves.
type roughness []wave

func (r roughness) at(p r3.Vec) float64 {
	var sum float64
	for i := range r {
		w := &r[i]
		sum += w.amplitude * math.Cos(r3.Dot(w.k, p)+w.phase)
	}
	return sum
}

// newRoughness makes n waves of wavelengths between long and short, evenly
// spaced in their logarithm, in random directions. The amplitude goes with the
// wavelength to the given power; together they have the root mean square rms.
func newRoughness(n int, long, short, power, rms float64, random *splitmix) roughness {
	out := make(roughness, n)
	var square float64
	for i := range out {
		l := long * math.Pow(short/long, float64(i)/float64(n-1))
		out[i] = wave{math.Pow(l, power), 2 * math.Pi * random.uniform(), r3.Scale(2*math.Pi/l, random.direction())}
		square += out[i].amplitude * out[i].amplitude / 2
	}
	for i := range out {
		out[i].amplitude *= rms / math.Sqrt(square)
	}
	return out
}

// chart lays the neighbourhood of a place of the base surface flat, in
// millimetres: along the rays on to the plane that touches the surface there.
type chart struct {
	form      *form
	at        r3.Vec  // the place, mm
	n, e1, e2 r3.Vec  // the plane's unit normal and axes
	d         r3.Vec  // the place's direction
	near      float64 // directions with a smaller cosine to d are not looked at
	start     float64 // the place's radius
}

// newChart makes the chart about direction d; its first axis is the one of the
// plane that points most nearly to along.
func (f *form) newChart(d, along r3.Vec) *chart {
	r := f.base(d)
	c := &chart{form: f, at: f.place(d, r), d: d, start: r}
	e1, e2 := across(d)
	step := func(e r3.Vec) r3.Vec {
		return derivative(func(t float64) r3.Vec {
			q := r3.Unit(r3.Add(d, r3.Scale(t, e)))
			return f.place(q, f.base(q))
		}, 1e-3)
	}
	c.n = r3.Unit(r3.Cross(step(e1), step(e2)))
	c.e1 = r3.Unit(r3.Sub(along, r3.Scale(r3.Dot(along, c.n), c.n)))
	c.e2 = r3.Cross(c.n, c.e1)
	return c
}

// across returns two unit vectors that make a right-handed frame with n.
func across(n r3.Vec) (e1, e2 r3.Vec) {
	a := r3.Vec{Z: 1}
	if math.Abs(n.Z) > 0.9 {
		a = r3.Vec{X: 1}
	}
	e1 = r3.Unit(r3.Cross(a, n))
	return e1, r3.Cross(n, e1)
}

// to gives the mm coordinates of direction d; ok is false for directions that
// do not meet the plane, or not near enough.
func (c *chart) to(d r3.Vec) (a, b float64, ok bool) {
	if r3.Dot(c.d, d) < c.near {
		return 0, 0, false
	}
	// Newton from the radius of the middle; rays meet the plane once.
	level := r3.Dot(c.n, c.at)
	rho := c.start
	for range 50 {
		p := c.form.place(d, rho)
		off := r3.Dot(c.n, p) - level
		slope := r3.Dot(c.n, c.form.ray(d, rho))
		if slope <= 0 {
			return 0, 0, false
		}
		step := off / slope
		rho -= max(-0.5*rho, min(0.5*rho, step))
		if rho > 10 {
			return 0, 0, false
		}
		if math.Abs(step) < 1e-13*rho {
			break
		}
	}
	q := r3.Sub(c.form.place(d, rho), c.at)
	return r3.Dot(c.e1, q), r3.Dot(c.e2, q), true
}

// from gives the direction of mm coordinates, and how much solid angle a
// square millimetre of the chart is there: a layer of the plane has the volume
// det·ρ²·dρ·dω.
func (c *chart) from(a, b float64) (d r3.Vec, perMM2 float64) {
	d, rho := c.form.polar(r3.Add(c.at, r3.Add(r3.Scale(a, c.e1), r3.Scale(b, c.e2))))
	return d, r3.Dot(c.n, c.form.ray(d, rho)) / (c.form.det() * rho * rho)
}

// patch is a place on the specimen with a wavy outline, described in a chart:
// inside is where the distance from the middle is below radius(φ).
type patch struct {
	*chart
	rx, ry   float64 // half lengths along the chart's axes, mm
	wobble   [4]float64
	wobblePh [4]float64
	flat     float64 // share of the radius over which a layer has full thickness
}

// radius of the outline in the chart direction φ, mm.
func (p *patch) radius(phi float64) float64 {
	s, c := math.Sincos(phi)
	r := 1 / math.Hypot(c/p.rx, s/p.ry)
	w := 1.0
	for i, a := range p.wobble {
		w += a * math.Cos(float64(i+2)*phi+p.wobblePh[i])
	}
	return r * w
}

// where is the distance of direction d from the patch's middle in parts of the
// outline's radius: below 1 inside.
func (p *patch) where(d r3.Vec) float64 {
	a, b, ok := p.to(d)
	if !ok {
		return math.Inf(1)
	}
	return math.Hypot(a, b) / p.radius(math.Atan2(b, a))
}

// reach sets how far from its middle the patch is looked for.
func (p *patch) reach() {
	p.near = -1
	near := 1.0
	for _, d := range p.outline(64) {
		near = min(near, r3.Dot(p.d, d))
	}
	p.near = math.Cos(1.3 * math.Acos(near))
}

// layer is 1 well inside the patch and 0 outside, smooth between.
func (p *patch) layer(d r3.Vec) float64 { return shoulder(p.where(d), p.flat) }

// outline returns n directions round the patch's edge, counter-clockwise seen
// from outside.
func (p *patch) outline(n int) []r3.Vec {
	out := make([]r3.Vec, n)
	for i := range out {
		phi := 2 * math.Pi * float64(i) / float64(n)
		s, c := math.Sincos(phi)
		r := p.radius(phi)
		out[i], _ = p.from(r*c, r*s)
	}
	return out
}
