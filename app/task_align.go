package app

import (
	"context"
	"fmt"
	"strings"

	"fyne.io/fyne/v2"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
)

// alignTask lays the date in view on the other one.
func (w *Window) alignTask() {
	d := w.desk
	w.readyOther()
	if picking, _, _ := d.Picking(); d.DryFitting() && !picking && !w.brushesFit() {
		w.dryTask()
		return
	}
	if d.DryFitting() {
		w.slip.Add(part.SectionName(strings.ToUpper("DRY FIT OF " + d.View.Piece)))
	} else {
		w.slip.Add(part.SectionName("ALIGNMENT"))
	}
	if on, _, _ := d.Picking(); on {
		w.pickTask()
		return
	}
	if w.brushesFit() {
		w.fitTask()
		return
	}
	w.alignSlip()
	if d.Other == (annotate.UseKey{}) {
		rows := newLowRows()
		w.dryButtons(rows)
		w.shelf.Add(rows.room)
		w.next.Say("Hold the other date: press its bead on the bench line with Shift, or with the second button.", part.Ink)
		return
	}
	if d.ShowsLeftover() {
		w.leftoverTask()
		return
	}
	w.alignShelf()
	if b := d.Body(d.View); b != nil && b.Aligned && b.Use.Alignment != nil {
		w.next.Say("The scans lie on one another. Slide the date edge over bare surface: cracks should run straight through it."+w.checksSaid(), part.Ink)
		w.next.Offer("Change", func() { w.Choose(taskChange) })
		return
	}
	w.next.Say("Press **Find the fit**, or pick pairs of places that you know on both dates.", part.Ink)
	w.next.Offer("Find the fit", w.findFit)
	w.next.OfferBack("Pick pairs", w.startPicking)
}

// alignShelf has the ways of laying one date on the other.
func (w *Window) alignShelf() {
	d := w.desk
	rows := newLowRows()
	rows.button("Find the fit", "searches on its own", w.findFit)
	rows.button("Pick pairs", "same spot on both dates", w.startPicking)
	rows.button("Check points", "held out of the fit", func() { w.pickFor(true) })
	rows.button("Trust this area", "brush what did not change", func() { w.brushFit(session.TrustFaces, d.View) })
	rows.button("Never trust", "brush what moved", func() { w.brushFit(session.NeverFaces, d.View) })
	w.scaleChoice(rows)
	if b := d.Body(d.View); b != nil && b.Aligned && b.Use.Alignment != nil {
		rows.button("Leftover", "in mm, on the specimen", w.showLeftover)
	}
	w.dryButtons(rows)
	w.shelf.Add(rows.room)
}

// scaleChoice lets the size of the date in view change with the next fit.
func (w *Window) scaleChoice(rows *buttonRows) {
	d := w.desk
	rows.choice("Let scale differ", "only if one has no scale", d.LetScaleDiffer, func() {
		d.LetScaleDiffer = !d.LetScaleDiffer
		w.log("let scale differ", map[string]any{"on": d.LetScaleDiffer})
		w.refresh()
	})
}

// saidOf names a use of the record by its stage.
func (w *Window) saidOf(use string) string {
	stage, _, _ := strings.Cut(use, "/")
	return w.stageWords(stage)
}

// checksSaid is what the check points of the alignment say, empty without any.
func (w *Window) checksSaid() string {
	r := w.desk.Project.Record()
	u := r.Use(w.desk.View)
	if u == nil || u.Alignment == nil || len(u.Alignment.Checks) == 0 {
		return ""
	}
	return " " + sentence(checkWords(len(u.Alignment.Checks), u.Alignment.CheckPointRMS, u.Alignment.CheckPointMax))
}

// checkWords says how far off check points lie.
func checkWords(n int, rms, most float64) string {
	if n == 1 {
		return "one check point lies " + mm(rms) + " off"
	}
	return fmt.Sprintf("%d check points lie %s off (RMS), %s at most", n, mm(rms), mm(most))
}

