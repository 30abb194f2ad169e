package frame

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Small returns the motion that turns by |turn| radians about an axis along
// turn through the point about, and then shifts. For small turns its six
// numbers are the coordinates in which covariances of a pose are given. The
// motion is a proper one for turns of any size.
func Small(about, turn, shift r3.Vec) Rigid {
	g := Rotation(turn, r3.Norm(turn))
	g.T = r3.Add(r3.Sub(about, g.Turn(about)), shift)
	return g
}

// Twist takes g apart into the arguments of Small: the turn about an axis
// through the point about (radians, at most π) and the shift after it.
func (g Rigid) Twist(about r3.Vec) (turn, shift r3.Vec) {
	r := g.R
	v := r3.Vec{X: r[7] - r[5], Y: r[2] - r[6], Z: r[3] - r[1]}
	shift = r3.Sub(g.Apply(about), about)
	angle := g.Angle()
	if angle < 2 {
		// v is 2·sin(angle)·axis.
		if n := r3.Norm(v); n > 1e-6 {
			return r3.Scale(angle/n, v), shift
		}
		return r3.Scale(0.5, v), shift
	}
	// Towards half a turn v vanishes, but the symmetric part less cos(angle) is
	// (1 - cos(angle))·axis·axisᵀ: take its longest column.
	c := math.Cos(angle)
	xy, yz, zx := (r[1]+r[3])/2, (r[5]+r[7])/2, (r[6]+r[2])/2
	var axis r3.Vec
	for _, column := range [3]r3.Vec{{X: r[0] - c, Y: xy, Z: zx}, {X: xy, Y: r[4] - c, Z: yz}, {X: zx, Y: yz, Z: r[8] - c}} {
		if r3.Norm2(column) > r3.Norm2(axis) {
			axis = column
		}
	}
	axis = r3.Scale(1/r3.Norm(axis), axis)
	if r3.Dot(axis, v) < 0 {
		axis = r3.Scale(-1, axis)
	}
	return r3.Scale(angle, axis), shift
}
