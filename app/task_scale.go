package app

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"fyne.io/fyne/v2/widget"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/mesh/render"
)

// scaleTask finds how large the scan in view is, from bars picked on it.
func (w *Window) scaleTask() {
	d := w.desk
	w.slip.Add(part.SectionName("SCALE"))
	s, c, err := d.ScaleOf()
	if err != nil {
		w.slip.Add(part.NewSentence(sentence(err.Error()), look.TextBody, 260))
		w.next.Say(sentence(err.Error()), part.Refused)
		return
	}
	h := part.NewSentence(title(terms.Label(terms.ScaleWord, s.Verdict)), look.TextHeading, 260)
	h.Bold = true
	switch s.Verdict {
	case annotate.ScaleVerified:
		h.Tone = part.Accepted
	case annotate.ScaleUnverified:
		h.Tone = part.Warning
	}
	w.slip.Add(h)
	w.slip.Add(part.NewSentence(sentence(s.Words()), look.TextBody, 260))
	in := d.Bar()
	if in.On {
		w.barSlip(in)
	}
	w.barTable(s, c)
	if len(s.Bars) == 0 && s.Factor != 1 {
		w.slip.Add(part.TextRow("Factor", strconv.FormatFloat(s.Factor, 'g', 6, 64)))
	}
	w.barShelf(s, c, in)
	w.scaleNext(s, c, in)
}

// barTable lists the bars with their residuals.
func (w *Window) barTable(s annotate.Scale, c *session.Calibration) {
	if len(s.Bars) == 0 {
		return
	}
	w.slip.Add(part.SectionName("BARS, MM"))
	var rows []part.TableRow
	for i, b := range s.Bars {
		r := c.Readings[i]
		residual := "none"
		if len(s.Bars) > 1 {
			residual = signedMM(r.ResidualMM)
		}
		row := part.TableRow{Cells: []string{b.Name, fixedMM(b.Length), shortMM(b.U), fixedMM(b.MeasuredMM()), residual}, Bold: b.Name == w.desk.Bar().Known}
		if session.Doubted(c) && i == c.Worst {
			row.Tone = part.Refused
			row.Cells[4] += "\u00a0!"
		}
		rows = append(rows, row)
	}
	w.slip.Add(part.NewTable([]string{"bar", "stated", "u", "in scan", "residual"}, rows))
	if largest, ok := c.LargestLengthErrorMM(); ok {
		w.slip.Add(part.TextRow("Held out", fmt.Sprintf("%s is the largest error of a bar's length, foretold by the others", signedMM(largest)+"\u00a0mm")))
	}
	w.slip.Add(part.TextRow("Factor", fmt.Sprintf("%.6g, u %.2g", c.Factor, c.U)))
	if c.Reason != "" && s.Verdict != annotate.ScaleVerified {
		w.slip.Add(part.TextRow("Why", sentence(c.Reason)))
	}
	drawn, _ := w.desk.BarsDrawn()
	if m := session.Magnified(drawn); m > 0 {
		w.slip.Add(part.NewSentence(fmt.Sprintf("On the specimen each bar carries its residual in its middle, drawn %g times as long.", m), look.TextCaption, 260))
	}
	for _, n := range w.desk.BarNotes() {
		w.slip.Add(part.NewSentence(sentence(n.Reason)+" "+sentence(n.WayOut), look.TextCaption, 260))
	}
}

// barSlip is the form of the bar in hand.
func (w *Window) barSlip(in session.BarInHand) {
	name := "NEW BAR"
	if in.Known != "" {
		name = "BAR " + strings.ToUpper(in.Known)
	}
	w.slip.Add(part.SectionName(name))
	field := func(label, value, hint string, set func(string)) *widget.Entry {
		e := widget.NewEntry()
		e.SetText(value)
		e.SetPlaceHolder(hint)
		e.OnChanged = set
		e.OnSubmitted = func(string) { w.keepBar() }
		w.slip.Add(part.Row(label, e))
		return e
	}
	w.lengthField = field("Stated, mm", w.typed.Length, "100.02", func(s string) { w.typed.Length = s })
	field("Its u, mm", w.typed.U, "0.02", func(s string) { w.typed.U = s })
	if in.Bar.From == nil {
		field("In the scan", w.typed.Measured, "99.87", func(s string) { w.typed.Measured = s })
	} else {
		w.slip.Add(part.TextRow("In the scan", fmt.Sprintf("%s\u00a0mm, u\u00a0%s", fixedMM(in.Bar.MeasuredMM()), shortMM(in.Bar.MeasuredU))))
	}
	field("Name", w.typed.Name, "found by itself", func(s string) { w.typed.Name = s })
	held := widget.NewCheck("only checks", func(on bool) { w.typed.HeldOut = on })
	held.SetChecked(w.typed.HeldOut)
	w.slip.Add(part.Row("Held out", held))
	if in.Known != "" {
		w.slip.Add(part.NewButton("Take this bar away", func() { w.setScale(w.desk.TakeBarAway) }))
	}
	w.slip.Add(part.NewSentence("u is a standard uncertainty: half of a ± that holds in 95 of 100 cases.", look.TextCaption, 260))
}

