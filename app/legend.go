package app

import (
	"image"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"

	"rigatino/annotate/terms"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
)

// legendRow is a kind with its pattern and a value.
func (w *Window) legendRow(t terms.Term, value string) fyne.CanvasObject {
	th := look.Current()
	field := canvas.NewRaster(func(pw, ph int) image.Image {
		if pw < 1 || ph < 1 {
			return image.NewRGBA(image.Rect(0, 0, 1, 1))
		}
		if t.List == terms.Substance || t.List == terms.FitFaces {
			return terms.Swatch(t.Look, nil, pw, ph, 5, terms.TileMM)
		}
		return terms.Swatch(nil, t.Look, pw, ph, 5, terms.TileMM)
	})
	field.SetMinSize(fyne.NewSize(th.Px(34), th.Px(20)))
	words := container.NewVBox(part.NewSentence(t.Label+"  **"+value+"**", look.TextRow, th.Px(216)))
	return container.New(layout.NewCustomPaddedVBoxLayout(2), container.NewBorder(nil, nil, container.NewCenter(field), nil, words))
}

// areaRows lists the areas of a sheet, each with its pattern.
func (w *Window) areaRows(room *fyne.Container, s *tallySheet) {
	for _, part := range []struct {
		list terms.List
		by   session.Areas
	}{{terms.Substance, s.Surface.BySubstance}, {terms.Applied, s.Surface.ByApplied}, {terms.Condition, s.Surface.ByCondition}} {
		for _, t := range terms.All(part.list) {
			if m, ok := part.by[t.ID]; ok {
				room.Add(w.legendRow(t, m.String()))
			}
		}
	}
}

// regionRows lists the regions of the use in view; pressing one hides its pattern
// or shows it again.
func (w *Window) regionRows(room *fyne.Container, s *tallySheet) {
	if len(s.Regions) == 0 {
		return
	}
	room.Add(part.SectionName("REGIONS"))
	room.Add(part.NewSentence("Press one to hide its pattern, or to show it again. The values stay.", look.TextCaption, look.Current().Px(260)))
	for _, g := range s.Regions {
		words := func() string {
			if w.desk.Hidden(g.ID) {
				return "pattern hidden"
			}
			return ""
		}
		var item *part.Item
		item = part.NewItem("**"+g.ID+"** "+lower(terms.Label(terms.List(g.Layer), g.Kind)), g.Area.String(), words(), func() {
			w.hideRegion(g.ID, !w.desk.Hidden(g.ID))
			item.SetWords(words())
			room.Refresh()
		})
		item.SetTone(part.Warning)
		room.Add(item)
	}
}

func (w *Window) hideRegion(id string, hide bool) {
	w.painter.Hold(func() { w.desk.Hide(id, hide) })
	w.log("hide", map[string]any{"region": id, "hidden": hide})
	w.repaint()
	words := "The pattern of " + id + " is shown again."
	if hide {
		words = "The pattern of " + id + " is hidden in this window; it is on the map all the same, and in all that is handed over."
	}
	w.next.Say(words, part.Ink)
}
