package demo

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/register"
)

// brokenFaces marks the faces of a scan that lie on the break, by its formula.
func brokenFaces(s *specimen, scan Scan) []bool {
	back := scan.SpecimenToScan.Inverse()
	out := make([]bool, scan.Mesh.FaceCount())
	on := s.edge
	for f := range out {
		third := [3]float64{1. / 3, 1. / 3, 1. / 3}
		p := back.Apply(scan.Mesh.At(mesh.SurfacePoint{Face: uint32(f), Weights: third}))
		n := r3.Unit(back.Turn(scan.Mesh.AreaVector(uint32(f))))
		out[f] = math.Abs(on.beyond(p)) < 0.25 && math.Abs(r3.Dot(n, on.n)) > 0.5
	}
	return out
}

// The loose fragment of the demo goes back where its formula has it, its break
// against the body's, with rock still on both.
func TestFragmentFitsItsBreak(t *testing.T) {
	s := newSpecimen()
	paint := s.newPainter()
	ctx := context.Background()
	var scans [2]Scan
	for k, i := range []int{1, 2} {
		var err error
		if scans[k], err = s.scan(ctx, i, 60_000, paint); err != nil {
			t.Fatal(err)
		}
	}
	body, piece := scans[0], scans[1]
	if body.Piece != "body" || piece.Piece != "fragment" || body.Stage != piece.Stage {
		t.Fatal("the scans are not those of body and fragment of one stage")
	}
	opt := register.DryOptions{BodyBreak: brokenFaces(s, body), PieceBreak: brokenFaces(s, piece)}
	r, err := register.FitDry(ctx, body.Mesh, piece.Mesh, opt)
	if err != nil {
		t.Fatal(err)
	}
	truth := piece.SpecimenToScan.Inverse().Then(body.SpecimenToScan)
	worst := 0.0
	for f, g := range r.Gap {
		if math.IsNaN(g) {
			continue
		}
		a, _, _ := piece.Mesh.Corners(uint32(f))
		worst = math.Max(worst, r3.Norm(r3.Sub(truth.Apply(a), r.PieceToBody.Apply(a))))
	}
	t.Logf("%s, %s: %s; %.1f of %.1f mm², median %.4f spread %.4f 95%% %.4f mm, %.4f mm off, second %+v", r.Verdict, r.Fit, r.Reason, r.ContactArea, r.BreakArea, r.GapMedian, r.GapSpread, r.Gap95, worst, r.Second)
	if r.Verdict != register.Accepted || worst > 0.1 || r.BreakArea < 50 {
		t.Errorf("%s (%s), %.3f mm from its place", r.Verdict, r.Reason, worst)
	}
}
