package app

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"math"

	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/mesh/render"
)

// showLeftover colours the specimen by what the alignment left over, measured
// beside the window where that has not been done.
func (w *Window) showLeftover() {
	d, key := w.desk, w.desk.View
	show := func() {
		w.painter.Hold(func() { d.ShowLeftover(true) })
		w.glass, w.edge = false, false
		h := d.LeftoverHistogram()
		w.log("leftover", map[string]any{"on": true, "use": key.String(), "smallest_mm": h.SmallestMM, "full_mm": h.FullMM})
		w.refresh()
	}
	if d.ShowLeftover(true) {
		show()
		return
	}
	var out *session.Leftover
	w.run("Measuring what is left over", func(ctx context.Context, report job.Report) (err error) {
		out, err = d.MeasureLeftover(ctx, key, report)
		return err
	}, func() {
		if d != w.desk {
			return
		}
		d.KeepLeftover(out)
		if w.task == taskAlign && d.View == key {
			show()
		}
	})
}

// hideLeftover shows the scan again.
func (w *Window) hideLeftover() {
	w.painter.Hold(func() { w.desk.ShowLeftover(false) })
	w.log("leftover", map[string]any{"on": false})
	w.refresh()
}

// leftoverTask says how what is left over is read.
func (w *Window) leftoverTask() {
	h := w.desk.LeftoverHistogram()
	words := fmt.Sprintf("**Fit residual, not accuracy.** Grey: nearer than %s, which the fit leaves over. Solid line: every %g\u00a0mm lower.", mm3(h.SmallestMM), h.StepMM)
	if h.ElsewhereMM2 > 0 {
		words += " Crosses: not in the other scan, " + session.SurfaceWords(h.ElsewhereMM2) + "."
	}
	scale := gapScale(h, "Lower", "Higher", words)
	w.shelf.Layout = layout.NewBorderLayout(nil, nil, nil, nil)
	w.shelf.Add(container.NewStack(scale))
	w.next.Say("Where nothing changed, colour that hangs together says that fit or scan is off. Press on a place to read it."+w.checksSaid(), part.Ink)
	w.next.Offer("Change", func() { w.Choose(taskChange) })
	w.next.OfferBack("Hide leftover", w.hideLeftover)
}

// sayLeftover says how far off the place that was pressed on lies; it is false
// while that is not shown.
func (w *Window) sayLeftover(p render.Picked) bool {
	if w.task == taskAlign && w.desk.DryFitting() {
		if words := w.desk.GapOfBreakAt(p.Place); words != "" && !w.desk.Together() {
			w.log("asked", map[string]any{"words": words})
			w.next.Say(fmt.Sprintf("Here the break is %s.", words), part.Ink)
		}
		return true
	}
	words := w.desk.LeftoverAt(p.Place)
	if w.task != taskAlign || words == "" {
		return false
	}
	w.log("asked", map[string]any{"words": words})
	w.next.Say(fmt.Sprintf("Here the surface lies %s: fit residual, not accuracy.", words), part.Ink)
	return true
}

// slideNow is the motion that the alignment holds least, where it is drawn: in
// the task Align, but while places are picked or marked.
func (w *Window) slideNow(key annotate.UseKey, c render.Camera) (session.Slide, bool) {
	picking, _, _ := w.desk.Picking()
	if w.task != taskAlign || picking || w.brushesFit() || w.desk.DryFitting() || key != w.desk.View {
		return session.Slide{}, false
	}
	return w.desk.Slide(c)
}

// slideLines draw the way of that motion, to and fro, with a head at both ends.
func slideLines(s session.Slide, c render.Camera) []render.Line {
	ink, casing := toRGBA(look.Of(look.Light).Accent), color.RGBA{255, 255, 255, 255}
	line := render.Line{Points: s.Way, Ink: ink, Casing: casing, WidthMM: 0.003 * c.DistanceMM, CasingMM: 0.002 * c.DistanceMM, Through: true}
	out := []render.Line{line}
	n := len(s.Way)
	long := 0.0
	for i := 1; i < n; i++ {
		long += r3.Norm(r3.Sub(s.Way[i], s.Way[i-1]))
	}
	head := math.Min(0.15*long, 0.02*c.DistanceMM)
	for _, end := range [][2]int{{0, 3}, {n - 1, n - 4}} {
		tip := s.Way[end[0]]
		back := r3.Sub(s.Way[end[1]], tip)
		back = r3.Sub(back, r3.Scale(r3.Dot(back, c.Back), c.Back)) // heads lie across the line of sight
		if r3.Norm(back) < 1e-9 {
			continue
		}
		back = r3.Unit(back)
		aside := r3.Cross(c.Back, back)
		barb := line
		barb.Points = []r3.Vec{
			r3.Add(tip, r3.Scale(head, r3.Add(back, r3.Scale(0.5, aside)))), tip,
			r3.Add(tip, r3.Scale(head, r3.Sub(back, r3.Scale(0.5, aside)))),
		}
		out = append(out, barb)
	}
	return out
}

// overSlide writes beside the way what motion it is, inside the picture.
func overSlide(img *image.RGBA, f *render.Frame, s session.Slide, words render.TextStyle, paper color.RGBA, scale float64) {
	fw, fh := f.Size()
	x, y, _, ok := f.Camera().Project(s.Way[len(s.Way)-1], fw, fh)
	if !ok {
		return
	}
	text := s.Words()
	long := words.Width(text)
	x = min(max(x+14*scale, 12*scale), float64(fw)-long-12*scale)
	y = min(max(y, words.Size*1.5), float64(fh)-words.Size)
	label(img, words, paper, x, y, text)
}

// slideRow says how the drawn motion is read.
func (w *Window) slideRow() {
	s, ok := w.desk.Slide(w.camera)
	if !ok {
		return
	}
	words := "The arrow on the specimen is the motion that the alignment holds least."
	if s.Magnified > 0 {
		words = fmt.Sprintf("The arrow on the specimen is the motion that the alignment holds least: %s at k = 2, drawn %s times as large.", s.Words(), roundly(s.Magnified))
	}
	w.slip.Add(part.NewSentence(words, look.TextCaption, 260))
}

// roundly prints a factor to two digits.
func roundly(v float64) string {
	ten := math.Pow(10, math.Floor(math.Log10(v))-1)
	return fmt.Sprintf("%g", math.Round(v/ten)*ten)
}

// mm3 prints a length to thousandths.
func mm3(v float64) string { return fmt.Sprintf("%.3f\u00a0mm", v) }