// write goes to the length of the bar in hand.
func (w *Window) write() {
	if w.desk.Bar().On && w.lengthField != nil {
		w.win.Canvas().Focus(w.lengthField)
	}
}

// barShelf has the bars to take in hand, and ways to begin one, in as many rows
// as the smallest window needs.
func (w *Window) barShelf(s annotate.Scale, c *session.Calibration, in session.BarInHand) {
	rows := newButtonRows()
	button := rows.button
	button("Pick a bar", "press on both its ends", func() { w.takeBar("") })
	button("Type a bar", "its ends are not on the scan", func() {
		w.desk.TypeBar()
		w.typed = session.Typed{}
		w.refresh()
		w.write()
	})
	if c.Slip != nil {
		button("The lengths are right", "use this factor", func() { w.setScale(w.desk.CheckLengths) })
	}
	for _, b := range s.Bars {
		one := button(b.Name, fixedMM(b.Length)+"\u00a0mm", func() { w.takeBar(b.Name) })
		if b.Name == in.Known {
			one.SetWeight(part.Chosen)
		}
	}
	w.shelf.Add(rows.room)
}

// scaleNext says what to do now.
func (w *Window) scaleNext(s annotate.Scale, c *session.Calibration, in session.BarInHand) {
	switch {
	case in.First != nil:
		w.next.Say("Now press on the other end of the same bar.", part.Ink)
		w.next.OfferBack("Give up", func() { w.takeBar("") })
	case in.On && in.Known == "":
		w.next.Say("Write the length that is stated for this bar and how well it is known, then press **Keep this bar**.", part.Ink)
		w.next.Offer("Keep this bar", w.keepBar)
		w.next.OfferBack("Give up", func() { w.takeBar("") })
	case in.On:
		w.next.Say(fmt.Sprintf("Correct bar %s, or press on the specimen to pick both its ends anew; then press **Keep this bar**.", in.Known), part.Ink)
		w.next.Offer("Keep this bar", w.keepBar)
		w.next.OfferBack("Leave it", func() { w.takeBar("") })
	case c.Slip != nil:
		w.next.Say(sentence(c.Slip.Words)+" Correct the lengths, or add the scan again in its right unit.", part.Warning)
	case session.Doubted(c):
		w.next.Say(sentence(c.Reason)+" "+sentence(c.NextStep), part.Warning)
	case len(s.Bars) == 0:
		w.next.Say("Press on both ends of one scale bar, then write its length. A second bar shows how good the first one is.", part.Ink)
	case len(s.Bars) == 1:
		w.next.Say("Press on both ends of a second bar, best in another direction: nothing checks the first one yet.", part.Ink)
	case len(s.Bars) == 2:
		w.next.Say("Press on both ends of a third bar: then each can be held out and foretold by the others.", part.Ink)
	default:
		w.next.Say("The bars agree. Lay this scan on another date next, or press on both ends of one more bar.", part.Accepted)
		w.next.Offer("Align", func() { w.Choose(taskAlign) })
	}
}

// takeBar takes a bar in hand; none with an empty name.
func (w *Window) takeBar(name string) {
	w.desk.DropBar()
	w.typed = session.Typed{}
	if name != "" {
		w.desk.TakeBar(name)
		b := w.desk.Bar().Bar
		w.typed = session.Typed{Name: b.Name, HeldOut: b.HeldOut, Length: plainMM(b.Length), U: plainMM(b.U)}
		if b.From == nil {
			w.typed.Measured = plainMM(b.Measured)
		}
	}
	w.log("bar", map[string]any{"name": name})
	w.refresh()
	w.write()
}

// barEnd takes a place as an end of a bar.
func (w *Window) barEnd(p render.Picked) {
	_, ph := w.specimen.Pixels()
	if in := w.desk.Bar(); in.First == nil && !in.On {
		w.typed = session.Typed{}
	}
	if err := w.desk.BarEnd(p.Place, 1/w.camera.PixelsPerMM(ph)); err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	in := w.desk.Bar()
	w.log("bar end", map[string]any{"both": in.On, "x": p.Point.X, "y": p.Point.Y, "z": p.Point.Z, "length_mm": in.Bar.MeasuredMM()})
	w.refresh()
	w.write()
}

