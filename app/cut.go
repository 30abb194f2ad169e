package app

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/mesh/render"
)

// cutting is a plane through the specimen, across the picture as it was seen
// when the plane was set, and what it cuts.
type cutting struct {
	on          bool
	at          r3.Vec // the scene
	right, away r3.Vec // the plane's axes: to the right and away from the eye
	normal      r3.Vec
	of          map[annotate.UseKey][][]r3.Vec
}

// cutStep is how far the plane goes at a press, mm.
const cutStep = 1

// toggleCut cuts through the place under the pointer, or in the middle, or puts
// the plane away.
func (w *Window) toggleCut() {
	if w.desk == nil {
		return
	}
	if w.cut.on {
		w.cut = cutting{}
		w.log("cut", map[string]any{"on": false})
		w.refresh()
		return
	}
	x, y := w.pointer.x, w.pointer.y
	if !w.pointer.on {
		pw, ph := w.specimen.Pixels()
		x, y = float64(pw)/2, float64(ph)/2
	}
	at := w.camera.Target
	if p, ok := w.pick(x, y); ok {
		at = p.Point
	}
	c := w.camera
	w.cut = cutting{on: true, at: at, right: c.Right, away: r3.Scale(-1, c.Back), normal: c.Up, of: map[annotate.UseKey][][]r3.Vec{}}
	w.log("cut", map[string]any{"on": true, "lines": len(w.cutOf(w.desk.View)), "other": len(w.cutOf(w.desk.Other))})
	w.refresh()
	w.next.Say(w.cutWords(), part.Ink)
}

// moveCut moves the plane along its normal.
func (w *Window) moveCut(byMM float64) {
	w.cut.at = r3.Add(w.cut.at, r3.Scale(byMM, w.cut.normal))
	clear(w.cut.of)
	w.log("cut moved", map[string]any{"mm": byMM})
	w.repaint()
	w.next.Say(w.cutWords(), part.Ink)
}

// cutWords says how the cut is read.
func (w *Window) cutWords() string {
	if w.desk.Other == (annotate.UseKey{}) {
		return "The cut shows the specimen's outline in one plane. Hold a second date on the bench line to see both."
	}
	return fmt.Sprintf("The cut shows both dates in one plane: %s as the thick line, %s as the thin one.", w.stageWords(w.desk.View.Stage), w.stageWords(w.desk.Other.Stage))
}

// cutOf is where the plane cuts a use.
func (w *Window) cutOf(key annotate.UseKey) [][]r3.Vec {
	if key == (annotate.UseKey{}) {
		return nil
	}
	lines, ok := w.cut.of[key]
	if !ok {
		lines = w.desk.CutThrough(key, w.cut.at, w.cut.normal)
		if lines != nil {
			w.cut.of[key] = lines
		}
	}
	return lines
}

// cutHandle moves the plane by buttons.
func (w *Window) cutHandle() fyne.CanvasObject {
	return container.NewHBox(
		part.NewButton("Cut higher", func() { w.moveCut(cutStep) }),
		part.NewButton("Cut lower", func() { w.moveCut(-cutStep) }))
}

// cutLines are the cut on the specimen.
func (w *Window) cutLines() []render.Line {
	var out []render.Line
	ink, casing := toRGBA(look.Of(look.Light).Accent), color.RGBA{255, 255, 255, 255}
	for _, l := range w.cutOf(w.desk.View) {
		out = append(out, render.Line{Points: l, Ink: ink, Casing: casing, WidthMM: 0.01, CasingMM: 0.01})
	}
	return out
}

// overCut draws the plane from above in a field of its own: what lies away from
// the eye is up.
func (w *Window) overCut() func(img *image.RGBA, f *render.Frame) {
	th := look.Current()
	c := th.Colours()
	scale := float64(w.win.Canvas().Scale())
	words := render.TextStyle{Size: float64(th.Px(look.TextCaption)) * scale, Colour: toRGBA(c.Ink)}
	type outline struct {
		lines [][]r3.Vec
		ink   color.RGBA
		wide  float64
		words string
	}
	var outlines []outline
	if w.desk.Other != w.desk.View {
		if lines := w.cutOf(w.desk.Other); lines != nil {
			outlines = append(outlines, outline{lines, toRGBA(c.Accent), 1.2 * scale, w.stageWords(w.desk.Other.Stage)})
		}
	}
	outlines = append(outlines, outline{w.cutOf(w.desk.View), toRGBA(c.Ink), 2.2 * scale, w.stageWords(w.desk.View.Stage)})
	cut, below := w.cut, float64(w.below)
	return func(img *image.RGBA, f *render.Frame) {
		fw, fh := f.Size()
		line := words.Size * 1.5
		wide, high := math.Min(0.36*float64(fw), 380*scale), math.Min(0.55*float64(fh), 260*scale)
		left, top := float64(fw)-wide-12*scale, below*scale
		high = math.Min(high, float64(fh)-top-line)
		room := image.Rect(int(left), int(top), int(left+wide), int(top+high))
		render.Fill(img, room, toRGBA(c.Card))
		render.Outline(img, room, max(int(scale), 1), toRGBA(c.Edge))
		// The box round both outlines, in the plane's axes, mm.
		lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
		on := func(p r3.Vec) [2]float64 {
			d := r3.Sub(p, cut.at)
			return [2]float64{r3.Dot(d, cut.right), r3.Dot(d, cut.away)}
		}
		for _, o := range outlines {
			for _, l := range o.lines {
				for _, p := range l {
					q := on(p)
					for k := range 2 {
						lo[k], hi[k] = min(lo[k], q[k]), max(hi[k], q[k])
					}
				}
			}
		}
		if lo[0] > hi[0] {
			words.Draw(img, left+12*scale, top+line, "Nothing is cut here")
			return
		}
		// Words above, the bar below, the outlines between.
		above, below := line*float64(len(outlines))+8*scale, 2.2*line
		perMM := math.Min((wide-24*scale)/max(hi[0]-lo[0], 1e-6), (high-above-below-8*scale)/max(hi[1]-lo[1], 1e-6))
		midX, midY := left+wide/2, top+above+(high-above-below)/2
		at := func(p r3.Vec) (x, y float64) {
			q := on(p)
			return midX + perMM*(q[0]-(lo[0]+hi[0])/2), midY - perMM*(q[1]-(lo[1]+hi[1])/2)
		}
		for i, o := range outlines {
			y := top + line*float64(i+1)
			render.Stretch(img, left+12*scale, y-words.Size*0.35, left+36*scale, y-words.Size*0.35, o.wide, o.ink)
			words.Draw(img, left+44*scale, y, o.words)
			for _, l := range o.lines {
				x0, y0 := at(l[0])
				for _, p := range l[1:] {
					// Steps below a pixel are gathered.
					if x1, y1 := at(p); math.Hypot(x1-x0, y1-y0) >= 0.8 {
						render.Stretch(img, x0, y0, x1, y1, o.wide, o.ink)
						x0, y0 = x1, y1
					}
				}
			}
		}
		bar := render.BarLength(perMM, wide/2)
		render.ScaleBar(img, left+12*scale, top+high-10*scale, bar, perMM, words, toRGBA(c.Card))
	}
}
