package app

import (
	"context"
	"fmt"
	"image/color"
	"slices"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"
	"fyne.io/fyne/v2/widget"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/mesh/render"
)

// changeTask shows what was removed and added between the two dates in hand.
func (w *Window) changeTask() {
	d := w.desk
	if d.Other == (annotate.UseKey{}) || d.Changed == nil {
		w.walk, d.Proposed = changing{area: -1}, nil
	}
	if d.Other == (annotate.UseKey{}) {
		w.slip.Add(part.SectionName("CHANGE"))
		w.slip.Add(part.Heading("Nothing to compare yet"))
		w.next.Say("Hold the other date: press its bead on the bench line with Shift, or with the second button.", part.Ink)
		return
	}
	w.readyOther()
	c := d.Changed
	if c == nil {
		w.slip.Add(part.SectionName("CHANGE"))
		w.slip.Add(part.Heading("Not compared yet"))
		w.next.Say(fmt.Sprintf("Compare %s with %s: what is gone and what came is then drawn on the specimen in millimetres.", w.stageWords(d.Other.Stage), w.stageWords(d.View.Stage)), part.Ink)
		w.next.Offer("Compare", w.compare)
		return
	}
	d.Reread() // undo may have taken an answer back
	if w.walk.on {
		w.proposalTask()
		return
	}
	w.slip.Add(part.SectionName(strings.ToUpper(fmt.Sprintf("CHANGE, %s TO %s", w.dateOf(c.From.Stage), w.dateOf(c.To.Stage)))))
	w.totals(c)
	w.slip.Add(part.SectionName("CHANGE AREAS"))
	for i := range c.Change.Areas {
		w.slip.Add(w.areaItem(c, i))
		if i == w.walk.area {
			w.slip.Add(w.whatField(i))
		}
	}
	if len(c.Change.Areas) == 0 {
		w.slip.Add(part.NewSentence("No change this pair can show.", look.TextBody, 264))
	}
	w.otherWays(c)
	w.pointAtArea(c)
	w.shelf.Layout = layout.NewBorderLayout(nil, nil, nil, nil)
	w.shelf.Add(w.changeScale(c))
	w.next.OfferBack("Map", func() { w.Choose(taskMap) })
	if i := w.walk.area; i >= 0 && i < len(c.Change.Areas) {
		w.next.Say(fmt.Sprintf("Say what %s was. **Proposals** says what the program would make of every area, one after the other.", session.ChangeID(i)), part.Ink)
	} else {
		w.next.Say("Press on the specimen to read how far the surface moved there, or on an area to turn to it. **Proposals** says what the map could hold.", part.Ink)
	}
	w.next.Offer("Proposals", w.propose)
}

// dateOf is the date of a stage, or its word where it has none.
func (w *Window) dateOf(stage string) string {
	r := w.desk.Project.Record()
	s, ok := r.Stage(stage)
	switch {
	case !ok:
		return stage
	case s.Date == "":
		return lower(terms.Label(terms.StageKind, s.Kind))
	}
	return shortDate(s.Date)
}

// totals says how much was removed and added, and how well that is known.
func (w *Window) totals(c *session.Comparison) {
	e := c.Entry()
	removed, added := 0, 0
	for _, a := range c.Change.Areas {
		if a.Kind == "added" {
			added++
		} else {
			removed++
		}
	}
	areas := func(n int) string {
		if n == 1 {
			return "1 area"
		}
		return fmt.Sprintf("%d areas", n)
	}
	for _, t := range []struct {
		word  string
		n     int
		known bool
		value string
		on    string
		why   string
	}{
		{"removed", removed, e.Removed != nil, session.Words(e.Removed), c.Volume.Removed.Surface.String(), c.Volume.Removed.Why},
		{"added", added, e.Added != nil, session.Words(e.Added), c.Volume.Added.Surface.String(), c.Volume.Added.Why},
	} {
		if t.n == 0 {
			w.slip.Add(part.NewSentence("**Nothing "+t.word+"** that this pair can show", look.TextBody, 264))
			continue
		}
		if t.known {
			w.slip.Add(part.NewSentence(fmt.Sprintf("**%s, %s %s**", areas(t.n), t.value, t.word), look.TextHeading, 264))
		} else {
			w.slip.Add(part.NewSentence(fmt.Sprintf("**%s %s, volume not measured**", areas(t.n), t.word), look.TextHeading, 264))
		}
		w.slip.Add(part.NewSentence("on "+t.on, look.TextCaption, 264))
		if t.why != "" {
			w.slip.Add(part.NewSentence(sentence(t.why), look.TextCaption, 264))
		}
	}
	w.slip.Add(part.NewSentence(fmt.Sprintf("± is at k = 2. Smallest change this pair can show: %s.", mm(c.Change.SmallestMM)), look.TextCaption, 264))
}

// otherWays says what other ways of measuring find.
func (w *Window) otherWays(c *session.Comparison) {
	e := c.Entry()
	var ways []string
	for _, k := range c.Volume.Checks {
		ways = append(ways, fmt.Sprintf("%s: %s and %s", k.Method, session.Beside(e.Removed, k.RemovedMM3), session.Beside(e.Added, k.AddedMM3)))
	}
	agree := "They agree."
	if !c.Volume.Consistent {
		agree = "They do **not** agree."
	}
	if len(ways) > 0 {
		w.slip.Add(part.SectionName("OTHER WAYS, REMOVED AND ADDED"))
		w.slip.Add(part.NewSentence(title(strings.Join(ways, "; "))+". "+agree, look.TextCaption, 264))
	}
}

