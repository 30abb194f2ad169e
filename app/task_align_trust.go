package app

import (
	"context"
	"errors"
	"fmt"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/mesh/render"
)

// brushesFit tells whether strokes say what carries the fit.
func (w *Window) brushesFit() bool {
	if w.desk == nil {
		return false
	}
	do, _ := w.desk.FitBrush()
	return do != session.NoFitStroke
}

// brushFit takes a brush in hand that says what carries the fit, on one of the two
// dates; each keeps the view it was last seen in.
func (w *Window) brushFit(do session.FitStroke, on annotate.UseKey) {
	if w.desk.Stroking() || w.jobs.Busy() {
		return
	}
	if !w.brushesFit() {
		w.pickViews = map[annotate.UseKey]render.Camera{w.desk.View: w.camera}
		w.glass, w.edge = false, false
		w.desk.ShowLeftover(false)
	}
	if from := w.inSight(); from != on {
		w.pickViews[from] = w.camera
	}
	shown := w.inSight()
	w.desk.BrushFit(do, on)
	if w.hand.kind != tool.Loop {
		w.hand = hand{kind: tool.Brush, fit: w.hand.fit, grabbed: -1}
	}
	if shown != on {
		w.turnToPick()
	}
	w.log("fit brush", map[string]any{"trust": do == session.TrustFaces, "never": do == session.NeverFaces, "on": on.String()})
	w.refresh()
}

// endFitBrush puts it down.
func (w *Window) endFitBrush() {
	w.desk.BrushFit(session.NoFitStroke, annotate.UseKey{})
	w.turnToPick()
	w.log("fit brush", map[string]any{"trust": false, "never": false})
	w.refresh()
}

// fitTask has what is needed to say what carries the fit.
func (w *Window) fitTask() {
	d := w.desk
	do, on := d.FitBrush()
	w.slip.Add(part.Heading("What carries the fit"))
	w.fitRows()
	rows := newLowRows()
	if d.DryFitting() {
		w.slip.Add(part.NewSentence("Where a break is marked, nothing else of that scan carries the fit. Marks are kept until you go back to the body.", look.TextCaption, 260))
		rows.choice("Mark the break", "the broken face", do == session.TrustFaces, func() { w.brushFit(session.TrustFaces, on) })
	} else {
		w.slip.Add(part.NewSentence("Where anything is trusted, nothing else of that scan carries the fit. It is no map: what is never trusted may well be original.", look.TextCaption, 260))
		rows.choice("Trust this area", "it did not change", do == session.TrustFaces, func() { w.brushFit(session.TrustFaces, on) })
		rows.choice("Never trust", "it moved or changed", do == session.NeverFaces, func() { w.brushFit(session.NeverFaces, on) })
	}
	rows.choice("Take back", "nothing said of it", do == session.ForgetFaces, func() { w.brushFit(session.ForgetFaces, on) })
	hints := map[bool]string{true: "this scan is shown", false: "show this scan"}
	for _, key := range []annotate.UseKey{d.Other, d.View} {
		rows.choice("On "+w.briefly(key), hints[key == on], key == on, func() { w.brushFit(do, key) })
	}
	for _, k := range []tool.Kind{tool.Brush, tool.Loop} {
		about := tool.Get(k)
		rows.choice(fmt.Sprintf("%s (%c)", about.Word, about.Key), leavingHints[k], w.hand.kind == k, func() { w.chooseTool(k) })
	}
	if size := w.sizeSliderRoom(); size != nil {
		rows.add(container.NewGridWrap(fyne.NewSize(look.Current().Px(150), look.Current().Px(52)), container.New(layout.NewCustomPaddedVBoxLayout(0), size...)))
	}
	w.slipButton(rows)
	w.shelf.Add(rows.room)
	how := "Brush over"
	if w.hand.kind == tool.Loop {
		how = "Draw a line round"
	}
	what := map[session.FitStroke]string{
		session.TrustFaces:  "what did not change between the two dates: where there is any, it alone carries the next fit.",
		session.NeverFaces:  "what moved or changed: it carries none of the next fit.",
		session.ForgetFaces: "what was marked wrongly: nothing is said of it any more.",
	}[do]
	if d.DryFitting() && do == session.TrustFaces {
		what = "the broken face: where there is any, it alone carries the fit."
	}
	w.next.Say(fmt.Sprintf("%s %s You see the scan of **%s**.", how, what, w.useWords(on)), part.Ink)
	w.next.Offer("Find the fit", func() { w.endFitBrush(); w.findFit() })
	w.next.OfferBack("Done", w.endFitBrush)
}

// briefly names a scan by its date, or by its piece where two are in hand.
func (w *Window) briefly(key annotate.UseKey) string {
	if w.desk.DryFitting() {
		return key.Piece
	}
	return w.dateOf(key.Stage)
}

// fitRows say how much of either date was marked as carrying the fit or not.
func (w *Window) fitRows() {
	d := w.desk
	for _, key := range []annotate.UseKey{d.Other, d.View} {
		if key == (annotate.UseKey{}) {
			continue
		}
		trust, never := d.FitAreas(key)
		for i, area := range []session.Measured{trust, never} {
			if t, ok := terms.Get(terms.FitFaces, d.FitWords()[i]); ok && area.Value > 0 {
				w.slip.Add(w.legendRow(t, area.String()+" on "+w.briefly(key)))
			}
		}
	}
}

// showFit draws on a scan what was said of the fit, in the task Align.
func (w *Window) showFit(scene *render.Scene, key annotate.UseKey) {
	if on, _, _ := w.desk.Picking(); on {
		return // places are known by how the surface looks
	}
	if scene.Bodies[0].Change == nil {
		scene.Bodies[0].Marks = w.desk.FitMarks(key)
	}
	if w.brushesFit() {
		scene.Lines = nil
	}
}

// fitLooped says of what a line holds what the brush in hand says.
func (w *Window) fitLooped(c render.Camera, holds func(p r3.Vec) bool) {
	find, keep, err := w.desk.LoopFit(c, holds)
	if err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	desk := w.desk
	w.beside("Looking what the line holds", find, func(err error) {
		switch {
		case desk != w.desk || !w.brushesFit():
		case errors.Is(err, context.Canceled):
			w.next.Say("Stopped. Nothing was marked.", part.Ink)
		case err != nil:
			w.fail(err)
		default:
			w.fitMarked("fit loop", keep)
		}
		w.repaint()
	})
}

// fitMarked keeps what a stroke or a loop said of the fit, as one action.
func (w *Window) fitMarked(event string, keep func() error) {
	_, on := w.desk.FitBrush()
	var err error
	w.painter.Hold(func() { err = keep() })
	if err != nil {
		w.refresh()
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	trust, never := w.desk.FitAreas(on)
	w.log(event, map[string]any{"use": on.String(), "trust_mm2": trust.Value, "never_mm2": never.Value})
	w.refresh()
}
