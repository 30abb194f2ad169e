package frame

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Rigid is a rotation followed by a translation in millimetres. Variables of
// this type name both frames: ScanToSpecimen, AfterToBefore.
type Rigid struct {
	R [9]float64 // row-major rotation
	T r3.Vec     // mm
}

// Identity moves nothing.
func Identity() Rigid { return Rigid{R: [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}} }

// Apply moves a point.
func (g Rigid) Apply(p r3.Vec) r3.Vec { return r3.Add(g.Turn(p), g.T) }

// Turn rotates a direction.
func (g Rigid) Turn(v r3.Vec) r3.Vec {
	r := &g.R
	return r3.Vec{
		X: r[0]*v.X + r[1]*v.Y + r[2]*v.Z,
		Y: r[3]*v.X + r[4]*v.Y + r[5]*v.Z,
		Z: r[6]*v.X + r[7]*v.Y + r[8]*v.Z,
	}
}

// Then returns the motion that does g first and h second.
func (g Rigid) Then(h Rigid) Rigid {
	var out Rigid
	for i := range 3 {
		for j := range 3 {
			out.R[3*i+j] = h.R[3*i]*g.R[j] + h.R[3*i+1]*g.R[3+j] + h.R[3*i+2]*g.R[6+j]
		}
	}
	out.T = h.Apply(g.T)
	return out
}

// Inverse returns the motion that undoes g.
func (g Rigid) Inverse() Rigid {
	r := g.R
	out := Rigid{R: [9]float64{r[0], r[3], r[6], r[1], r[4], r[7], r[2], r[5], r[8]}}
	out.T = r3.Scale(-1, out.Turn(g.T))
	return out
}

// Matrix returns the 4×4 row-major matrix that acts on column vectors.
func (g Rigid) Matrix() [16]float64 {
	r := g.R
	return [16]float64{
		r[0], r[1], r[2], g.T.X,
		r[3], r[4], r[5], g.T.Y,
		r[6], r[7], r[8], g.T.Z,
		0, 0, 0, 1,
	}
}

// FromMatrix takes the rotation and translation out of a 4×4 row-major matrix;
// it does not check that the rotation is one.
func FromMatrix(m [16]float64) Rigid {
	return Rigid{
		R: [9]float64{m[0], m[1], m[2], m[4], m[5], m[6], m[8], m[9], m[10]},
		T: r3.Vec{X: m[3], Y: m[7], Z: m[11]},
	}
}

// Rotation returns the turn by angle (radians) about an axis through zero,
// right-handed (Rodrigues).
func Rotation(axis r3.Vec, angle float64) Rigid {
	n := r3.Norm(axis)
	if n == 0 {
		return Identity()
	}
	u := r3.Scale(1/n, axis)
	s, c := math.Sincos(angle)
	k := 1 - c
	return Rigid{R: [9]float64{
		c + u.X*u.X*k, u.X*u.Y*k - u.Z*s, u.X*u.Z*k + u.Y*s,
		u.Y*u.X*k + u.Z*s, c + u.Y*u.Y*k, u.Y*u.Z*k - u.X*s,
		u.Z*u.X*k - u.Y*s, u.Z*u.Y*k + u.X*s, c + u.Z*u.Z*k,
	}}
}

// Angle returns the turn of g in radians, between 0 and π.
func (g Rigid) Angle() float64 {
	r := g.R
	v := r3.Vec{X: r[7] - r[5], Y: r[2] - r[6], Z: r[3] - r[1]}
	return math.Atan2(r3.Norm(v), r[0]+r[4]+r[8]-1)
}
