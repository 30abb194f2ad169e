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

// chart lays the neighbourhood of a direction flat, in millimetres that are
// right at its middle: the central projection of directions on to the plane
// across the middle one, followed by the linear map that makes the base
// surface's own metric there the identity.
type chart struct {
	n, e1, e2 r3.Vec     // middle, and two directions across it
	g, inv    [4]float64 // plane coordinates to mm, and back; row-major
	det       float64    // mm² per unit of the plane
}

// newChart makes the chart about the direction n; its first axis is the one on
// the surface that points most nearly to `along` (a direction in mm space).
func (f *form) newChart(n, along r3.Vec) *chart {
	c := &chart{n: r3.Unit(n)}
	c.e1, c.e2 = across(c.n)
	step := func(e r3.Vec) r3.Vec {
		return derivative(func(t float64) r3.Vec {
			d := r3.Unit(r3.Add(c.n, r3.Scale(t, e)))
			return f.place(d, f.base(d))
		}, 1e-3)
	}
	pu, pv := step(c.e1), step(c.e2)
	normal := r3.Unit(r3.Cross(pu, pv))
	a := r3.Unit(r3.Sub(along, r3.Scale(r3.Dot(along, normal), normal)))
	b := r3.Cross(normal, a)
	c.g = [4]float64{r3.Dot(a, pu), r3.Dot(a, pv), r3.Dot(b, pu), r3.Dot(b, pv)}
	c.det = c.g[0]*c.g[3] - c.g[1]*c.g[2]
	c.inv = [4]float64{c.g[3] / c.det, -c.g[1] / c.det, -c.g[2] / c.det, c.g[0] / c.det}
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

// to gives the mm coordinates of direction d; ok is false on the far side.
func (c *chart) to(d r3.Vec) (a, b float64, ok bool) {
	w := r3.Dot(c.n, d)
	if w < 0.15 {
		return 0, 0, false
	}
	u, v := r3.Dot(c.e1, d)/w, r3.Dot(c.e2, d)/w
	return c.g[0]*u + c.g[1]*v, c.g[2]*u + c.g[3]*v, true
}

// from gives the direction of mm coordinates, and how much solid angle a
// square millimetre of the chart is there.
func (c *chart) from(a, b float64) (d r3.Vec, perMM2 float64) {
	u, v := c.inv[0]*a+c.inv[1]*b, c.inv[2]*a+c.inv[3]*b
	q := 1 + u*u + v*v
	d = r3.Scale(1/math.Sqrt(q), r3.Add(c.n, r3.Add(r3.Scale(u, c.e1), r3.Scale(v, c.e2))))
	return d, 1 / (math.Abs(c.det) * q * math.Sqrt(q))
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
	r := math.Hypot(a, b)
	if r > 1.6*max(p.rx, p.ry) {
		return math.Inf(1)
	}
	return r / p.radius(math.Atan2(b, a))
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
