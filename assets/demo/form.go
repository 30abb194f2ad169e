package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// form is the space the specimen is described in: directions d from a point
// inside, radii ρ without unit, and the map that makes them places in
// millimetres. The map keeps volumes up to the constant det. It is
//   - a stretch,
//   - a flare: z becomes L·atan(z/L), and x and y grow by √(1+(z/L)²), so that
//     rays open like a trumpet towards both ends and meet a long bone's sides
//     at a fair angle,
//   - a spread of x by s(z) and of y by 1/s(z), which widens and flattens the
//     far end,
//   - a bend along z.
type form struct {
	Stretch r3.Vec  // mm per unit of ρ
	Flare   float64 // L, mm; 0 for none

	// s(z) = exp(SpreadLow + (SpreadHigh-SpreadLow)·(1+tanh((z-SpreadAt)/SpreadOver))/2)
	SpreadLow, SpreadHigh, SpreadAt, SpreadOver float64
	BendX, BendY                                float64 // x += BendX·z², y += BendY·z²; 1/mm

	// Gauge is homogeneous of degree 1 and comes with its gradient; the base
	// surface is Gauge = 1.
	Gauge func(r3.Vec) (float64, r3.Vec)
}

// det is the Jacobian determinant of the map, mm³ per unit of ρ cubed.
func (f *form) det() float64 { return f.Stretch.X * f.Stretch.Y * f.Stretch.Z }

// flare returns where the stretched z goes, its derivative there, and the
// growth of x and y and its derivative.
func (f *form) flare(z float64) (to, dto, grow, dgrow float64) {
	if f.Flare == 0 {
		return z, 1, 1, 0
	}
	t := z / f.Flare
	q := 1 + t*t
	grow = math.Sqrt(q)
	return f.Flare * math.Atan(t), 1 / q, grow, t / (f.Flare * grow)
}

// spread returns s(z) and its derivative, z in mm of the specimen.
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
	z, _, grow, _ := f.flare(f.Stretch.Z * rho * d.Z)
	s, _ := f.spread(z)
	return r3.Vec{
		X: f.Stretch.X*rho*d.X*grow*s + f.BendX*z*z,
		Y: f.Stretch.Y*rho*d.Y*grow/s + f.BendY*z*z,
		Z: z,
	}
}

// ray is the derivative of place by rho: how many mm, and which way, a unit of
// radius is.
func (f *form) ray(d r3.Vec, rho float64) r3.Vec {
	w := f.Stretch.Z * rho * d.Z
	z, dz, grow, dgrow := f.flare(w)
	s, ds := f.spread(z)
	wr := f.Stretch.Z * d.Z
	x, y := f.Stretch.X*d.X, f.Stretch.Y*d.Y
	return r3.Vec{
		X: x*grow*s + (rho*x*(dgrow*s+grow*ds*dz)+2*f.BendX*z*dz)*wr,
		Y: y*grow/s + (rho*y*(dgrow/s-grow*ds*dz/(s*s))+2*f.BendY*z*dz)*wr,
		Z: dz * wr,
	}
}

// polar undoes place: the direction and radius of a point in mm.
func (f *form) polar(p r3.Vec) (d r3.Vec, rho float64) {
	z := p.Z
	if f.Flare != 0 {
		z = f.Flare * math.Tan(p.Z/f.Flare)
	}
	_, _, grow, _ := f.flare(z)
	s, _ := f.spread(p.Z)
	q := r3.Vec{
		X: (p.X - f.BendX*p.Z*p.Z) / s / grow / f.Stretch.X,
		Y: (p.Y - f.BendY*p.Z*p.Z) * s / grow / f.Stretch.Y,
		Z: z / f.Stretch.Z,
	}
	rho = norm(q)
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
	// turns with the inverse transpose of the Jacobian. With w the stretched z,
	// X = x·grow(w)·s(Z(w)) + bend, Y likewise, Z = Z(w).
	w := f.Stretch.Z * r * d.Z
	z, dz, grow, dgrow := f.flare(w)
	s, ds := f.spread(z)
	x, y := f.Stretch.X*r*d.X, f.Stretch.Y*r*d.Y
	n := r3.Vec{X: g.X / f.Stretch.X / (grow * s), Y: g.Y / f.Stretch.Y / grow * s}
	dX := x*(dgrow*s+grow*ds*dz) + 2*f.BendX*z*dz
	dY := y*(dgrow/s-grow*ds*dz/(s*s)) + 2*f.BendY*z*dz
	n.Z = (g.Z/f.Stretch.Z - dX*n.X - dY*n.Y) / dz
	return r, 3 * r * r * r * norm(n)
}
