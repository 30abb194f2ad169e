package demo

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// wide is the half length from which a patch's chart stretches much, mm.
const wide = 40

// fineness is the number of nodes of a quadrature: across is Gauss–Legendre
// nodes on each smooth piece of a ray, round is the number of rays.
type fineness struct{ across, round int }

// nodes are Gauss–Legendre nodes and weights on [0, 1].
func nodes(n int) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, 0, 1)
	return x, w
}

// rays adds f over a plane region given by rays: for every angle φ the pieces
// between consecutive breaks(φ), f being smooth on each. Whole turns use the
// trapezoid rule, which converges fast on a period; parts of a turn use Gauss
// nodes. f must hold its own area element. Rays are summed in a fixed order.
func rays(from, to float64, fine fineness, breaks func(phi float64) []float64, f func(r, phi float64) float64) float64 {
	x, w := nodes(fine.across)
	phis, weights := nodes(fine.round)
	if to-from > 2*math.Pi-1e-9 {
		for i := range phis {
			phis[i], weights[i] = float64(i)/float64(fine.round), 1/float64(fine.round)
		}
	}
	one := func(i int) float64 {
		phi := from + (to-from)*phis[i]
		b := breaks(phi)
		var sum float64
		for k := 1; k < len(b); k++ {
			for j := range x {
				sum += w[j] * (b[k] - b[k-1]) * f(b[k-1]+x[j]*(b[k]-b[k-1]), phi)
			}
		}
		return sum * weights[i] * (to - from)
	}
	parts := make([]float64, fine.round)
	_ = mesh.Parallel(context.Background(), fine.round, func(i int) { parts[i] = one(i) })
	var total mesh.Sum
	for _, p := range parts {
		total.Add(p)
	}
	return total.Value()
}

// over integrates f over the patch by the chart's area: f is given the
// direction and the solid angle of a square millimetre of the chart.
func (p *patch) over(fine fineness, f func(d r3.Vec, perMM2 float64) float64) float64 {
	breaks := func(phi float64) []float64 {
		r := p.radius(phi)
		return []float64{0, p.flat * r, r}
	}
	return rays(0, 2*math.Pi, fine, breaks, func(r, phi float64) float64 {
		s, c := math.Sincos(phi)
		d, per := p.from(r*c, r*s)
		return f(d, per) * r
	})
}

// derivative is the derivative of g at 0 by central differences of fourth
// order.
func derivative(g func(t float64) r3.Vec, h float64) r3.Vec {
	near := r3.Sub(g(h), g(-h))
	far := r3.Sub(g(2*h), g(-2*h))
	return r3.Scale(1/(12*h), r3.Sub(r3.Scale(8, near), far))
}

// areaOf is the area of the patch on a surface. The charts of wide patches
// stretch towards their edge: there every piece of a ray is cut in three.
func (p *patch) areaOf(surface func(r3.Vec) r3.Vec, fine fineness) float64 {
	cuts := []float64{0, p.flat, 1}
	if p.rx > wide {
		f, g := p.flat/3, (1-p.flat)/3
		cuts = []float64{0, f, 2 * f, p.flat, p.flat + g, p.flat + 2*g, 1}
	}
	breaks := func(phi float64) []float64 {
		out, r := slices.Clone(cuts), p.radius(phi)
		for i := range out {
			out[i] *= r
		}
		return out
	}
	const h = 2e-3 // mm of the chart
	return rays(0, 2*math.Pi, fine, breaks, func(r, phi float64) float64 {
		s, c := math.Sincos(phi)
		on := func(a, b float64) r3.Vec {
			d, _ := p.from(r*c+a, r*s+b)
			return surface(d)
		}
		da := derivative(func(t float64) r3.Vec { return on(t, 0) }, h)
		db := derivative(func(t float64) r3.Vec { return on(0, t) }, h)
		return r3.Norm(r3.Cross(da, db)) * r
	})
}

// element is the area element of a surface over polar coordinates about the
// break's axis.
func (b *fracture) element(surface func(r3.Vec) r3.Vec) func(theta, phi float64) float64 {
	const h = 3e-5
	return func(theta, phi float64) float64 {
		round := 1 / math.Sin(theta)
		dt := derivative(func(t float64) r3.Vec { return surface(b.direction(theta+t, phi)) }, h)
		df := derivative(func(t float64) r3.Vec { return surface(b.direction(theta, phi+t*round)) }, h)
		return r3.Norm(r3.Cross(dt, df)) / round
	}
}

// polarArea is the area of a part of a surface in those coordinates.
func (b *fracture) polarArea(surface func(r3.Vec) r3.Vec, from, to float64, fine fineness, breaks func(phi float64) []float64) float64 {
	return rays(from, to, fine, breaks, b.element(surface))
}

// seams are the angles φ at which the strip's depth is not analytic: its ends
// and where its full depth begins and ends.
func (s *band) seams() []float64 {
	mid, half := (s.from+s.to)/2, (s.to-s.from)/2
	return []float64{s.from, mid - half*s.flatLong, mid + half*s.flatLong, s.to}
}

// edges are the angles θ at which it is not, in the direction φ.
func (s *band) edges(phi float64) []float64 {
	c, h := s.centre.at(phi), s.wide*s.half.at(phi)
	return []float64{c - h, c - s.flat*h, c + s.flat*h, c + h}
}

// strip is a part of a band: between two angles φ, and between two distances
// from the middle in parts of the half width.
type strip struct {
	*band
	from, to     float64
	inner, outer float64
}

// parts cuts the whole band where its depth is not analytic.
func (s *band) parts() []strip {
	var out []strip
	m := s.seams()
	for i := 1; i < len(m); i++ {
		out = append(out, strip{s, m[i-1], m[i], -1, -s.flat}, strip{s, m[i-1], m[i], -s.flat, s.flat}, strip{s, m[i-1], m[i], s.flat, 1})
	}
	return out
}

func (p strip) breaks(phi float64) []float64 {
	c, h := p.centre.at(phi), p.wide*p.half.at(phi)
	return []float64{c + p.inner*h, c + p.outer*h}
}

// over integrates f by solid angle.
func (p strip) over(fine fineness, f func(d r3.Vec) float64) float64 {
	return rays(p.from, p.to, fine, p.breaks, func(theta, phi float64) float64 {
		return f(p.direction(theta, phi)) * math.Sin(theta)
	})
}

// areaOf is the strip's area on a surface.
func (p strip) areaOf(surface func(r3.Vec) r3.Vec, fine fineness) float64 {
	return p.polarArea(surface, p.from, p.to, fine, p.breaks)
}
