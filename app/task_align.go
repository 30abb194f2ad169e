package app

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

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
	w.readyOther()
	on, pairs, next := d.Picking()
	if !on {
		w.alignSlip()
	} else {
		w.pickSlip(pairs)
		w.pickStep(pairs, next)
		return
	}
	if d.Other == (annotate.UseKey{}) {
		w.next.Say("Hold the other date: press its bead on the bench line with Shift, or with the second button.", part.Ink)
		return
	}
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
	w.pickViews = map[annotate.UseKey]render.Camera{w.desk.View: w.camera}
	w.log("picking", nil)
	w.glass, w.edge = false, false
	w.refresh()
}

// picked takes a place of a pair.
func (w *Window) picked(p render.Picked) {
	if p.Inside {
		return
	}
	// Each date keeps its own view, so that nobody has to come near again for
	// every place.
	from := w.inSight()
	if err := w.desk.Pick(p.Place); err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	w.pickViews[from] = w.camera
	_, pairs, _ := w.desk.Picking()
	w.log("picked", map[string]any{"pairs": pairs, "x": p.Point.X, "y": p.Point.Y, "z": p.Point.Z})
	w.turnToPick()
	w.refresh()
}

// turnToPick shows the date that the next place is wanted on as it was last seen.
func (w *Window) turnToPick() {
	c, ok := w.pickViews[w.inSight()]
	if w.placed = ok; ok {
		w.camera = c
	}
}

// pickSlip says how the pairs agree while they are picked.
func (w *Window) pickSlip(pairs int) {
	words := fmt.Sprintf("%d pairs", pairs)
	if pairs < 3 {
		words = fmt.Sprintf("%d of at least 3 pairs", pairs)
	}
	w.slip.Add(part.Heading(words))
	fit, ok := w.desk.PickFit()
	if !ok {
		if pairs >= 3 {
			w.slip.Add(part.NewSentence("The places lie on one line and leave a turn free: pick one well off it.", look.TextBody, 260))
		}
		return
	}
	for i, r := range fit.ResidualMM {
		words := mm(r)
		if out := fit.LeftOutMM[i]; !math.IsNaN(out) {
			words += "; " + mm(out) + " by the others"
		}
		w.slip.Add(part.TextRow(fmt.Sprintf("Pair %d", i+1), words))
	}
	if pairs > 3 {
		w.slip.Add(part.TextRow("Far end", "about "+mm(fit.FarMM)+" from these pairs alone"))
	}
	w.slip.Add(part.NewSentence("What each pair is off; the ring round its place has that radius. A slip shows best in what the others say of it. The fit on the surface that follows is finer.", look.TextCaption, 260))
}

// pickLines draws the picked places of a use: a dot, and a ring whose radius is
// what the pair is off, in true mm.
func (w *Window) pickLines(key annotate.UseKey, c render.Camera) []render.Line {
	ink, casing := toRGBA(look.Of(look.Light).Ink), toRGBA(look.Of(look.Light).AccentText)
	var out []render.Line
	for _, m := range w.desk.PickMarks(key) {
		circle := func(radius float64) []r3.Vec {
			const corners = 48
			var points []r3.Vec
			for k := range corners + 1 {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / corners)
				points = append(points, r3.Add(m.At, r3.Add(r3.Scale(radius*cos, c.Right), r3.Scale(radius*sin, c.Up))))
			}
			return points
		}
		out = append(out, render.Line{Points: circle(0.004 * c.DistanceMM), Ink: ink, Casing: casing, CasingMM: 0.004 * c.DistanceMM, Through: true})
		if m.ResidualMM > 0 {
			out = append(out, render.Line{Points: circle(m.ResidualMM), Ink: ink, Casing: casing, Through: true})
		}
	}
	return out
}

// pickStep says which place is wanted next.
func (w *Window) pickStep(pairs int, next annotate.UseKey) {
	w.shelf.Add(part.NewButton("Take the last place back", func() { w.desk.TakeBack(); w.turnToPick(); w.refresh() }))
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
