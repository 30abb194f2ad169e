package app

import (
	"image/color"
	"strings"

	"rigatino/app/look"
	"rigatino/app/session"
	"rigatino/mesh/render"
)

// A walk goes through what the program proposes, one after the other: the one in
// hand is shown on the specimen and answered with keys. What a look at one scan
// proposes is walked in the task Add (task_look.go), what the difference of two
// scans proposes in Change (task_proposals.go).

// marking tells whether a press on the specimen marks: in Map, while faces are
// left out by hand, or while somebody says what carries the fit.
func (w *Window) marking() bool {
	return w.task == taskMap || w.desk != nil && w.desk.Leaving != session.NotLeaving || w.brushesFit()
}

// pointedLines are the line round what the window points at. Where that lies
// inside the specimen it is drawn through what is before it.
func (w *Window) pointedLines() []render.Line {
	ink, casing := toRGBA(look.Of(look.Light).Accent), color.RGBA{255, 255, 255, 255}
	var out []render.Line
	for _, way := range w.desk.PointedBorder() {
		out = append(out, render.Line{Points: way, Ink: ink, Casing: casing, WidthMM: 0.01, CasingMM: 0.01})
	}
	return out
}

// Of what is pointed at the picture shows so many times its extent, so that one
// sees where on the specimen it lies, but never less than this share of what
// holds the whole.
const (
	roundPointed = 2.6
	nearestLook  = 0.18
)

// turnTo turns the specimen so that faces of it are seen, and says how much of
// them is.
func (w *Window) turnTo(faces []uint32) (seen float64) {
	s, ok := w.desk.SpotOf(faces, w.camera)
	body, there := w.desk.Placed(w.desk.View, false)
	pw, ph := w.specimen.Pixels()
	if !ok || !there || pw < 16 || ph < 16 {
		return 0
	}
	if !w.placed {
		w.place(body, pw, ph)
	}
	c := w.camera.Facing(s.At, s.Back)
	whole := c.Fitted([]render.Placed{body}, pw, ph, 60)
	near := c.Over(s.Places, pw, ph, 60)
	if far := roundPointed * near.DistanceMM; far >= whole.DistanceMM {
		c = whole
	} else {
		c.Target, c.DistanceMM = near.Target, max(far, nearestLook*whole.DistanceMM)
	}
	w.camera = c
	w.moving()
	return s.Seen
}

// walkKey answers the keys of the walk under way.
func (w *Window) walkKey(r rune) bool {
	if w.brushesFit() && strings.ContainsRune("bot", r) && !w.jobs.Busy() && !w.desk.Stroking() {
		return w.toolKey(r)
	}
	if w.task == taskAdd && w.looking.on {
		return w.lookKey(r)
	}
	if w.task == taskChange && w.walk.on && w.desk.Proposed != nil {
		return w.changeKey(r)
	}
	return false
}

// pointOut takes in hand what was pressed on, if something is walked through; it
// says whether it did.
func (w *Window) pointOut(p render.Picked) bool {
	if w.task == taskAdd && w.looking.on {
		return w.pointOutOnScan(p)
	}
	if w.task == taskChange && w.desk.Changed != nil {
		return w.pointOutChange(p)
	}
	return false
}

// showsChange tells whether the specimen is coloured by what changed: in Change,
// but for a proposal that would mark faces, which shows what it would mark.
func (w *Window) showsChange() bool {
	return w.task == taskChange && !(w.walk.on && w.desk.PointedAt() != nil && !w.desk.PointedAt().Outline)
}

// namesShown names what has its name beside the specimen: the change areas in
// Change, elsewhere the regions where somebody asked for them; nil for nothing.
func (w *Window) namesShown() func(p render.Picked) (named, bool) {
	b := w.desk.Body(w.desk.View)
	switch c := w.desk.Changed; {
	case b == nil:
	case w.task == taskChange && c != nil && c.To == w.desk.View && !w.walk.on:
		return w.areaNames(c)
	case w.named && (w.task == taskMap || w.task == taskTally || w.task == taskHandOver):
		return w.regionNames(b)
	}
	return nil
}
