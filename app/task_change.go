package app

import (
	"context"
	"fmt"
	"image"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/widget"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
)

// changeTask shows what was removed and added between the two dates in hand.
func (w *Window) changeTask() {
	d := w.desk
	w.slip.Add(part.SectionName("CHANGE"))
	if d.Other == (annotate.UseKey{}) {
		w.slip.Add(part.Heading("Nothing to compare yet"))
		w.next.Say("Hold the other date: press its bead on the bench line with Shift, or with the second button.", part.Ink)
		return
	}
	c := d.Changed
	w.readyOther()
	if c == nil {
		w.slip.Add(part.Heading("Not compared yet"))
		w.next.Say(fmt.Sprintf("Compare %s with %s: what is gone and what came is then drawn on the specimen in millimetres.", w.stageWords(d.Other.Stage), w.stageWords(d.View.Stage)), part.Ink)
		w.next.Offer("Compare", w.compare)
		return
	}
	for _, t := range []struct {
		word string
		why  string
		text string
	}{{"Removed", c.Volume.Removed.Why, volumeText(c, true)}, {"Added", c.Volume.Added.Why, volumeText(c, false)}} {
		w.slip.Add(part.NewSentence("**"+t.word+" "+t.text+"**", look.TextHeading, 264))
		if t.why != "" {
			w.slip.Add(part.NewSentence(sentence(t.why), look.TextCaption, 264))
		}
	}
	var ways []string
	for _, k := range c.Volume.Checks {
		ways = append(ways, fmt.Sprintf("%s: %.4g and %.4g\u00a0cm³", k.Method, k.RemovedMM3/1000, k.AddedMM3/1000))
	}
	agree := "They agree."
	if !c.Volume.Consistent {
		agree = "They do **not** agree."
	}
	if len(ways) > 0 {
		w.slip.Add(part.NewSentence("Other ways, removed and added; "+strings.Join(ways, "; ")+". "+agree, look.TextCaption, 264))
	}
	w.slip.Add(part.NewSentence(fmt.Sprintf("Smallest change this pair can show: %s.", mm(c.Change.SmallestMM)), look.TextCaption, 264))
	w.slip.Add(part.SectionName("CHANGE AREAS"))
	for i, a := range c.Change.Areas {
		volume := "volume declined"
		if i < len(c.Volume.Areas) && c.Volume.Areas[i].Volume != nil {
			volume = c.Volume.Areas[i].Volume.String()
		}
		w.slip.Add(part.NewSentence(fmt.Sprintf("**C%d** %s, %s; %.1f\u00a0cm², mean %s", i+1, a.Kind, volume, a.Surface.Value/100, mm(a.MeanDepthMM)), look.TextRow, 264))
		w.slip.Add(w.whatField(i))
	}
	if len(c.Change.Areas) == 0 {
		w.slip.Add(part.NewSentence("No change this pair can show.", look.TextBody, 264))
	}
	w.shelf.Add(w.changeScale(c))
	w.next.Say("Press on the specimen to read how far the surface moved there. Say of each area what it was.", part.Ink)
	w.next.Offer("Map", func() { w.Choose(taskMap) })
}

func volumeText(c *session.Comparison, removed bool) string {
	e := c.Entry()
	m := e.Added
	if removed {
		m = e.Removed
	}
	if m == nil {
		return "not measured"
	}
	return m.String()
}

// whatField says what a change area was.
func (w *Window) whatField(i int) fyne.CanvasObject {
	c := w.desk.Changed
	list := terms.WhatRemoved
	if c.Change.Areas[i].Kind == "added" {
		list = terms.WhatAdded
	}
	var words []string
	chosen := ""
	for _, t := range terms.All(list) {
		words = append(words, t.Label)
		if t.ID == c.What[i] {
			chosen = t.Label
		}
	}
	s := widget.NewSelect(words, nil)
	s.SetSelected(chosen)
	s.OnChanged = func(word string) {
		for _, t := range terms.All(list) {
			if t.Label == word {
				if err := w.desk.SayWhat(i, t.ID); err != nil {
					w.fail(err)
					return
				}
				w.log("what", map[string]any{"area": i + 1, "what": t.ID})
				w.title.refresh()
			}
		}
	}
	return s
}

// compare measures beside the window.
func (w *Window) compare() {
	d := w.desk
	var c *session.Comparison
	w.run("Comparing the scans", func(ctx context.Context, report job.Report) (err error) {
		c, err = d.Compare(ctx, report)
		return err
	}, func() {
		if c.To != d.View {
			d.View, d.Other = c.To, c.From
		}
		d.Changed = c
		w.log("compared", map[string]any{"from": c.From.String(), "to": c.To.String(), "areas": len(c.Change.Areas)})
		w.refresh()
	})
}

// changeScale is the scale of change with its words.
func (w *Window) changeScale(c *session.Comparison) fyne.CanvasObject {
	full, step := w.desk.ChangeScale(c)
	th := look.Current()
	ramp := func(r *terms.Ramp, flip bool) fyne.CanvasObject {
		f := canvas.NewRaster(func(pw, ph int) image.Image {
			img := image.NewRGBA(image.Rect(0, 0, max(pw, 1), max(ph, 1)))
			for x := range img.Rect.Dx() {
				k := x * 255 / max(img.Rect.Dx()-1, 1)
				if flip {
					k = 255 - k
				}
				for y := range img.Rect.Dy() {
					img.SetRGBA(x, y, r[k])
				}
			}
			return img
		})
		f.SetMinSize(fyne.NewSize(th.Px(220), th.Px(22)))
		return f
	}
	grey := canvas.NewRectangle(terms.Unchanged)
	grey.SetMinSize(fyne.NewSize(th.Px(220), th.Px(22)))
	under := func(o fyne.CanvasObject, words string) fyne.CanvasObject {
		return container.NewVBox(o, part.NewSentence(words, look.TextCaption, th.Px(220)))
	}
	least := c.Change.SmallestMM
	scales := container.NewHBox(
		under(ramp(terms.RemovedRamp(), true), fmt.Sprintf("removed %g\u00a0mm … %.2f\u00a0mm", full, least)),
		under(grey, "nothing this pair can show"),
		under(ramp(terms.AddedRamp(), false), fmt.Sprintf("added %.2f\u00a0mm … %g\u00a0mm", least, full)))
	words := part.NewSentence(fmt.Sprintf("Solid line: every %g\u00a0mm removed. Thick rim: added. Crosses: not in the other scan.", step), look.TextCaption, th.Px(620))
	return container.NewVBox(scales, words)
}
