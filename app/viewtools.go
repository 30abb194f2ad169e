package app

import (
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"

	"rigatino/annotate"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/mesh/render"
)

// viewTools are the buttons over the specimen: how it is shown at the top, how
// it is turned at the bottom.
func (w *Window) viewTools() {
	var top []fyne.CanvasObject
	if w.task == taskMap || w.task == taskTally || w.task == taskHandOver {
		for _, s := range session.Shows {
			b := part.NewButton(title(s.String()), func() {
				w.painter.Hold(func() { w.desk.SetShow(s) })
				w.log("show", map[string]any{"show": s.String()})
				w.refresh()
			})
			if s == w.desk.Show {
				b.Weight = part.Chosen
			}
			top = append(top, b)
		}
	}
	if w.desk.Other != (annotate.UseKey{}) && !w.desk.DryFitting() {
		glass := part.NewButton("Loupe", func() { w.glass, w.edge = !w.glass, false; w.log("loupe", map[string]any{"on": w.glass}); w.refresh() })
		edge := part.NewButton("Date edge", func() { w.edge, w.glass = !w.edge, false; w.log("edge", map[string]any{"on": w.edge}); w.refresh() })
		if w.glass {
			glass.Weight = part.Chosen
		}
		if w.edge {
			edge.Weight = part.Chosen
		}
		top = append(top, glass, edge)
	}
	light := part.NewButton("Raking light", w.toggleRaking)
	if w.raking {
		light.Weight = part.Chosen
	}
	top = append(top, light)
	cut := part.NewButton("Cut (k)", w.toggleCut)
	if w.cut.on {
		cut.Weight = part.Chosen
	}
	top = append(top, cut)
	if w.task == taskMap || w.task == taskTally || w.task == taskHandOver {
		names := part.NewButton("Names (n)", w.nameRegions)
		if w.named {
			names.Weight = part.Chosen
		}
		top = append(top, names)
	}
	if w.task == taskMap {
		ruler := part.NewButton("Ruler (u)", func() { w.chooseTool(tool.Ruler) })
		if w.hand.kind == tool.Ruler {
			ruler.Weight = part.Chosen
		}
		top = append(top, ruler)
	}
	bottom := []fyne.CanvasObject{
		part.NewButton("Turn", func() { w.turn(0.35, 0) }),
		part.NewButton("Tip", func() { w.turn(0, 0.35) }),
		part.NewButton("Nearer", func() { w.Nearer(3) }),
		part.NewButton("Farther", func() { w.Nearer(-3) }),
		part.NewButton("Whole", w.whole),
		part.NewButton("Facing me", w.facing),
	}
	named := render.NamedViews(w.desk.Axes())
	for _, v := range named[:2] {
		bottom = append(bottom, part.NewButton(title(v.Name), func() {
			w.camera = v.Camera
			w.placed = false
			w.log("named view", map[string]any{"view": v.Name})
			w.repaint()
		}))
	}
	if len(w.scanned()) > 1 {
		word := "Play (p)"
		if w.playing.on {
			word = "Stop (p)"
		}
		bottom = append(bottom, part.NewButton(word, w.play))
	}
	w.toolsWide = w.specimen.Size().Width
	row := func(o []fyne.CanvasObject) fyne.CanvasObject {
		return container.New(layout.NewCustomPaddedHBoxLayout(look.Gap), o...)
	}
	at := &corners{at: []corner{topLeft, bottomLeft}}
	w.tools.Layout = at
	// What does not fit beside one another stands in two rows.
	first := row(top)
	if wide := w.toolsWide - 24; wide > 0 && first.MinSize().Width > wide {
		half := (len(top) + 1) / 2
		first = container.New(layout.NewCustomPaddedVBoxLayout(look.Gap), row(top[:half]), row(top[half:]))
	}
	w.tools.Add(first)
	last := row(bottom)
	if wide := w.toolsWide - 24 - barRoom; wide > 0 && last.MinSize().Width > wide {
		half := (len(bottom) + 1) / 2
		last = container.New(layout.NewCustomPaddedVBoxLayout(look.Gap), row(bottom[:half]), row(bottom[half:]))
	}
	w.tools.Add(last)
	handles := container.NewHBox()
	if w.edge {
		handles.Add(w.edgeHandle())
	}
	if w.raking {
		handles.Add(w.lightHandle())
	}
	if w.cut.on {
		handles.Add(w.cutHandle())
	}
	w.below = 12 + first.MinSize().Height + 8
	if len(handles.Objects) > 0 {
		w.below += handles.MinSize().Height + 8
		w.tools.Add(handles)
		at.at = append(at.at, belowRight)
	}
}

// barRoom is what the scale bar needs beside the buttons at the bottom.
const barRoom = 110

func (w *Window) toggleRaking() {
	w.raking = !w.raking
	w.log("raking", map[string]any{"on": w.raking})
	w.refresh()
}

// lightHandle moves the raking light round the specimen and lower: tool marks
// show where it runs across them.
func (w *Window) lightHandle() fyne.CanvasObject {
	move := func(round, height float64) func() {
		return func() {
			w.lightFrom = math.Mod(w.lightFrom+round, 2*math.Pi)
			w.lightHeight = min(max(w.lightHeight*height, 0.06), 0.8)
			w.log("light", map[string]any{"from_rad": w.lightFrom, "height_rad": w.lightHeight})
			w.repaint()
		}
	}
	return container.NewHBox(part.NewButton("Light round", move(math.Pi/6, 1)),
		part.NewButton("Lower", move(0, 0.7)), part.NewButton("Higher", move(0, 1/0.7)))
}

// nameRegions shows or hides the names of the regions.
func (w *Window) nameRegions() {
	w.named = !w.named
	w.log("names", map[string]any{"on": w.named})
	w.refresh()
}

// edgeHandle moves the date edge by buttons, for hands without a steady mouse.
func (w *Window) edgeHandle() fyne.CanvasObject {
	move := func(by float64) func() {
		return func() {
			w.edgeAt = min(max(w.edgeAt+by, 0.05), 0.95)
			w.repaint()
		}
	}
	return container.NewHBox(part.NewButton("Edge left", move(-0.08)), part.NewButton("Edge right", move(0.08)))
}

// title begins a word with a capital.
func title(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return string(upper(r[0])) + string(r[1:])
}
