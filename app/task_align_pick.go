package app

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/mesh/render"
)

// startPicking begins the pairs of a fit anew.
func (w *Window) startPicking() {
	w.desk.EndPicking()
	w.pickFor(false)
}

// pickFor picks check points, or pairs of the fit.
func (w *Window) pickFor(checks bool) {
	if was, _, _ := w.desk.Picking(); !was {
		w.pickViews = map[annotate.UseKey]render.Camera{w.desk.View: w.camera}
	}
	if err := w.desk.PickFor(checks); err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	w.beginPicks(checks)
}

// pickSince goes on picking, since what came of aligning was not accepted.
func (w *Window) pickSince(out session.Verdict) {
	if w.pickViews == nil {
		w.pickViews = map[annotate.UseKey]render.Camera{}
	}
	// The sentence says why; what to do about it stands in the slip.
	if err := w.desk.ResumePicking(out); err != nil {
		w.refresh()
		w.next.Say(sentence(out.Reason)+" "+sentence(out.NextStep), part.Refused)
		return
	}
	w.beginPicks(false)
}

func (w *Window) beginPicks(checks bool) {
	w.log("picking", map[string]any{"checks": checks})
	w.glass, w.edge = false, false
	w.desk.ShowLeftover(false)
	w.turnToPick()
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
	checks, _ := w.desk.Checking()
	w.log("picked", map[string]any{"pairs": pairs, "checks": checks, "x": p.Point.X, "y": p.Point.Y, "z": p.Point.Z})
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

// pickTask shows the pairs picked so far and which place is wanted next.
func (w *Window) pickTask() {
	d := w.desk
	_, pairs, next := d.Picking()
	checks, fit := d.Checking()
	if why := d.PickingWhy(); why.Reason != "" {
		w.slip.Add(verdictHeading(why.Verdict.Verdict))
		w.slip.Add(part.TextRow("Why", sentence(why.Reason)))
		w.slip.Add(part.TextRow("Next", sentence(why.NextStep)))
	}
	if !checks || fit > 0 {
		w.pickSlip(fit)
	}
	w.checkSlip(checks)
	rows := newLowRows()
	rows.choice("Pick pairs", "they carry the fit", !checks, func() { w.pickFor(false) })
	if !d.DryFitting() {
		rows.choice("Check points", "held out of the fit", checks, func() { w.pickFor(true) })
		w.scaleChoice(rows)
	}
	rows.button("Last place back", "of this kind", func() { d.TakeBack(); w.turnToPick(); w.refresh() })
	rows.button("Give up picking", "nothing is kept", func() { d.EndPicking(); w.placed = false; w.refresh() })
	w.slipButton(rows)
	w.shelf.Add(rows.room)
	w.pickStep(checks, fit, pairs, next)
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

// checkSlip lists the check points with what they are off.
func (w *Window) checkSlip(inHand bool) {
	n := w.desk.Checks()
	if n == 0 && !inHand {
		return
	}
	words := fmt.Sprintf("%d check points", n)
	if n == 1 {
		words = "1 check point"
	}
	w.slip.Add(part.Heading(words))
	w.slip.Add(part.NewSentence("Held out of the fit: they alone can show an error as long as the specimen. The ring round each has the radius of what it is off.", look.TextCaption, 260))
	off := w.desk.ChecksMM()
	for i := range n {
		words := "known once the dates lie on one another"
		if i < len(off) {
			words = mm(off[i]) + " off"
		}
		w.slip.Add(part.TextRow(fmt.Sprintf("Check %d", i+1), words))
	}
}

// pickLines draws picked places: a dot, a double one for a check point, and a ring
// whose radius is what the pair is off, in true mm.
func (w *Window) pickLines(marks []session.PickMark, c render.Camera) []render.Line {
	ink, casing := toRGBA(look.Of(look.Light).Ink), toRGBA(look.Of(look.Light).AccentText)
	var out []render.Line
	for _, m := range marks {
		circle := func(radius float64) []r3.Vec {
			const corners = 48
			var points []r3.Vec
			for k := range corners + 1 {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / corners)
				points = append(points, r3.Add(m.At, r3.Add(r3.Scale(radius*cos, c.Right), r3.Scale(radius*sin, c.Up))))
			}
			return points
		}
		dot := 0.004 * c.DistanceMM
		out = append(out, render.Line{Points: circle(dot), Ink: ink, Casing: casing, CasingMM: dot, Through: true})
		if m.Check {
			out = append(out, render.Line{Points: circle(2.2 * dot), Ink: ink, Casing: casing, Through: true})
		}
		if m.ResidualMM > 0 {
			out = append(out, render.Line{Points: circle(m.ResidualMM), Ink: ink, Casing: casing, Through: true})
		}
	}
	return out
}

// overPicks writes beside each picked place which it is, and of a check point what
// it is off.
func overPicks(img *image.RGBA, f *render.Frame, marks []session.PickMark, words render.TextStyle, paper color.RGBA, scale float64) {
	fw, fh := f.Size()
	for _, m := range marks {
		x, y, _, ok := f.Camera().Project(m.At, fw, fh)
		if !ok {
			continue
		}
		name := fmt.Sprint(m.Number)
		if m.Check {
			if name = fmt.Sprintf("check %d", m.Number); m.ResidualMM > 0 {
				name += ", " + mm(m.ResidualMM)
			}
		}
		label(img, words, paper, x+12*scale, y-8*scale, name)
	}
}

// pickStep says which place is wanted next.
func (w *Window) pickStep(checks bool, fit, pairs int, next annotate.UseKey) {
	whole := next == w.desk.Other
	kind, place := "Pair", "a place that you know on both dates"
	if w.desk.DryFitting() {
		place = "a place where the broken faces touched"
	}
	if checks {
		kind, place = "Check point", "a mark that you can find again; it takes no part in the fit"
	}
	words := fmt.Sprintf("%s %d: press, on the scan of **%s**, on %s.", kind, pairs+1, w.useWords(next), place)
	if !whole {
		words = fmt.Sprintf("%s %d: press on the same place on the scan of **%s**.", kind, pairs+1, w.useWords(next))
	}
	tone := part.Ink
	if why := w.desk.PickingWhy(); why.Reason != "" && whole && pairs == why.Pairs && !checks {
		words, tone = sentence(why.Reason)+" "+words, part.Refused
	}
	if off := w.desk.ChecksMM(); checks && whole && pairs > 0 && len(off) == pairs {
		words = fmt.Sprintf("Check point %d lies %s off. ", pairs, mm(off[pairs-1])) + words
	}
	w.next.Say(words, tone)
	switch {
	case !whole:
	case fit >= 3, checks && pairs > 0 && fit == 0:
		w.next.Offer("Lay on", w.findFit)
	case checks && fit > 0:
		w.next.Offer("Pick pairs", func() { w.pickFor(false) }) // one or two hold nothing
	}
}
