package app

import (
	"image"
	"image/color"
	"sync"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/app/look"
	"rigatino/app/view"
	"rigatino/mesh/frame"
	"rigatino/mesh/render"
)

// drifting is one date on its way on to the other while the two are laid on one
// another.
type drifting struct {
	on           bool
	stays, moves annotate.UseKey
	pose         frame.Rigid // scan to piece, the newest that was told
	newer        bool        // than what was asked to be drawn
	drawing      bool        // a picture was asked for and has not come
	drawn        int         // pictures asked for so far
}

// drifts is the colour of the date that moves; the other one is stone. Two colours
// that go through each other show where both surfaces lie together.
var drifts = toRGBA(look.Of(look.Dark).Accent)

// watchDrift returns what aligning tells where the scan lies so far, on any
// goroutine. Only the newest place waits to be drawn, and only when the last picture
// is done, so that looking on slows nothing down.
func (w *Window) watchDrift() func(scanToPiece frame.Rigid) {
	w.drift = drifting{stays: w.desk.Other, moves: w.desk.View}
	desk, stays, moves := w.desk, w.desk.Other, w.desk.View
	var mu sync.Mutex
	var newest frame.Rigid
	waiting := false
	return func(pose frame.Rigid) {
		mu.Lock()
		defer mu.Unlock()
		if newest = pose; waiting {
			return
		}
		waiting = true
		w.jobs.Back(func() {
			mu.Lock()
			pose := newest
			waiting = false
			mu.Unlock()
			if desk != w.desk || w.drift.stays != stays || w.drift.moves != moves {
				return
			}
			if !w.drift.on {
				w.drift.on, w.placed = true, false
			}
			w.drift.pose, w.drift.newer = pose, true
			if !w.drift.drawing {
				w.driftOn()
			}
		})
	}
}

// driftOn draws the newest place; it is called when the last picture is done.
func (w *Window) driftOn() {
	d := &w.drift
	if d.drawing = d.on && d.newer; !d.drawing {
		return
	}
	d.newer = false
	d.drawn++
	w.log("drifting", map[string]any{"pictures": d.drawn})
	w.moving()
}

// endDrift shows the dates as they lie again.
func (w *Window) endDrift() {
	was := w.drift.on
	w.drift = drifting{}
	if was {
		w.placed = false
		w.repaint()
	}
}

// composeDrift puts together the two dates on their way, in the task Align.
func (w *Window) composeDrift(pw, ph int) (pic view.Picture, ok bool) {
	if !w.drift.on || w.task != taskAlign {
		return pic, false
	}
	two, ok := w.desk.Drifting(w.drift.stays, w.drift.moves, w.drift.pose)
	if !ok {
		return pic, false
	}
	two[0].Plain, two[1].Plain = terms.Stone, drifts
	if !w.placed {
		w.place(two[0], pw, ph)
	}
	th := look.Current()
	c := th.Colours()
	scale := float64(w.win.Canvas().Scale())
	scene := render.Scene{Camera: w.camera, Background: ground(), BackFace: terms.BackFace, Bodies: two[:], PixelScale: scale}
	words := render.TextStyle{Size: float64(th.Px(look.TextRow)) * scale, Bold: true, Colour: toRGBA(c.Ink)}
	below, paper := float64(w.below)*scale, toRGBA(c.Card)
	names := [2]string{w.stageWords(w.drift.stays.Stage), w.stageWords(w.drift.moves.Stage)}
	pic = view.Picture{Width: pw, Height: ph, Scene: scene}
	bar := w.overScale()
	pic.Over = func(img *image.RGBA, f *render.Frame) {
		for i, plain := range []color.RGBA{terms.Stone, drifts} {
			y := below + words.Size*(1.2+1.9*float64(i))
			label(img, words, paper, 40*scale, y, names[i])
			render.Fill(img, image.Rect(int(16*scale), int(y-words.Size), int(34*scale), int(y+words.Size*0.3)), plain)
			render.Outline(img, image.Rect(int(16*scale), int(y-words.Size), int(34*scale), int(y+words.Size*0.3)), max(int(scale), 1), toRGBA(c.Edge))
		}
		bar(img, f)
	}
	return pic, true
}
