package app

import (
	"context"
	"fmt"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/mesh/render"
)

// alignTask lays the date in view on the other one.
func (w *Window) alignTask() {
	d := w.desk
	w.slip.Add(part.SectionName("ALIGNMENT"))
	w.alignSlip()
	w.readyOther()
	if on, pairs, next := d.Picking(); on {
		w.pickStep(pairs, next)
		return
	}
	if d.Other == (annotate.UseKey{}) {
		w.next.Say("Hold the other date: press its bead on the bench line with Shift, or with the second button.", part.Ink)
		return
	}
	w.shelf.Add(part.NewButton("Find the fit", w.findFit))
	w.shelf.Add(part.NewButton("Pick three pairs", w.startPicking))
	w.next.Say("Pick three or more places that show the same spot on both dates, far apart, on surface that did not change; then press **Lay on**.", part.Ink)
	w.next.Offer("Pick pairs", w.startPicking)
	w.next.OfferBack("Find the fit", w.findFit)
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
		return
	}
	tone := part.Accepted
	if a.Verdict != annotate.VerdictAccepted {
		tone = part.Refused
	}
	h := part.NewSentence(title(terms.Label(terms.AlignWord, a.Verdict)), look.TextHeading, 260)
	h.Bold, h.Tone = true, tone
	w.slip.Add(h)
	if a.Verdict != annotate.VerdictRefused {
		w.slip.Add(part.Value(mm(a.FitResidualRMS), part.Ink))
		w.slip.Add(part.NewSentence("left over where both scans show the same surface. Fit residual, not accuracy.", look.TextBody, 260))
		w.slip.Add(part.TextRow("Check", mm(a.CheckRMS)+" on places that took no part in the fit"))
		w.slip.Add(part.TextRow("Held by", fmt.Sprintf("%.0f\u00a0%% of this scan, %.0f\u00a0%% of the other", 100*a.StableShareAfter, 100*a.StableShareBefore)))
		if a.WeakestDirection != "" {
			w.slip.Add(part.TextRow("Weakest", a.WeakestDirection))
		}
	}
	if a.Reason != "" {
		w.slip.Add(part.TextRow("Why", a.Reason))
	}
	if a.NextStep != "" {
		w.slip.Add(part.TextRow("Next", a.NextStep))
	}
	if b.Surface != nil {
		w.slip.Add(part.TextRow("Scale", lower(terms.Label(terms.ScaleWord, u.Scale.Verdict))))
	}
}

func (w *Window) startPicking() {
	if err := w.desk.BeginPicking(); err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	w.log("picking", nil)
	w.glass, w.edge = false, false
	w.refresh()
}

// picked takes a place of a pair.
func (w *Window) picked(p render.Picked) {
	if p.Inside {
		return
	}
	if err := w.desk.Pick(p.Place); err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	_, pairs, _ := w.desk.Picking()
	w.log("picked", map[string]any{"pairs": pairs, "x": p.Point.X, "y": p.Point.Y, "z": p.Point.Z})
	w.placed = false
	w.refresh()
}

// pickStep says which place is wanted next.
func (w *Window) pickStep(pairs int, next annotate.UseKey) {
	w.shelf.Add(part.NewButton("Take the last place back", func() { w.desk.TakeBack(); w.placed = false; w.refresh() }))
	w.shelf.Add(part.NewButton("Give up picking", func() { w.desk.EndPicking(); w.placed = false; w.refresh() }))
	words := fmt.Sprintf("Pair %d: press on a place on the scan of **%s** that you know on both dates.", pairs+1, w.stageWords(next.Stage))
	if next == w.desk.View {
		words = fmt.Sprintf("Pair %d: press on the same place on the scan of **%s**.", pairs+1, w.stageWords(next.Stage))
	}
	w.next.Say(words, part.Ink)
	if pairs >= 3 && next == w.desk.Other {
		w.next.Offer("Lay on", w.findFit)
	}
}

// findFit aligns beside the window.
func (w *Window) findFit() {
	d := w.desk
	var out session.Verdict
	w.run("Laying the scans on one another", func(ctx context.Context, report job.Report) (err error) {
		out, err = d.Align(ctx, report)
		return err
	}, func() {
		d.EndPicking()
		var err error
		w.painter.Hold(func() { err = d.Refresh(nil) })
		if err != nil {
			w.fail(err)
		}
		w.log("aligned", map[string]any{"verdict": out.Verdict, "reason": out.Reason})
		w.placed = false
		if out.Verdict == annotate.VerdictAccepted {
			w.edge = true
		}
		w.refresh()
		switch out.Verdict {
		case annotate.VerdictAccepted:
			w.next.Say("The scans lie on one another. Slide the date edge over bare surface: cracks should run straight through it.", part.Accepted)
		default:
			w.next.Say(sentence(out.Reason)+" "+sentence(out.NextStep), part.Refused)
		}
	})
}
