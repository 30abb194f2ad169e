package project

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

// What a fit leaves over is the signed distance of the later scan: of a ball of 20
// mm radius that was laid on one of 20.1 mm, in a frame of its own, it is −0.1 mm
// everywhere, and 0.1 − 0.3·cos of the angle from the shift once it lies 0.3 mm
// aside (distance of a point from a sphere, analytic).
func TestLeftover(t *testing.T) {
	p := fresh(t)
	pose := frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 1.9)
	pose.T = r3.Vec{X: 40, Y: -15, Z: 5}
	received := add(t, p, solid.Icosphere(5, 20.1), "received", "", "").Use.Key()
	ball := solid.Icosphere(5, 20)
	key := add(t, p, posed(ball, pose), "mech_coarse", "", "").Use.Key()
	var refused *RefusedError
	if _, err := p.Leftover(t.Context(), key, nil); !errors.As(err, &refused) {
		t.Fatalf("a scan that was laid on nothing: %v", err)
	}
	for _, aside := range []float64{0, 0.3} {
		back := pose.Inverse()
		back.T = r3.Add(back.T, r3.Vec{X: aside})
		err := p.Edit("aligned", func(r *annotate.Record) error {
			r.Use(key).Alignment = &annotate.Alignment{To: received.String(), ScanToPiece: back.Matrix(), Verdict: annotate.VerdictAccepted, FitResidualRMS: 0.02}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		l, err := p.Leftover(t.Context(), key, nil)
		if err != nil {
			t.Fatal(err)
		}
		if l.Of != key || l.To != received || l.ResidualMM != 0.02 || len(l.GapMM) != ball.VertexCount() {
			t.Fatalf("%v to %v, residual %v mm, %d gaps of %d vertices", l.Of, l.To, l.ResidualMM, len(l.GapMM), ball.VertexCount())
		}
		worst := 0.0
		for v, gap := range l.GapMM {
			at := r3.Add(ball.Vertex(uint32(v)), r3.Vec{X: aside})
			worst = math.Max(worst, math.Abs(float64(gap)-(r3.Norm(at)-20.1)))
		}
		if worst > 0.01 {
			t.Errorf("%.1f mm aside: gaps are up to %.4f mm off", aside, worst)
		}
		t.Logf("checked: gaps of a ball %.1f mm aside within %.5f mm of analytic", aside, worst)
	}
	// A later comparison of the same pair rests on the same gaps.
	was := p.cache.gaps.gaps
	c, err := p.Change(t.Context(), received, key, nil)
	if err != nil {
		t.Fatal(err)
	}
	if c.Change != was {
		t.Error("the same two scans were compared twice")
	}
}