// alignSlip says how the date in view lies.
func (w *Window) alignSlip() {
	b := w.desk.Body(w.desk.View)
	if b == nil {
		return
	}
	r := w.desk.Project.Record()
	u := r.Use(w.desk.View)
	if u == nil {
		return
	}
	a := u.Alignment
	if a == nil {
		if b.Aligned {
			w.slip.Add(part.Heading("Gives the frame"))
			w.slip.Add(part.NewSentence("This is the first scan of its piece; the others are laid on it.", look.TextBody, 260))
		} else {
			w.slip.Add(part.Heading("Not aligned"))
		}
		w.fitRows()
		return
	}
	w.slip.Add(verdictHeading(a.Verdict))
	if a.Verdict != annotate.VerdictRefused {
		w.slip.Add(part.Value(mm(a.FitResidualRMS), part.Ink))
		w.slip.Add(part.NewSentence("left over where both scans show the same surface. Fit residual, not accuracy.", look.TextBody, 260))
		w.slip.Add(part.TextRow("Check", mm(a.CheckRMS)+" in cells that took no part in a fit"))
		if n := len(a.Checks); n > 0 {
			w.slip.Add(part.TextRow("Points", checkWords(n, a.CheckPointRMS, a.CheckPointMax)))
		}
		w.slip.Add(part.TextRow("Held by", fmt.Sprintf("%.0f\u00a0%% of this scan, %.0f\u00a0%% of the other", 100*a.StableShareAfter, 100*a.StableShareBefore)))
		if t := a.RoundTrip; t != nil {
			w.slip.Add(part.TextRow("Round trip", fmt.Sprintf("%s (RMS), %s at most, from where the fit to %s put it", mm(t.RMS), mm(t.Max), w.saidOf(t.By))))
		}
		if a.WeakestDirection != "" {
			w.slip.Add(part.TextRow("Weakest", a.WeakestDirection))
			w.slideRow()
		}
	}
	if a.Reason != "" {
		w.slip.Add(part.TextRow("Why", a.Reason))
	}
	if a.NextStep != "" {
		w.slip.Add(part.TextRow("Next", a.NextStep))
	}
	w.fitRows()
	if b.Surface != nil {
		w.slip.Add(part.TextRow("Scale", lower(terms.Label(terms.ScaleWord, u.Scale.Verdict))))
	}
}

// findFit aligns beside the window.
func (w *Window) findFit() {
	d := w.desk
	if d.DryFitting() {
		w.fitDry()
		return
	}
	if w.jobs.Busy() {
		w.next.Say(waitWords, part.Warning)
		return
	}
	align, pose := d.Aligner(), w.watchDrift()
	var out session.Verdict
	w.run("Laying the scans on one another", func(ctx context.Context, report job.Report) (err error) {
		out, err = align(ctx, report, pose)
		return err
	}, func() {
		if d == w.desk {
			w.aligned(out)
		}
	})
}

// aligned shows what came of aligning; where that is not accepted, pairs are picked
// at once.
func (w *Window) aligned(out session.Verdict) {
	d := w.desk
	var err error
	w.painter.Hold(func() { err = d.Refresh(nil) })
	if err != nil {
		w.fail(err)
		return
	}
	if out.Verdict == annotate.VerdictAccepted {
		d.LetScaleDiffer = false
	}
	w.log("aligned", map[string]any{"verdict": out.Verdict, "reason": out.Reason, "checks": out.Checks, "checks_rms_mm": out.CheckRMS})
	w.placed = false
	w.resized(func() { w.afterAligning(out) }) // a fit that lets the scale differ changes the size
}

// afterAligning shows what is left over, or asks for pairs.
func (w *Window) afterAligning(out session.Verdict) {
	d := w.desk
	if out.Verdict == annotate.VerdictAccepted && d.View == out.Use {
		d.EndPicking()
		w.edge, w.glass = false, false
		w.refresh()
		if w.task == taskAlign {
			w.showLeftover()
		}
		return
	}
	if w.task != taskAlign || d.View != out.Use { // somebody went on with something else meanwhile
		d.EndPicking()
		w.refresh()
		w.next.Say(sentence(out.Reason)+" "+sentence(out.NextStep), part.Refused)
		return
	}
	w.pickSince(out)
}

// verdictHeading is the word for how an alignment turned out, in its colour.
func verdictHeading(verdict string) fyne.CanvasObject {
	h := part.NewSentence(title(terms.Label(terms.AlignWord, verdict)), look.TextHeading, 260)
	h.Bold, h.Tone = true, part.Accepted
	if verdict != annotate.VerdictAccepted {
		h.Tone = part.Refused
	}
	return h
}
