package app

import (
	"fmt"
	"image"
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/dialog"
	"fyne.io/fyne/v2/layout"
	"fyne.io/fyne/v2/widget"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/mesh/render"
)

// mapTask shows shelf, slip and what to do next for marking.
func (w *Window) mapTask() {
	d := w.desk
	layers := []struct{ layer, word string }{
		{annotate.LayerSubstance, "Substance"}, {annotate.LayerApplied, "Applied"}, {annotate.LayerCondition, "Condition"},
	}
	row := container.New(layout.NewCustomPaddedHBoxLayout(6))
	for _, t := range terms.All(terms.List(d.Layer)) {
		row.Add(w.kindSwatch(t))
	}
	side := container.New(layout.NewCustomPaddedVBoxLayout(4))
	for _, l := range layers {
		b := part.NewButton(l.word, func() {
			d.Layer, d.Kind, d.RubOut = l.layer, "", false
			w.log("layer", map[string]any{"layer": l.layer})
			w.refresh()
		})
		if d.Layer == l.layer {
			b.Weight = part.Chosen
		}
		side.Add(b)
	}
	scroll := container.NewHScroll(row)
	scroll.SetMinSize(fyne.NewSize(300, look.Current().Px(84)))
	middle := container.New(layout.NewCustomPaddedVBoxLayout(6), scroll, w.toolButtons())
	size := w.sizeRoom()
	w.shelf.Layout = layout.NewBorderLayout(nil, nil, side, size)
	w.shelf.Add(side)
	w.shelf.Add(size)
	w.shelf.Add(middle)
	w.next.OfferBack("Undo", w.Undo)
	w.next.Offer("Tally", func() { w.Choose(taskTally) })
	if w.hand.drawing != nil {
		w.next.Offer("Keep the line", w.keepLine)
	}
	words, _ := w.toolSentence()
	w.next.Say(words, part.Ink)
	w.mapSlip()
}

// unexamined says how much is left to look at.
func unexamined(s *tallySheet) string {
	u, ok := s.Surface.BySubstance[annotate.Unassigned]
	if !ok || u.Value == 0 {
		return "Everything on this scan has been examined."
	}
	return fmt.Sprintf("%.1f\u00a0cm² are still not examined.", u.Value/100)
}

// kindSwatch is a kind on the shelf.
func (w *Window) kindSwatch(t terms.Term) fyne.CanvasObject {
	key := ""
	if t.Look != nil && t.Look.Key >= 0 {
		key = fmt.Sprint(t.Look.Key)
	}
	s := part.NewSwatch(key, t.Label, func(pw, ph int, perMM float64) *image.RGBA {
		if t.List == terms.Substance {
			return terms.Swatch(t.Look, nil, pw, ph, perMM, terms.TileMM)
		}
		return terms.Swatch(nil, t.Look, pw, ph, perMM, terms.TileMM)
	}, func() { w.chooseKind(t.ID) })
	s.SetChosen(t.ID == w.desk.Kind)
	w.swatch[t.ID] = s
	return s
}

func (w *Window) chooseKind(id string) {
	d := w.desk
	d.Kind, d.RubOut = id, id == annotate.Unassigned
	if !tool.Get(w.hand.kind).Marks {
		w.hand = hand{kind: tool.Brush, fit: w.hand.fit, grabbed: -1}
	}
	if d.Show == session.AsSeen { // marks would not be seen
		w.painter.Hold(func() { d.SetShow(session.MapOnSurface) })
	}
	if d.RubOut {
		d.Kind = ""
	}
	w.log("kind", map[string]any{"layer": d.Layer, "kind": id})
	w.refresh()
}

// chooseKey chooses by number key.
func (w *Window) chooseKey(n int) {
	for _, t := range terms.All(terms.List(w.desk.Layer)) {
		if t.Look != nil && t.Look.Key == n {
			w.chooseKind(t.ID)
			return
		}
	}
}

