package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// form is the space the specimen is described in: directions d from a point
// inside, radii ρ without unit, and the map that makes them places in
// millimetres. The map is a stretch, then a spread of x by s(z) and of y by
// 1/s(z), then a bend; spread and bend keep volumes, so that its Jacobian
// determinant is the constant Stretch.X·Y·Z.
type form struct {
	Stretch r3.Vec // mm per unit of ρ

	// s(z) = exp(SpreadLow + (SpreadHigh-SpreadLow)·(1+tanh((z-SpreadAt)/SpreadOver))/2)
	SpreadLow, SpreadHigh, SpreadAt, SpreadOver float64
	BendX, BendY                                float64 // x += BendX·z², y += BendY·z²; 1/mm

	// Gauge is homogeneous of degree 1 and comes with its gradient; the base
	// surface is Gauge = 1.
	Gauge func(r3.Vec) (float64, r3.Vec)
}

// det is the Jacobian determinant of the map, mm³ per unit of ρ cubed.
func (f *form) det() float64 { return f.Stretch.X * f.Stretch.Y * f.Stretch.Z }

// spread returns s(z) and its derivative.
func (f *form) spread(z float64) (s, ds float64) {
	if f.SpreadOver == 0 {
		return 1, 0
	}
	half := (f.SpreadHigh - f.SpreadLow) / 2
	t := math.Tanh((z - f.SpreadAt) / f.SpreadOver)
	s = math.Exp(f.SpreadLow + half*(1+t))
	return s, s * half * (1 - t*t) / f.SpreadOver
}

// place is the point at radius rho in direction d, mm.
func (f *form) place(d r3.Vec, rho float64) r3.Vec {
	z := f.Stretch.Z * rho * d.Z
	s, _ := f.spread(z)
	return r3.Vec{
		X: f.Stretch.X*rho*d.X*s + f.BendX*z*z,
		Y: f.Stretch.Y*rho*d.Y/s + f.BendY*z*z,
		Z: z,
	}
}

// polar undoes place: the direction and radius of a point in mm.
func (f *form) polar(p r3.Vec) (d r3.Vec, rho float64) {
	s, _ := f.spread(p.Z)
	q := r3.Vec{
		X: (p.X - f.BendX*p.Z*p.Z) / s / f.Stretch.X,
		Y: (p.Y - f.BendY*p.Z*p.Z) * s / f.Stretch.Y,
		Z: p.Z / f.Stretch.Z,
	}
	rho = r3.Norm(q)
	return r3.Scale(1/rho, q), rho
}

// base is the radius of the base surface in direction d.
func (f *form) base(d r3.Vec) float64 { g, _ := f.Gauge(d); return 1 / g }

// ground is the radius r of the base surface in direction d and how much r³
// grows when that surface moves out by one millimetre along its normal, to
// first order. A term perMM(d)·t(d) of r³ is thus a layer about t mm thick,
// and its volume is exactly the integral of t over the area of the base
// surface: det/3·perMM·dω is that area's element.
func (f *form) ground(d r3.Vec) (r, perMM float64) {
	value, g := f.Gauge(d)
	r = 1 / value
	// The gauge's gradient carried along by the map is the outward normal: it
	// turns with the inverse transpose of the Jacobian.
	z := f.Stretch.Z * r * d.Z
	s, ds := f.spread(z)
	x, y := f.Stretch.X*r*d.X, f.Stretch.Y*r*d.Y
	n := r3.Vec{X: g.X / f.Stretch.X / s, Y: g.Y / f.Stretch.Y * s}
	n.Z = g.Z/f.Stretch.Z - (ds*x+2*f.BendX*z)*n.X - (-ds/(s*s)*y+2*f.BendY*z)*n.Y
	return r, 3 * r * r * r * r3.Norm(n)
}
