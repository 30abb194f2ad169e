package app

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/app/part"
	"rigatino/app/tool"
	"rigatino/mesh/render"
)

// pressLine takes hold of a point of a line near the pointer, or sets the next
// place of the line being drawn.
func (w *Window) pressLine(x, y float64, p render.Picked) {
	h := &w.hand
	if h.drawing != nil {
		var places []r3.Vec
		for _, q := range h.drawing.Places() {
			places = append(places, h.drawing.Surface.Mesh.At(q))
		}
		if i := w.nearPoint(places, x, y); i >= 0 {
			h.grabbed = i
			return
		}
	} else {
		for _, l := range w.desk.LinesHere() {
			if i := w.nearPoint(vectors(l.Points), x, y); i >= 0 {
				h.grabbed, h.grabbedOf, h.way = i, l.ID, vectors(l.Points)
				return
			}
		}
		b := w.desk.Body(w.desk.View)
		if b == nil {
			return
		}
		h.drawing = &tool.Drawing{Surface: b.Surface, Colour: b.Colours()}
	}
	if err := h.drawing.Add(p.Place); err != nil {
		w.next.Say(sentence(err.Error()), part.Warning)
		return
	}
	w.log("line point", map[string]any{"points": len(h.drawing.Places())})
	w.repaint()
	if len(h.drawing.Places()) > 1 {
		w.next.Offer("Keep the line", w.keepLine)
	}
	w.next.Say("Press on the next place along the join; drag a point to move it.", part.Ink)
}

// nearPoint is the point of a line, mm of the scan, that the pointer is on; -1
// for none.
func (w *Window) nearPoint(way []r3.Vec, x, y float64) int {
	f := w.shown()
	if f == nil {
		return -1
	}
	fw, fh := f.Size()
	best, near := -1, grabPixels*float64(w.win.Canvas().Scale())
	for i, p := range w.placed3(way) {
		px, py, _, ok := f.Camera().Project(p, fw, fh)
		if d := math.Hypot(px-x, py-y); ok && d < near && f.Shows(p, 1.5) {
			best, near = i, d
		}
	}
	return best
}

// moveGrabbed moves the point in hand.
func (w *Window) moveGrabbed(p render.Picked) {
	h := &w.hand
	if h.grabbedOf == "" {
		if err := h.drawing.Move(h.grabbed, p.Place); err != nil {
			return // no way leads there: the point stays where it was
		}
	} else if b := w.desk.Body(w.desk.View); b != nil {
		h.way[h.grabbed] = b.Surface.Mesh.At(p.Place)
	}
	w.repaint()
}

// letGoOfPoint ends moving a point; one of a line of the record is an action.
func (w *Window) letGoOfPoint() {
	h := &w.hand
	id, way := h.grabbedOf, h.way
	h.grabbed, h.grabbedOf, h.way = -1, "", nil
	if id == "" {
		w.repaint()
		return
	}
	if err := w.desk.ChangeLine(id, way); err != nil {
		w.fail(err)
		return
	}
	w.log("line moved", map[string]any{"line": id})
	w.refresh()
	w.next.Say("The line runs through its new place.", part.Ink)
}

// takePointBack drops the last place of the line being drawn.
func (w *Window) takePointBack() {
	h := &w.hand
	if h.drawing == nil {
		return
	}
	h.drawing.TakeBack()
	if len(h.drawing.Places()) == 0 {
		h.drawing = nil
	}
	w.log("line point", map[string]any{"back": true})
	w.repaint()
}

// keepLine writes the line into the record.
func (w *Window) keepLine() {
	h := &w.hand
	if h.drawing == nil || len(h.drawing.Places()) < 2 {
		w.next.Say("A line needs two places at least.", part.Warning)
		return
	}
	l, err := w.desk.KeepLine(h.fit, h.drawing.Way())
	if err != nil {
		w.fail(err)
		return
	}
	h.drawing = nil
	w.log("line kept", map[string]any{"line": l.ID, "points": len(l.Points)})
	w.refresh()
	words := "Join " + l.ID + " is in the record."
	if l.Fit == "" {
		words += " Choose how well it fits before the next one, so that it is drawn so."
	}
	w.next.Say(words, part.Ink)
}
