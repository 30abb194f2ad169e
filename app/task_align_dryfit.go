package app

import (
	"context"
	"fmt"
	"strings"

	"fyne.io/fyne/v2/layout"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/mesh/render"
)

// dryButtons offer to fit the pieces that lie loose beside the body.
func (w *Window) dryButtons(rows *buttonRows) {
	for _, key := range w.desk.LoosePieces() {
		rows.button("Dry fit, "+key.Piece, "a loose piece to its break", func() { w.beginDryFit(key) })
	}
}

// beginDryFit takes a loose piece in view.
func (w *Window) beginDryFit(key annotate.UseKey) {
	if w.jobs.Busy() {
		w.next.Say(waitWords, part.Warning)
		return
	}
	w.desk.ShowLeftover(false)
	w.desk.BeginDryFit(key)
	w.glass, w.edge, w.placed = false, false, false
	w.log("dry fit", map[string]any{"piece": key.String(), "body": w.desk.Other.String()})
	w.load(key, w.refresh)
}

// endDryFit takes the body in view again.
func (w *Window) endDryFit() {
	w.desk.EndDryFit()
	w.placed = false
	w.log("dry fit", map[string]any{"piece": ""})
	w.refresh()
}

// dryTask fits a loose piece to the body's break.
func (w *Window) dryTask() {
	d := w.desk
	w.slip.Add(part.SectionName(strings.ToUpper("DRY FIT OF " + d.View.Piece)))
	fit, stored := d.DryFitted()
	if fit == nil {
		w.keptDryFit()
		w.fitRows()
		w.dryShelf()
		w.next.Say("Press **Find the fit**, or pick pairs of places that touched: first on the body, then on the piece.", part.Ink)
		w.next.Offer("Find the fit", w.fitDry)
		w.next.OfferBack("Back to the body", w.endDryFit)
		return
	}
	w.slip.Add(verdictHeading(fit.Verdict))
	w.dryRows(annotate.DryFit{
		Reason: fit.Reason, Fit: fit.Fit, FitReason: fit.FitReason, ContactArea: fit.ContactArea, BreakArea: fit.BreakArea,
		GapMedian: fit.GapMedian, GapSpread: fit.GapSpread, Gap95: fit.Gap95, SecondApart: fit.SecondApart, SecondArea: secondArea(fit.Second != nil, func() float64 { return fit.Second.ContactArea }),
	})
	if fit.Weakest != "" {
		w.slip.Add(part.TextRow("Weakest", fit.Weakest))
	}
	kept := "It is not in the record."
	if stored {
		kept = "The piece stands so in the record; undo takes that back."
	}
	w.slip.Add(part.NewSentence(kept, look.TextCaption, 260))
	w.next.Offer("Back to the body", w.endDryFit)
	if d.Together() {
		w.next.Say("The piece stands on its break. Turn it and follow edges and cracks across the join.", part.Ink)
		w.next.OfferBack("Gap", func() { w.together(false) })
		w.dryShelf()
		return
	}
	if hist := d.DryHistogram(); hist != nil {
		words := fmt.Sprintf("**Gap between the broken faces.** Grey: touching, within %s. Solid line: every %g\u00a0mm deeper. Thick rim: open.", mm(hist.SmallestMM), hist.StepMM)
		w.shelf.Layout = layout.NewBorderLayout(nil, nil, nil, nil)
		w.shelf.Add(gapScale(hist, "Overlapping", "Open", words))
	}
	w.next.Say(sentence(fit.FitReason)+" Press on the break to read its gap.", part.Ink)
	w.next.OfferBack("Together", func() { w.together(true) })
}

// dryShelf has the ways of fitting a piece.
func (w *Window) dryShelf() {
	rows := newLowRows()
	rows.button("Find the fit", "searches along the break", w.fitDry)
	rows.button("Pick pairs", "places that touched", w.startPicking)
	rows.button("Mark the break", "brush the broken faces", func() {
		w.desk.ForgetDryFit()
		w.brushFit(session.TrustFaces, w.desk.View)
	})
	w.shelf.Add(rows.room)
}

