package app

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/app/look"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

// openBroken opens a window on a body's broken face and that of a loose piece, which
// lies elsewhere and has lost a chip of so many mm in the middle.
func openBroken(t *testing.T, height, chip float64) *bench {
	t.Helper()
	b := openWindow(t, 1280, 800, scanFile(t, solid.BrokenFace(height, 0, 72, true)))
	pose := frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 1.9)
	pose.T = r3.Vec{X: 40, Y: -15, Z: 5}
	_, err := b.desk.AddScan(t.Context(), session.Adding{
		Path: scanFile(t, mesh.Transform(solid.BrokenFace(height, chip, 81, false), pose.Apply)), Stage: "received", Piece: "fragment", Unit: "mm",
	})
	if err != nil {
		t.Fatal(err)
	}
	b.press("Align")
	return b
}

// A loose piece is fitted to its break from the window: what touches, the gap and
// what the join may be called are said with units, the gap is drawn on the break in
// mm, the piece is seen on the body, and undo takes it back. Source: the two faces
// are one surface but for a chip of 0.5 mm over π·16 mm².
func TestDryFitInTheWindow(t *testing.T) {
	b := openBroken(t, 0.8, 0.5)
	b.press("Dry fit, fragment")
	if !b.desk.DryFitting() || b.desk.View.Piece != "fragment" || b.desk.Body(b.desk.View) == nil {
		t.Fatalf("in view is %v", b.desk.View)
	}
	b.press("Find the fit")
	fit, stored := b.desk.DryFitted()
	if fit == nil || fit.Verdict != annotate.VerdictAccepted || !stored {
		t.Fatalf("%+v, stored %v; %q", fit, stored, b.next.Text())
	}
	slip := words(b.slip)
	for _, want := range []string{"Join " + fit.Fit + " fit, since " + fit.FitReason, "mm² of the break", "median", "The piece stands so in the record"} {
		if !strings.Contains(slip, strings.ReplaceAll(want, "\u00a0", " ")) {
			t.Errorf("the slip does not say %q: %s", want, slip)
		}
	}
	if shelf := words(b.shelf); !strings.Contains(shelf, "Gap between the broken faces.") || !strings.Contains(shelf, "Overlapping") || !strings.Contains(shelf, "Open") {
		t.Errorf("the shelf says %s", shelf)
	}
	// The chip stands open by 0.5 mm, the rest touches.
	placed, _ := b.desk.Placed(b.desk.View, false)
	if placed.Change == nil {
		t.Fatal("the gap is not drawn")
	}
	scan := b.desk.Body(b.desk.View).Surface.Mesh
	pose := frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 1.9)
	pose.T = r3.Vec{X: 40, Y: -15, Z: 5}
	back := pose.Inverse()
	for v, gap := range placed.Change.Values {
		p := back.Apply(scan.Vertex(uint32(v)))
		r := math.Hypot(p.X, p.Y)
		steep := math.Abs(p.X) > 9 || math.Abs(p.Y) > 7 // the rim
		switch {
		case r > 3 && r < 5 || steep:
		case r < 3 && !(gap > 0.3 && gap < 0.55):
			t.Fatalf("the chip of 0.5 mm stands open by %.3f mm at %.1f, %.1f", gap, p.X, p.Y)
		case r > 5 && math.Abs(float64(gap)) > 0.06:
			t.Fatalf("the unbroken face stands off by %.3f mm at %.1f, %.1f", gap, p.X, p.Y)
		}
	}
	b.until("the picture shows the camera", func() bool { f := b.shown(); return f != nil && f.Camera() == b.camera && f.Settled() })
	if n := b.pixelsOf(b.desk.BreakFaces()); n < 20000 {
		t.Errorf("the break takes %d pixels of the picture", n)
	}
	b.touch(placed.BodyToScene.Apply(pose.Apply(r3.Vec{Z: 0.8*0.3 + 0.9})))
	if !strings.Contains(b.next.Text(), "Here the break is open by 0.") {
		t.Errorf("the chip that is pressed on says %q", b.next.Text())
	}
	b.keep("dryfit-gap.png")
	b.press("Together")
	b.until("the picture shows the camera", func() bool { f := b.shown(); return f != nil && f.Camera() == b.camera && f.Settled() })
	if pic, _ := b.compose(); len(pic.Scene.Bodies) != 2 || pic.Scene.Bodies[0].Change != nil {
		t.Errorf("together %d bodies are drawn", len(pic.Scene.Bodies))
	}
	b.keep("dryfit-together.png")
	r := b.desk.Project.Record()
	q, _ := r.Piece("fragment")
	if q.DryFit == nil || q.PieceToSpecimen == nil {
		t.Fatalf("the record holds %+v", q)
	}
	for _, at := range []r3.Vec{{X: 10, Y: 8}, {X: -10, Y: 8}, {X: 10, Y: -8}} {
		if off := r3.Norm(r3.Sub(frame.FromMatrix(*q.PieceToSpecimen).Apply(pose.Apply(at)), at)); off > 0.05 {
			t.Errorf("the piece stands %.3f mm off", off)
		}
	}
	b.Undo()
	b.calm()
	if _, stored := b.desk.DryFitted(); stored || !strings.Contains(words(b.slip), "not in the record") {
		t.Errorf("after undo: stored %v; %s", stored, words(b.slip))
	}
	b.press("Back to the body")
	if b.desk.DryFitting() || b.desk.View.Piece != annotate.Body {
		t.Errorf("in view is %v", b.desk.View)
	}
}

