package project

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

// A loose piece's break sets where it stands, one action that undo takes back and
// that comes with what it rests on; a flat break sets nothing.
func TestDryFitPlacesALoosePiece(t *testing.T) {
	for _, row := range []struct {
		height float64
		stored bool
	}{{0.8, true}, {0, false}} {
		p := fresh(t)
		pose := frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 1.9)
		pose.T = r3.Vec{X: 40, Y: -15, Z: 5}
		body := add(t, p, solid.BrokenFace(row.height, 0, 36, true), "received", "", "").Use.Key()
		piece := add(t, p, posed(solid.BrokenFace(row.height, 0, 41, false), pose), "received", "fragment", "").Use.Key()
		fit, stored, err := p.DryFit(t.Context(), piece, DryFitting{Body: body})
		if err != nil {
			t.Fatal(err)
		}
		record := p.Record()
		q, _ := record.Piece("fragment")
		if stored != row.stored || (q.PieceToSpecimen != nil) != row.stored || (q.DryFit != nil) != row.stored {
			t.Fatalf("height %g: %s (%s), stored %v: %+v", row.height, fit.Verdict, fit.Reason, stored, q)
		}
		if !row.stored {
			continue
		}
		for _, at := range []r3.Vec{{X: 10, Y: 8}, {X: -10, Y: 8}, {X: 10, Y: -8}} {
			if mm := r3.Norm(r3.Sub(frame.FromMatrix(*q.PieceToSpecimen).Apply(pose.Apply(at)), at)); mm > 0.03 {
				t.Errorf("the piece stands %.3f mm off", mm)
			}
		}
		if q.DryFit.Fit != "close" || q.DryFit.Use != piece.String() || q.DryFit.To != body.String() || q.DryFit.ContactArea != fit.ContactArea {
			t.Errorf("stored %+v", q.DryFit)
		}
		if _, _, ok, err := p.Undo(); !ok || err != nil {
			t.Fatal(ok, err)
		}
		record = p.Record()
		if q, _ := record.Piece("fragment"); q.PieceToSpecimen != nil || q.DryFit != nil {
			t.Error("undo leaves the piece where the fit put it")
		}
		if _, _, err := p.DryFit(t.Context(), body, DryFitting{Body: annotate.UseKey{Stage: "received", Piece: annotate.Body}}); err == nil {
			t.Error("the body is fitted to itself")
		}
	}
}