// areaItem is a row of the list of change areas.
func (w *Window) areaItem(c *session.Comparison, i int) *part.Item {
	a := c.Change.Areas[i]
	volume := "volume not measured"
	if i < len(c.Volume.Areas) && c.Volume.Areas[i].Volume != nil {
		volume = c.Volume.Areas[i].Volume.String()
	}
	text := fmt.Sprintf("%s, mean %s, at most %s", a.Surface, mm(a.MeanDepthMM), mm(a.MaxDepthMM))
	list := terms.WhatRemoved
	if a.Kind == "added" {
		list = terms.WhatAdded
	}
	if i != w.walk.area && c.What[i] != "" {
		text += ". What: " + lower(terms.Label(list, c.What[i])) + "."
	}
	item := part.NewItem(fmt.Sprintf("**%s** %s", session.ChangeID(i), a.Kind), volume, text, func() { w.takeArea(i) })
	item.Chosen = i == w.walk.area
	return item
}

// takeArea takes a change area in hand and turns the specimen to it; the one in
// hand is put down.
func (w *Window) takeArea(i int) {
	c := w.desk.Changed
	if c == nil || i >= len(c.Change.Areas) {
		return
	}
	if i == w.walk.area {
		i = -1
	}
	w.walk.area = i
	seen := 0.0
	if i >= 0 {
		seen = w.turnTo(c.Change.Areas[i].AfterFaces)
	}
	w.log("area", map[string]any{"area": i + 1, "seen": seen})
	w.refresh()
	if i >= 0 && len(c.Change.Areas[i].AfterFaces) == 0 {
		w.next.Say(fmt.Sprintf("Nothing of %s is left on this scan: it can be seen on %s only.", session.ChangeID(i), w.stageWords(c.From.Stage)), part.Ink)
	}
}

// pointAtArea draws a line round the change area in hand.
func (w *Window) pointAtArea(c *session.Comparison) {
	var p *session.Pointed
	if i := w.walk.area; i >= 0 && i < len(c.Change.Areas) {
		p = &session.Pointed{Faces: c.Change.Areas[i].AfterFaces, Outline: true}
	}
	w.painter.Hold(func() { w.desk.PointAt(p) })
}

// pointOutChange takes what was pressed on in hand, and says how far the surface
// moved there.
func (w *Window) pointOutChange(p render.Picked) bool {
	c := w.desk.Changed
	if c.To != w.desk.View {
		return false
	}
	if w.walk.on {
		for n := range w.desk.Proposed.List {
			faces, _ := w.desk.ProposalFaces(&w.desk.Proposed.List[n])
			if _, on := slices.BinarySearch(faces, p.Face); on && n != w.walk.at {
				w.takeChange(n)
				return true
			}
		}
		return false
	}
	area, on := w.desk.AreaFinder(c)(p.Face)
	if on && area != w.walk.area {
		w.walk.area = area
		w.log("area", map[string]any{"area": area + 1, "seen": 1.0})
		w.refresh()
	}
	w.say(p)
	return true
}

// areaNames names the change areas beside the specimen.
func (w *Window) areaNames(c *session.Comparison) func(p render.Picked) (named, bool) {
	find := w.desk.AreaFinder(c)
	words := make([]string, len(c.Change.Areas))
	for i, a := range c.Change.Areas {
		words[i] = session.ChangeID(i) + " " + string(a.Kind)
		if i < len(c.Volume.Areas) && c.Volume.Areas[i].Volume != nil {
			words[i] += ", " + c.Volume.Areas[i].Volume.String()
		}
	}
	return func(p render.Picked) (named, bool) {
		i, ok := find(p.Face)
		if !ok {
			return named{}, false
		}
		return named{session.ChangeID(i), words[i]}, true
	}
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

// changeScale is the histogram over the scale of change, with how to read the
// specimen beside it.
func (w *Window) changeScale(c *session.Comparison) fyne.CanvasObject {
	h := w.desk.GapHistogram(c)
	words := fmt.Sprintf("How much surface moved how far. Solid line: every %g\u00a0mm removed. Thick rim: added. Grey: nothing this pair can show.", h.StepMM)
	if h.ElsewhereMM2 > 0 {
		words += " Crosses: not in the other scan, " + session.SurfaceWords(h.ElsewhereMM2) + "."
	}
	return gapScale(h, "", "", words)
}

// gapScale is a histogram over the scale of gaps, its two sides named, with words
// beside it.
func gapScale(h *session.Histogram, left, right, words string) fyne.CanvasObject {
	th := look.Current()
	chart := part.NewHistogram(&part.Histogram{
		SmallestMM: h.SmallestMM, FullMM: h.FullMM, StepMM: h.StepMM, BinMM: h.BinMM, BinsRemoved: h.Removed, BinsAdded: h.Added,
		Removed: (*[256]color.RGBA)(terms.RemovedRamp()), Added: (*[256]color.RGBA)(terms.AddedRamp()), Unchanged: terms.Unchanged,
		Left: left, Right: right, Middle: session.SurfaceWords(h.UnchangedMM2),
	})
	beside := part.NewSentence(words, look.TextCaption, th.Px(250))
	room := container.NewGridWrap(fyne.NewSize(th.Px(250), max(beside.MinSize().Height, chart.MinSize().Height)), beside)
	return container.New(layout.NewCustomPaddedLayout(0, 0, 0, 0), container.NewBorder(nil, nil, nil, container.New(pad(0, 0, 20, 0), room), chart))
}