// A flat break slides: pairs are asked for at once, with the reason.
func TestDryFitThatSlides(t *testing.T) {
	b := openBroken(t, 0, 0)
	b.press("Dry fit, fragment")
	b.press("Find the fit")
	why := b.desk.PickingWhy()
	if on, _, next := b.desk.Picking(); !on || next.Piece != annotate.Body || why.Verdict.Verdict == annotate.VerdictAccepted {
		t.Fatalf("picking %v on %v since %+v; %q", on, next, why, b.next.Text())
	}
	if !strings.Contains(b.next.Text(), sentence(why.Reason)) || strings.Contains(words(b.shelf), "Check points") {
		t.Errorf("the Next bar says %q", b.next.Text())
	}
	b.press("Give up picking")
	b.press("Back to the body")
}

// Broken faces are marked on the body and on the piece, and alone carry the fit:
// nothing of them is in the record, and going back to the body forgets them. Source:
// the area of what a loop holds (a square of 12 mm, seen straight on).
func TestBreakIsMarked(t *testing.T) {
	b := openBroken(t, 0.8, 0)
	unsaved := b.desk.Project.Unsaved()
	b.press("Dry fit, fragment")
	b.press("Mark the break")
	for _, key := range []annotate.UseKey{b.desk.View, b.desk.Other} {
		b.press("On " + key.Piece)
		if b.inSight() != key {
			t.Fatalf("in sight is %v, wanted %v", b.inSight(), key)
		}
		pose := frame.Identity()
		side := r3.Vec{Z: 1}
		if key.Piece != annotate.Body {
			pose = frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 1.9)
			pose.T = r3.Vec{X: 40, Y: -15, Z: 5}
			side = pose.Turn(r3.Vec{Z: -1})
		}
		b.camera = b.camera.Facing(pose.Apply(r3.Vec{}), side)
		b.moving()
		if b.hand.kind != tool.Loop {
			b.rune('o')
		}
		var line []r3.Vec
		for _, p := range []r3.Vec{{X: -6, Y: -6}, {X: 6, Y: -6}, {X: 6, Y: 6}, {X: -6, Y: 6}} {
			line = append(line, pose.Apply(p))
		}
		b.drag(line...)
		if broken, _ := b.desk.FitAreas(key); broken.Value < 144 || broken.Value > 250 {
			t.Errorf("on %v %v are marked, a flat square has 144 mm²", key, broken)
		}
	}
	b.keep("dryfit-marked.png")
	if slip := words(b.slip); !strings.Contains(slip, "Broken face") || strings.Contains(slip, "Trusted") {
		t.Errorf("the slip says %s", slip)
	}
	b.press("Find the fit")
	fit, stored := b.desk.DryFitted()
	if fit == nil || !stored || fit.BreakArea < 144 || fit.BreakArea > 250 {
		t.Fatalf("%+v, stored %v; %q", fit, stored, b.next.Text())
	}
	if n := b.desk.Project.Unsaved(); n != unsaved+1 {
		t.Errorf("%d actions, wanted the fit alone", n-unsaved)
	}
	r := b.desk.Project.Record()
	for _, u := range r.Uses {
		if u.FitFaces != nil {
			t.Errorf("%v: the record holds %+v", u.Key(), u.FitFaces)
		}
	}
	b.press("Back to the body")
	if broken, _ := b.desk.FitAreas(b.desk.View); broken.Value != 0 {
		t.Errorf("%v are marked still", broken)
	}
}

// Every word of a dry fit is readable at every size of text and in the smallest
// window, in light and dark.
func TestDryFitShowsEveryWord(t *testing.T) {
	b := openBroken(t, 0.8, 0.5)
	b.press("Dry fit, fragment")
	for _, size := range []fyne.Size{{Width: 1280, Height: 800}, {Width: 1100, Height: 720}} {
		b.win.Resize(size)
		for _, state := range []string{"first", "marking", "gap", "together"} {
			b.theme.Scale = 1
			b.restyle()
			switch fit, _ := b.desk.DryFitted(); {
			case state == "marking":
				if fit != nil && !b.desk.Together() {
					b.press("Together")
				}
				b.press("Mark the break")
			case state == "gap" && b.brushesFit():
				b.press("Find the fit")
			case state == "together":
				b.press("Together")
			}
			for i, scale := range look.Sizes {
				b.theme.Scale, b.theme.Appearance = scale, look.Appearance(i%2)
				b.restyle()
				b.calm()
				b.fits(fmt.Sprintf("%g x %g at size %g, %s", size.Width, size.Height, scale, state))
				b.keep(fmt.Sprintf("dryfit-%s-%gx%g-%g.png", state, size.Width, size.Height, scale))
			}
		}
	}
}