// keepBar puts the bar in hand among those that count.
func (w *Window) keepBar() {
	typed := w.typed
	w.setScale(func(ctx context.Context) (*session.Scaled, error) { return w.desk.KeepBar(ctx, typed) })
}

// setScale changes the scale beside the window, then shows the specimen in its
// new size.
func (w *Window) setScale(set func(context.Context) (*session.Scaled, error)) {
	var out *session.Scaled
	w.run("Finding the scale", func(ctx context.Context, _ job.Report) (err error) {
		out, err = set(ctx)
		return err
	}, func() {
		w.desk.DropBar()
		w.typed = session.Typed{}
		before := w.factor()
		var err error
		w.painter.Hold(func() { err = w.desk.Refresh(nil) })
		if err != nil {
			w.fail(err)
			return
		}
		w.log("scale", map[string]any{"use": w.desk.View.String(), "verdict": out.Scale.Verdict, "factor": out.Scale.Calibrated(), "relative_u": out.Scale.RelativeU, "bars": len(out.Scale.Bars), "stale": len(out.Stale)})
		if before != 0 && math.Abs(out.Scale.Calibrated()/before-1) > 0.01 {
			w.placed = false
		}
		w.resized(func() {
			w.refresh()
			if n := len(out.Stale); n > 0 && out.Calibration.Slip == nil && !session.Doubted(out.Calibration) {
				w.next.Say(fmt.Sprintf("The scale is kept. %s no longer the size of what it was laid on: align it again, it begins where it lay.", w.datesWords(out.Stale)), part.Warning)
				w.next.Offer("Align", func() { w.Choose(taskAlign) })
			}
		})
	})
}

// factor is what the use in view is multiplied by, 0 where it is not loaded.
func (w *Window) factor() float64 {
	if b := w.desk.Body(w.desk.View); b != nil {
		return b.Use.Scale.Calibrated()
	}
	return 0
}

// datesWords names the stages of uses, with their verb.
func (w *Window) datesWords(keys []annotate.UseKey) string {
	if len(keys) == 1 {
		return "The scan of " + w.stageWords(keys[0].Stage) + " has"
	}
	return fmt.Sprintf("%d scans have", len(keys))
}

// resized loads again what the desk put off because its size changed, then does
// the rest.
func (w *Window) resized(done func()) {
	w.load(w.desk.View, func() {
		w.load(w.desk.Other, done)
	})
}

// barLook is the colours of bars in a theme.
func barLook(c look.Tokens) session.BarLook {
	return session.BarLook{Ink: toRGBA(c.Accent), Casing: ground(), Doubt: toRGBA(c.Refused)}
}

// nameBars writes the names of bars and their residuals beside their middles,
// inside the picture and not over one another.
func nameBars(img *image.RGBA, f *render.Frame, bars []session.BarDrawn, style render.TextStyle, paper color.RGBA) {
	var taken []image.Rectangle
	wide, high := f.Size()
	for _, b := range bars {
		x, y, _, ok := f.Camera().Project(r3.Scale(0.5, r3.Add(b.From, b.To)), wide, high)
		if !ok || b.Name == "" {
			continue
		}
		words := b.Name
		if b.Checked {
			words += " " + signedMM(b.ResidualMM) + "\u00a0mm"
		}
		if b.Doubted {
			words += ", in doubt"
		}
		long := style.Width(words)
		x = min(max(x-long/2, 10), float64(wide)-long-10)
		y = min(max(y-style.Size, style.Size*1.2), float64(high)-style.Size)
		at := func() image.Rectangle {
			return image.Rect(int(x-6), int(y-style.Size*1.1), int(x+long+7), int(y+style.Size*0.45))
		}
		for tries := 0; tries < 12; tries++ {
			hit := false
			for _, t := range taken {
				hit = hit || t.Overlaps(at())
			}
			if !hit {
				break
			}
			if y += style.Size * 1.7; y > float64(high)-style.Size {
				y = style.Size * 1.2
			}
		}
		taken = append(taken, at())
		label(img, style, paper, x, y, words)
	}
}

// fixedMM prints a length for a column, shortMM an uncertainty, plainMM what may
// be written into a field again.
func fixedMM(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }
func shortMM(v float64) string { return strconv.FormatFloat(v, 'g', 2, 64) }
func plainMM(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// signedMM prints a residual with its sign.
func signedMM(v float64) string {
	text := fmt.Sprintf("%+.3f", v)
	switch {
	case math.Abs(v) >= 10:
		text = fmt.Sprintf("%+.1f", v)
	case math.Abs(v) < 0.0005:
		return "0.000"
	}
	return strings.Replace(text, "-", "\u2212", 1)
}
