package session

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/project"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

// Five places on a cube of 20 mm, one of them picked 0.5 mm off: the slip shows
// whole under the fit of the others, which agree to nothing, and less under the
// fit of all (least squares spreads it). The scan in view is twice as small in
// its file, and is calibrated by a factor of two. Elementary geometry, no source.
func TestPickFit(t *testing.T) {
	before, after := annotate.UseKey{Stage: "a", Piece: annotate.Body, Part: "whole"}, annotate.UseKey{Stage: "b", Piece: annotate.Body, Part: "whole"}
	body := func(side, factor float64) *Body {
		return &Body{Loaded: &project.Loaded{Use: annotate.Use{Scale: annotate.Scale{Factor: factor}}, Surface: facemap.NewSurface(solid.Cube(side))}}
	}
	d := &Desk{View: after, Other: before, bodies: map[annotate.UseKey]*Body{before: body(20, 0), after: body(10, 2)}}
	if _, ok := d.PickFit(); ok {
		t.Fatal("a fit of no pairs")
	}
	pose := frame.Small(r3.Vec{}, r3.Vec{X: 0.3, Y: -1, Z: 0.2}, r3.Vec{X: 7, Y: 8, Z: 9})
	corners := []r3.Vec{{}, {X: 20}, {Y: 20}, {Z: 20}, {X: 20, Y: 20, Z: 20}}
	for i, p := range corners {
		d.picks.fit.after = append(d.picks.fit.after, r3.Scale(0.5, p))
		q := pose.Apply(p)
		if i == 4 {
			q = r3.Add(q, pose.Turn(r3.Vec{X: 0.5}))
		}
		d.picks.fit.before = append(d.picks.fit.before, q)
	}
	fit, ok := d.PickFit()
	if !ok {
		t.Fatal("no fit of five pairs")
	}
	if got := fit.LeftOutMM[4]; math.Abs(got-0.5) > 1e-9 {
		t.Errorf("the slip shows as %v mm by the others, wanted 0.5", got)
	}
	if got := fit.ResidualMM[4]; !(got > 0.05 && got < 0.45) {
		t.Errorf("the slip shows as %v mm under the fit of all, wanted part of 0.5", got)
	}
	if !(fit.FarMM > 0.05 && fit.FarMM < 1) {
		t.Errorf("far end %v mm", fit.FarMM)
	}
	d.picks.fit.before, d.picks.fit.after = []r3.Vec{{}, {X: 1}, {X: 2}}, []r3.Vec{{}, {X: 1}, {X: 2}}
	if _, ok := d.PickFit(); ok {
		t.Error("a fit of places on one line")
	}
}