// showsDryGap tells whether the gap of the break is coloured.
func (w *Window) showsDryGap() bool {
	return w.desk.DryFitting() && w.desk.DryHistogram() != nil && !w.desk.Together()
}

func secondArea(has bool, area func() float64) float64 {
	if has {
		return area()
	}
	return 0
}

// keptDryFit says how the piece stands in the record.
func (w *Window) keptDryFit() {
	r := w.desk.Project.Record()
	q, _ := r.Piece(w.desk.View.Piece)
	switch {
	case q.DryFit != nil:
		w.slip.Add(part.Heading("Fitted before"))
		w.dryRows(*q.DryFit)
	case q.PieceToSpecimen != nil:
		w.slip.Add(part.Heading("Not fitted yet"))
		w.slip.Add(part.NewSentence("Where it stands was given, with no fit to rest on.", look.TextBody, 260))
	default:
		w.slip.Add(part.Heading("Not fitted yet"))
	}
}

// dryRows say what a dry fit rests on.
func (w *Window) dryRows(f annotate.DryFit) {
	w.slip.Add(part.TextRow("Join", lower(terms.Label(terms.Fit, f.Fit))+", since "+f.FitReason))
	if f.BreakArea > 0 {
		w.slip.Add(part.TextRow("Touching", fmt.Sprintf("%s of %s of the break", session.SurfaceWords(f.ContactArea), session.SurfaceWords(f.BreakArea))))
		w.slip.Add(part.TextRow("Gap", fmt.Sprintf("median %s, spread %s, 95\u00a0%% within %s", mm(f.GapMedian), mm(f.GapSpread), mm(f.Gap95))))
	}
	if f.SecondApart > 0 {
		w.slip.Add(part.TextRow("Second", fmt.Sprintf("%s away, %s touch", mm(f.SecondApart), session.SurfaceWords(f.SecondArea))))
	}
	if f.Reason != "" {
		w.slip.Add(part.TextRow("Why", sentence(f.Reason)))
	}
}

// together shows the piece on the body, or alone with the gap of its break.
func (w *Window) together(on bool) {
	w.painter.Hold(func() { w.desk.ShowTogether(on) })
	w.log("together", map[string]any{"on": on})
	w.placed = false
	if !on {
		w.turnTo(w.desk.BreakFaces())
	}
	w.refresh()
}

// fitDry fits the piece in view beside the window.
func (w *Window) fitDry() {
	if w.jobs.Busy() {
		w.next.Say(waitWords, part.Warning)
		return
	}
	d, piece := w.desk, w.desk.View
	fit := d.DryFitter()
	var out *session.DryFit
	var stored bool
	w.run("Fitting the piece to its break", func(ctx context.Context, report job.Report) (err error) {
		out, stored, err = fit(ctx, report)
		return err
	}, func() {
		if d == w.desk && d.DryFitting() && d.View == piece {
			w.dryFitted(out, stored)
			return
		}
		w.refresh()
	})
}

// dryFitted shows how the piece fits; where that is not accepted, pairs are picked
// at once.
func (w *Window) dryFitted(fit *session.DryFit, stored bool) {
	d := w.desk
	var err error
	w.painter.Hold(func() {
		if err = d.Refresh(nil); err == nil {
			err = d.KeepDryFit(fit, stored)
		}
	})
	if err != nil {
		w.fail(err)
		return
	}
	w.log("dry fitted", map[string]any{"verdict": fit.Verdict, "fit": fit.Fit, "contact_mm2": fit.ContactArea, "gap_median_mm": fit.GapMedian, "stored": stored})
	w.placed = false
	if fit.Verdict != annotate.VerdictAccepted {
		w.pickSince(session.Verdict{Use: d.View, Verdict: fit.Verdict, Reason: fit.Reason, NextStep: fit.NextStep})
		return
	}
	d.EndPicking()
	w.turnTo(d.BreakFaces())
	w.refresh()
}

// addTogether adds the body to the piece that is fitted to it.
func (w *Window) addTogether(scene *render.Scene) {
	if !w.desk.Together() {
		return
	}
	if body, ok := w.desk.Placed(w.desk.Other, false); ok {
		body.Marks = nil
		scene.Bodies = append(scene.Bodies, body)
	}
}
