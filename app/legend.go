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