// mapSlip is the record slip: what the next entry will say, and what is there.
func (w *Window) mapSlip() {
	d := w.desk
	w.slip.Add(part.SectionName("RECORD SLIP"))
	what := "choose on the shelf"
	if d.Kind != "" {
		what = terms.Label(terms.List(d.Layer), d.Kind)
	} else if d.RubOut {
		what = "Rub out"
	}
	w.slip.Add(part.Heading(what))
	entry := func(value string, set func(string)) fyne.CanvasObject {
		e := widget.NewEntry()
		e.SetText(value)
		e.OnChanged = set
		return e
	}
	w.slip.Add(part.Row("With", entry(d.Slip.Material, func(s string) { d.Slip.Material = s })))
	w.slip.Add(part.Row("Who", w.whoField()))
	w.slip.Add(part.Row("When", entry(d.Slip.When, func(s string) { d.Slip.When = s })))
	w.slip.Add(part.Row("How sure", choice(terms.All(terms.Certainty), d.Slip.Certainty, func(id string) { d.Slip.Certainty = id })))
	if d.Kind == annotate.Reconstruction {
		w.slip.Add(part.Row("Rests on", choice(terms.All(terms.Basis), d.Slip.Basis, func(id string) { d.Slip.Basis = id })))
	}
	w.slip.Add(part.Row("Note", entry(d.Slip.Note, func(s string) { d.Slip.Note = s })))
	w.slip.Add(container.NewHBox(part.NewButton("Undo", w.Undo), part.NewButton("Redo", w.Redo)))
	w.liveTally()
}

// whoField chooses among the people of the record.
func (w *Window) whoField() fyne.CanvasObject {
	r := w.desk.Project.Record()
	ids, words := []string{""}, []string{"not said"}
	chosen := "not said"
	for _, p := range r.People {
		word := p.Initials
		if word == "" {
			word = p.ID
		}
		ids, words = append(ids, p.ID), append(words, word)
		if p.ID == w.desk.Slip.Who {
			chosen = word
		}
	}
	s := widget.NewSelect(words, nil)
	s.SetSelected(chosen)
	s.OnChanged = func(word string) {
		for i := range words {
			if words[i] == word {
				w.desk.Slip.Who = ids[i]
			}
		}
	}
	return s
}

// choice is a field that takes one word of a list.
func choice(list []terms.Term, id string, set func(string)) fyne.CanvasObject {
	var words []string
	chosen := ""
	for _, t := range list {
		words = append(words, t.Label)
		if t.ID == id {
			chosen = t.Label
		}
	}
	s := widget.NewSelect(words, nil)
	if chosen != "" {
		s.SetSelected(chosen)
	}
	s.OnChanged = func(word string) {
		for _, t := range list {
			if t.Label == word {
				set(t.ID)
			}
		}
	}
	return s
}

// liveTally shows the areas of the scan in view as they stand. They are reckoned
// beside the window; what comes too late is not shown.
func (w *Window) liveTally() {
	reckon, err := w.desk.LiveTally()
	if err != nil {
		return
	}
	w.reckoning++
	turn := w.reckoning
	room := container.NewVBox()
	w.slip.Add(room)
	said := w.next.Text()
	go func() {
		s, err := reckon()
		fyne.Do(func() {
			if err != nil || turn != w.reckoning {
				return
			}
			w.showTally(room, s)
			if w.next.Text() == said {
				w.next.Say(strings.TrimSpace(said+" "+unexamined(s)), part.Ink)
			}
		})
	}()
}

// tallySheet is the sheet of values as the session gives it.
type tallySheet = session.Sheet

