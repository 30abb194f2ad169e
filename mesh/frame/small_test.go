package frame_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/frame"
)

// Small and Twist undo each other, for turns from nothing to half a turn
// (algebra of the rotation vector).
func TestSmallAndTwist(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 9))
	for _, angle := range []float64{0, 1e-12, 1e-6, 0.3, 2, math.Pi - 1e-7, math.Pi - 1e-12} {
		for range 20 {
			axis := randomPoint(random, 1)
			turn := r3.Scale(angle/r3.Norm(axis), axis)
			about, shift := randomPoint(random, 50), randomPoint(random, 5)
			g := frame.Small(about, turn, shift)
			gotTurn, gotShift := g.Twist(about)
			// Near half a turn the angle is ill-conditioned in R by nature;
			// the motion, not the vector, must come back.
			h := frame.Small(about, gotTurn, gotShift)
			for i := range g.R {
				near(t, "rotation", h.R[i], g.R[i], 1e-9)
			}
			near(t, "shift", r3.Norm(r3.Sub(gotShift, shift)), 0, 1e-12*100)
			if angle > 0 && angle < 3 {
				near(t, "turn", r3.Norm(r3.Sub(gotTurn, turn)), 0, 1e-12+1e-9*angle)
			}
		}
	}
}

// A motion followed by its inverse is nothing, and the matrix form carries it.
func TestInverseAndMatrix(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 9))
	for range 20 {
		g := randomMotion(random)
		turn, shift := g.Then(g.Inverse()).Twist(r3.Vec{})
		near(t, "turn", r3.Norm(turn), 0, 1e-14)
		near(t, "shift", r3.Norm(shift), 0, 1e-12)
		if frame.FromMatrix(g.Matrix()) != g {
			t.Error("matrix and back changed the motion")
		}
	}
}
