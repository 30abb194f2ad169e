package app

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh/solid/bentbody"
)

// What a fit leaves over is coloured on the specimen at once, on a scale in mm that
// says that it is no accuracy: where nothing changed it is grey, where 1111 mm³ went
// it is lower. Source: the exact shapes of bentbody before and after.
func TestLeftoverOnTheSpecimen(t *testing.T) {
	b := openBent(t, 1280, 800)
	body := bentbody.New(1)
	b.press("Find the fit")
	a := b.alignment()
	if a == nil || a.Verdict != annotate.VerdictAccepted || !b.desk.ShowsLeftover() || b.edge {
		t.Fatalf("shown %v; %+v; %q", b.desk.ShowsLeftover(), a, b.next.Text())
	}
	h := b.desk.LeftoverHistogram()
	if h.SmallestMM != a.FitResidualRMS || h.FullMM < 5*a.FitResidualRMS || h.FullMM > 20*a.FitResidualRMS {
		t.Errorf("scale from %.4f to %.4f mm, fit residual %.4f mm", h.SmallestMM, h.FullMM, a.FitResidualRMS)
	}
	shelf := words(b.shelf)
	for _, want := range []string{"Fit residual, not accuracy.", "Lower", "Higher", fmt.Sprintf("%.3f mm", a.FitResidualRMS), fmt.Sprintf("%.4g mm", h.FullMM)} {
		if !strings.Contains(shelf, want) {
			t.Errorf("the shelf does not say %q: %s", want, shelf)
		}
	}
	placed, _ := b.desk.Placed(b.desk.View, false)
	if placed.Change == nil || placed.Change.FullMM != h.FullMM {
		t.Fatal("the specimen is not coloured")
	}
	// Against the exact shapes: the later surface lies inside the earlier one by what
	// was taken off along each direction, seen along its normal.
	scan := b.desk.Body(b.desk.View).Surface
	for _, towards := range []r3.Vec{{X: 1, Y: -1, Z: 0.5}, {X: -1, Y: -0.2, Z: 0.8}, {X: 0.3, Y: 1, Z: -0.6}, {Z: 1}, {X: 1, Z: 0.2}} {
		p, _, _ := scan.Locate(elsewhere().Apply(body.On(towards, true)))
		var gap float64
		var way string
		if _, err := fmt.Sscanf(strings.ReplaceAll(b.desk.LeftoverAt(p), "\u00a0", " "), "%f mm %s", &gap, &way); err != nil {
			t.Fatalf("%q: %v", b.desk.LeftoverAt(p), err)
		}
		if way == "lower" {
			gap = -gap
		}
		if along := r3.Norm(body.On(towards, true)) - r3.Norm(body.On(towards, false)); math.Abs(along) < 1e-9 && math.Abs(gap) > 0.06 || along < -1 && gap > 0.25*along {
			t.Errorf("towards %v the surface lies %.3f mm off, the bodies differ by %.3f mm along it", towards, gap, along)
		}
		if v := float64(placed.Change.Values[scan.Mesh.Triangles[3*p.Face]]); math.Abs(v) > h.FullMM+h.StepMM {
			t.Errorf("drawn as %.3f mm on a scale to %.3f mm", v, h.FullMM)
		}
	}
	b.touch(b.camera.Target)
	if !strings.Contains(b.next.Text(), "mm") || !strings.Contains(b.next.Text(), "fit residual, not accuracy") {
		t.Errorf("a place that is pressed says %q", b.next.Text())
	}
	b.keep("align-leftover.png")
	b.press("Hide leftover")
	if placed, _ := b.desk.Placed(b.desk.View, false); placed.Change != nil {
		t.Error("still coloured")
	}
	b.keep("align-slide.png")
	b.press("Leftover")
	if !b.desk.ShowsLeftover() {
		t.Error("not shown again")
	}
	b.Undo()
	b.calm()
	if b.desk.ShowsLeftover() {
		t.Error("shown though the alignment was undone")
	}
}

