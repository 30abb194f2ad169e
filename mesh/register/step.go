package register

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/frame"
)

// The unknowns of one step, in this order: turn (radians) about a centre,
// shift (mm), and the logarithm of the scale where it is free.
const (
	unknowns  = 7
	rigidPart = 6
)

// system holds the normal equations of one step, J^T W J · x = -J^T W e.
type system struct {
	h      [unknowns * unknowns]float64 // upper triangle filled
	g      [unknowns]float64
	weight float64 // Σ w
	sum    float64 // Σ w e²
}

// add takes in one pair: p and q about the centre, the unit direction n of
// their residual e = (p-q)·n, and its weight. The direction is that of the sum
// of both normals, the symmetric objective of Rusinkiewicz (ACM Trans.
// Graphics 38(4), 2019): the residual then vanishes for any two points on a
// common circle, and true pairs are brought together in one step however far
// they are turned.
func (s *system) add(p, q, n r3.Vec, w float64) (e float64) {
	m := r3.Scale(0.5, r3.Add(p, q))
	a := r3.Cross(m, n)
	e = r3.Dot(r3.Sub(p, q), n)
	j := [unknowns]float64{a.X, a.Y, a.Z, n.X, n.Y, n.Z, r3.Dot(p, n)}
	for i := range unknowns {
		wi := w * j[i]
		s.g[i] += wi * e
		for k := i; k < unknowns; k++ {
			s.h[i*unknowns+k] += wi * j[k]
		}
	}
	s.weight += w
	s.sum += w * e * e
	return e
}

// merge adds another system with a factor.
func (s *system) merge(o *system, factor float64) {
	for i := range s.h {
		s.h[i] += factor * o.h[i]
	}
	for i := range s.g {
		s.g[i] += factor * o.g[i]
	}
	s.weight += factor * o.weight
	s.sum += factor * o.sum
}

// solve returns the step for the first n unknowns, by Cholesky's method on
// equations scaled to lengths of the given radius. A direction that the pairs
// hardly hold is damped: ridge is the share of the mean diagonal added to it.
func (s *system) solve(n int, radius, ridge float64) ([unknowns]float64, bool) {
	var x [unknowns]float64
	scale := [unknowns]float64{1 / radius, 1 / radius, 1 / radius, 1, 1, 1, 1 / radius}
	var a [unknowns * unknowns]float64
	trace := 0.0
	for i := range n {
		for k := i; k < n; k++ {
			a[k*unknowns+i] = s.h[i*unknowns+k] * scale[i] * scale[k]
		}
		trace += a[i*unknowns+i]
	}
	if !(trace > 0) || math.IsInf(trace, 0) {
		return x, false
	}
	for i := range n {
		a[i*unknowns+i] += ridge * trace / float64(n)
	}
	for j := range n {
		for k := range j {
			for i := j; i < n; i++ {
				a[i*unknowns+j] -= a[i*unknowns+k] * a[j*unknowns+k]
			}
		}
		d := a[j*unknowns+j]
		if !(d > 1e-15*trace) {
			return x, false
		}
		d = math.Sqrt(d)
		for i := j; i < n; i++ {
			a[i*unknowns+j] /= d
		}
	}
	for i := range n {
		x[i] = -s.g[i] * scale[i]
		for k := range i {
			x[i] -= a[i*unknowns+k] * x[k]
		}
		x[i] /= a[i*unknowns+i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= a[k*unknowns+i] * x[k]
		}
		x[i] /= a[i*unknowns+i]
	}
	for i := range n {
		x[i] *= scale[i]
	}
	return x, true
}

// motion turns a step into a proper motion: half the turn, the shift, half the
// turn again, all about the centre; the tangent of half the turn is half the
// linear one (Rusinkiewicz 2019, section 4).
func motion(x [unknowns]float64, centre r3.Vec) frame.Rigid {
	half := r3.Scale(0.5, r3.Vec{X: x[0], Y: x[1], Z: x[2]})
	angle := math.Atan(r3.Norm(half))
	turn := frame.Rotation(half, angle)
	shift := frame.Identity()
	shift.T = r3.Scale(math.Cos(angle), r3.Vec{X: x[3], Y: x[4], Z: x[5]})
	to, back := frame.Identity(), frame.Identity()
	to.T, back.T = r3.Scale(-1, centre), centre
	return to.Then(turn).Then(shift).Then(turn).Then(back)
}

// advance applies a step (with its scale, if n says so) to a pose.
func advance(pose frame.Similarity, x [unknowns]float64, n int, centre r3.Vec) frame.Similarity {
	if n == unknowns {
		// p ↦ c + k·(p - c) after R·s·x + T.
		k := math.Exp(x[rigidPart])
		pose.Scale *= k
		pose.T = r3.Add(r3.Scale(k, pose.T), r3.Scale(1-k, centre))
	}
	pose.Rigid = pose.Rigid.Then(motion(x, centre))
	return pose
}

// size is the longest way (mm) that a step moves a point at the given radius
// from its centre, to first order.
func size(x [unknowns]float64, n int, radius float64) float64 {
	turn := math.Sqrt(x[0]*x[0]+x[1]*x[1]+x[2]*x[2]) * radius
	shift := math.Sqrt(x[3]*x[3] + x[4]*x[4] + x[5]*x[5])
	if n == unknowns {
		return turn + shift + math.Abs(x[rigidPart])*radius
	}
	return turn + shift
}

// tukey is the biweight (1-(e/c)²)² inside c and 0 outside.
func tukey(e, c float64) float64 {
	u := e / c
	u = 1 - u*u
	if u <= 0 {
		return 0
	}
	return u * u
}