func (w *Window) showTally(room *fyne.Container, s *tallySheet) {
	room.Add(part.SectionName("ON THIS SCAN"))
	r := s.Restored
	switch {
	case r.Low == nil:
		room.Add(part.TextRow("Restored", r.WhyAbsent))
	case r.Share == nil:
		room.Add(part.TextRow("Restored", fmt.Sprintf("between %.1f and %.1f\u00a0%%", 100*r.Low.Value, 100*r.High.Value)))
	default:
		room.Add(part.TextRow("Restored", r.Share.String()))
	}
	w.areaRows(room, s)
	for _, j := range s.Joins {
		room.Add(part.TextRow(j.ID, "join, "+j.Length.String()))
	}
	w.regionRows(room, s)
	room.Refresh()
	w.areas = map[string]string{}
	for _, g := range s.Regions {
		w.areas[g.ID] = g.Area.String()
	}
	if w.named {
		w.repaint()
	}
	w.log("tally", map[string]any{"specimen_mm2": s.Surface.SpecimenMM2, "regions": len(s.Regions)})
}

// Undo undoes the last action.
func (w *Window) Undo() { w.step("undo", func() (string, error) { return w.desk.Undo() }) }

// Redo does it again.
func (w *Window) Redo() { w.step("redo", func() (string, error) { return w.desk.Redo() }) }

func (w *Window) step(word string, do func() (string, error)) {
	if w.desk == nil || w.desk.Stroking() || w.jobs.Busy() {
		return
	}
	var label string
	var err error
	w.painter.Hold(func() { label, err = do() })
	if err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	w.desk.DropBar()
	sum, _ := w.mapSum()
	w.log(word, map[string]any{"label": label, "map": sum})
	w.resized(func() {
		w.refresh()
		w.next.Say(title(word)+": "+label+".", part.Ink)
	})
}

// afterMarking shows what a marking did.
func (w *Window) afterMarking(skipped int) {
	w.refresh()
	if skipped > 0 {
		w.next.Say(fmt.Sprintf("%d faces were left out: %s may lie on original surface only.", skipped, lower(terms.Label(terms.List(w.desk.Layer), w.desk.Kind))), part.Warning)
	}
}

// markRest asks how all the rest was examined, and marks it.
func (w *Window) markRest() {
	kind, method, sure := annotate.Original, "", ""
	form := container.NewVBox(
		part.NewSentence("Everything on this scan that is in no region becomes:", look.TextBody, 480),
		choice([]terms.Term{term("original"), term("matrix"), term("original_abraded"), term("uncertain")}, kind, func(id string) { kind = id }),
		part.NewSentence("How was it examined?", look.TextBody, 480),
		choice(terms.All(terms.Method), "", func(id string) { method = id }),
		part.NewSentence("How sure is that?", look.TextBody, 480),
		choice(terms.All(terms.Certainty), "", func(id string) { sure = id }),
		part.NewSentence("Under ultraviolet light nothing seen does not make a surface original.", look.TextCaption, 480),
	)
	d := dialog.NewCustomConfirm("All the rest", "Mark the rest", "Not now", form, func(ok bool) {
		if !ok {
			return
		}
		if method == "" || sure == "" {
			w.next.Say("Say both how the rest was examined and how sure that is; nothing becomes original because nobody looked.", part.Warning)
			return
		}
		var err error
		w.painter.Hold(func() { _, err = w.desk.MarkRest(kind, method, sure) })
		if err != nil {
			w.fail(err)
			return
		}
		sum, _ := w.mapSum()
		w.log("rest", map[string]any{"kind": kind, "map": sum})
		w.refresh()
	}, w.win)
	d.Resize(fyne.NewSize(540, 380))
	d.Show()
}

func term(id string) terms.Term {
	t, _ := terms.Get(terms.Substance, id)
	return t
}

// say names what lies under the pointer.
func (w *Window) say(p render.Picked) {
	words := w.desk.RegionAt(p.Place)
	w.log("asked", map[string]any{"words": words})
	if w.task == taskChange {
		if g, ok := w.desk.GapAt(p.Place); ok {
			w.next.Say(fmt.Sprintf("Here the surface lies %s.", g), part.Ink)
			return
		}
	}
	w.next.Say("Here: "+strings.TrimSpace(words)+".", part.Ink)
}