// The motion that an alignment holds least is drawn as it is: of a turning the way of
// one place is an arc about the axis, of a sliding a straight stretch through the
// middle of what holds it, each as long as the record says; its size is twice the
// deviation along it, in degrees or mm (propagation of the covariance, GUM), and how
// many times as large it is drawn follows from the two.
func TestSlideIsDrawn(t *testing.T) {
	b := openBent(t, 1280, 800)
	set := func(words string, weak [6]float64, u [6]float64) {
		t.Helper()
		var c [36]float64
		for k := range 6 {
			c[7*k] = u[k] * u[k]
		}
		err := b.desk.Project.Edit("aligned", func(r *annotate.Record) error {
			r.Use(b.desk.View).Alignment = &annotate.Alignment{To: b.desk.Other.String(), ScanToPiece: elsewhere().Inverse().Matrix(), Verdict: annotate.VerdictAccepted, Reason: "as made",
				WeakestDirection: words, WeakMotion: weak[:], Covariance: c[:], Centre: [3]float64{1, 2, 3}, FitResidualRMS: 0.02}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := b.desk.Refresh(nil); err != nil {
			t.Fatal(err)
		}
		b.placed = false
		b.refresh()
	}
	set("turning about the long axis; ± 0.1 mm", [6]float64{0, 0, 0.2, 0.4, 0, 0}, [6]float64{1, 1, 0.0005, 1, 1, 1})
	s, ok := b.desk.Slide(b.camera)
	if !ok || math.Abs(s.TurnDeg-0.001*180/math.Pi) > 1e-12 || math.Abs(s.Magnified-200) > 1e-9 || s.Words() != "turning about the long axis, ± 0.057°" {
		t.Fatalf("%+v, %v: %q", s, ok, s.Words())
	}
	// The axis: along z through centre + ω×s/|ω|² = (1, 2+0.4/0.2, 3).
	on := func(p r3.Vec) (x, y float64) { return p.X - 1, p.Y - 4 }
	x0, y0 := on(s.Way[0])
	x1, y1 := on(s.Way[len(s.Way)-1])
	if turned := math.Mod(math.Atan2(y1, x1)-math.Atan2(y0, x0)+3*math.Pi, 2*math.Pi) - math.Pi; math.Abs(turned-0.4) > 1e-9 {
		t.Errorf("the arc turns by %.6f rad, to and fro 0.4", turned)
	}
	for _, p := range s.Way {
		if x, y := on(p); math.Abs(math.Hypot(x, y)-math.Hypot(x0, y0)) > 1e-9 || math.Abs(p.Z-s.Way[0].Z) > 1e-9 {
			t.Fatalf("%v is not on the arc", p)
		}
	}
	if far := math.Hypot(x0, y0); far < 5 {
		t.Errorf("the arc is %.1f mm from the axis, inside the body", far)
	}
	if slip := words(b.slip); !strings.Contains(slip, "± 0.057° at k = 2, drawn 200 times as large") {
		t.Errorf("the slip does not say how it is drawn: %s", slip)
	}
	drawn := 0
	pic, _ := b.compose()
	for _, l := range pic.Scene.Lines {
		if len(l.Points) == len(s.Way) {
			drawn++
		}
	}
	if drawn != 1 || len(pic.Scene.Lines) != 3 {
		t.Errorf("%d lines are drawn, %d of them the way", len(pic.Scene.Lines), drawn)
	}
	b.keep("align-turning.png")

	set("sliding along the long axis; ± 0.1 mm", [6]float64{0.01, 0, 0, 0, 0, 4}, [6]float64{1, 1, 1, 1, 1, 0.01})
	s, ok = b.desk.Slide(b.camera)
	if !ok || math.Abs(s.ShiftMM-0.02) > 1e-12 || math.Abs(s.Magnified-200) > 1e-9 || s.Words() != "sliding along the long axis, ± 0.020\u00a0mm" {
		t.Fatalf("%+v, %v: %q", s, ok, s.Words())
	}
	if from, to := s.Way[0], s.Way[len(s.Way)-1]; r3.Norm(r3.Sub(from, r3.Vec{X: 1, Y: 2, Z: -1})) > 1e-9 || r3.Norm(r3.Sub(to, r3.Vec{X: 1, Y: 2, Z: 7})) > 1e-9 {
		t.Errorf("the stretch runs from %v to %v", from, to)
	}
	b.keep("align-sliding.png")
}
