package app

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"
	"fyne.io/fyne/v2/widget"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/terms"
	"rigatino/app/job"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/mesh"
	"rigatino/mesh/render"
)

// hand is the tool in hand and what it has begun.
type hand struct {
	kind    tool.Kind
	lasso   *tool.Lasso
	drawing *tool.Drawing
	fit     string // of the next join
	// grabbed is the point of the drawing, or of line grabbedOf of the record,
	// that is being dragged; -1 for none.
	grabbed   int
	grabbedOf string
	way       []r3.Vec // of grabbedOf, mm of the scan
	from      *mesh.SurfacePoint
	length    *session.Length
}

// grabPixels is how near to a point of a line a press takes hold of it.
const grabPixels = 11

// chooseTool takes another tool in hand; what the last one had begun is dropped.
func (w *Window) chooseTool(k tool.Kind) {
	if w.desk == nil || w.desk.Stroking() {
		return
	}
	w.hand = hand{kind: k, fit: w.hand.fit, grabbed: -1}
	w.log("tool", map[string]any{"tool": string(k)})
	w.refresh()
}

// toolButtons is the row of tools below the shelf.
func (w *Window) toolButtons() fyne.CanvasObject {
	d := w.desk
	var buttons []fyne.CanvasObject
	add := func(word string, chosen bool, press func()) {
		b := part.NewButton(word, press)
		if chosen {
			b.Weight = part.Chosen
		}
		buttons = append(buttons, b)
	}
	for _, a := range tool.All {
		if a.Kind == tool.Ruler {
			continue // it maps nothing: it stands with the buttons of the view
		}
		add(fmt.Sprintf("%s (%c)", a.Word, a.Key), w.hand.kind == a.Kind, func() { w.chooseTool(a.Kind) })
	}
	add("Rub out (x)", d.RubOut, w.rubOut)
	add("Smooth outline", false, w.smoothOutline)
	add("All the rest…", false, w.markRest)
	if look.Current().Scale >= largeText { // one field for all tools, so that the specimen keeps its room
		field := widget.NewSelect(nil, nil)
		for _, a := range tool.All {
			if a.Kind != tool.Ruler {
				field.Options = append(field.Options, fmt.Sprintf("%s (%c)", a.Word, a.Key))
			}
		}
		about := tool.Get(w.hand.kind)
		field.Selected = fmt.Sprintf("%s (%c)", about.Word, about.Key)
		field.OnChanged = func(word string) {
			for _, a := range tool.All {
				if strings.HasPrefix(word, a.Word) {
					w.chooseTool(a.Kind)
				}
			}
		}
		buttons = append([]fyne.CanvasObject{field}, buttons[len(tool.All)-1:]...)
		add("Slip", w.slipOpen, func() { w.slipOpen = !w.slipOpen; w.refresh() })
	}
	return container.NewHScroll(container.New(layout.NewCustomPaddedHBoxLayout(6), buttons...))
}

// largeText is the size of text from which on the window is laid out anew.
const largeText = 1.3

// sizeRoom is the size of the tool in hand, in mm, and what it may do.
func (w *Window) sizeRoom() fyne.CanvasObject {
	d := w.desk
	room := container.New(layout.NewCustomPaddedVBoxLayout(4))
	for _, o := range w.sizeSliderRoom() {
		room.Add(o)
	}
	toggle := func(word string, on *bool, name string) {
		b := part.NewButton(word, func() {
			*on = !*on
			w.log(name, map[string]any{"on": *on})
			w.refresh()
		})
		if *on {
			b.Weight = part.Chosen
		}
		room.Add(b)
	}
	switch w.hand.kind {
	case tool.Brush:
		toggle("Stops at edges (e)", &d.StopAtEdges, "stop at edges")
		toggle("Through (t)", &d.Through, "through")
	case tool.Loop, tool.Grow, tool.SameColour:
		toggle("Through (t)", &d.Through, "through")
	case tool.Join:
		fit := choice(terms.All(terms.Fit), w.hand.fit, func(id string) { w.hand.fit = id })
		if s, ok := fit.(*widget.Select); ok {
			s.PlaceHolder = "How well it fits"
		}
		room.Add(fit)
		room.Add(part.NewButton("Last point back", w.takePointBack))
	}
	w.brushWords()
	return room
}

// sizeSliderRoom is the size of the tool in hand in words and the slider that
// changes it; nothing for a tool without a size.
func (w *Window) sizeSliderRoom() []fyne.CanvasObject {
	d := w.desk
	w.brush = part.NewSentence("", look.TextRow, look.Current().Px(150))
	w.sizeSlider = nil
	sizes := w.sizes()
	if len(sizes) == 0 {
		return nil
	}
	s := widget.NewSlider(0, float64(len(sizes)-1))
	s.Step = 1
	s.Value = float64(nearestSize(sizes, *w.size()))
	s.OnChanged = func(v float64) {
		*w.size() = sizes[int(math.Round(v))]
		w.log("brush", map[string]any{"radius_mm": d.RadiusMM, "reach_mm": d.ReachMM})
		w.brushWords()
		w.touchRing()
	}
	w.sizeSlider = s
	w.brushWords()
	return []fyne.CanvasObject{w.brush, s}
}

// sizes are those that the tool in hand can have, size where it is kept.
func (w *Window) sizes() []float64 {
	switch w.hand.kind {
	case tool.Brush:
		return session.Brushes
	case tool.Grow, tool.SameColour:
		return session.Reaches
	}
	return nil
}

func (w *Window) size() *float64 {
	if w.hand.kind == tool.Grow || w.hand.kind == tool.SameColour {
		return &w.desk.ReachMM
	}
	return &w.desk.RadiusMM
}

func nearestSize(sizes []float64, v float64) int {
	best := 0
	for i, s := range sizes {
		if math.Abs(s-v) < math.Abs(sizes[best]-v) {
			best = i
		}
	}
	return best
}

func (w *Window) brushWords() {
	if w.brush == nil || w.desk == nil {
		return
	}
	switch w.hand.kind {
	case tool.Brush:
		w.brush.Set(fmt.Sprintf(tool.Get(tool.Brush).Size, w.desk.BrushWords()))
	case tool.Grow, tool.SameColour:
		w.brush.Set(fmt.Sprintf(tool.Get(w.hand.kind).Size, fmt.Sprintf("%g\u00a0mm", w.desk.ReachMM)))
	}
}

func (w *Window) rubOut() {
	w.desk.RubOut, w.desk.Kind = !w.desk.RubOut, ""
	if !tool.Get(w.hand.kind).Marks {
		w.hand = hand{kind: tool.Brush, fit: w.hand.fit, grabbed: -1}
	}
	w.log("rub out", nil)
	w.refresh()
}

// smoothOutline makes the outline of the region in hand smooth.
func (w *Window) smoothOutline() {
	g, ok := w.desk.RegionToSmooth()
	if !ok {
		w.next.Say("Nothing of this kind is marked on this scan yet. Choose on the shelf whose outline is to be smooth.", part.Warning)
		return
	}
	w.mark("smoothed", "Making the outline of "+g.ID+" smooth", func() (*session.Area, error) { return w.desk.BeginSmoothing(g.ID) }, func() {
		w.next.Say(fmt.Sprintf("The outline of %s is smooth now: bays and points smaller than the brush are gone, its area stayed.", g.ID), part.Ink)
	})
}

// toolSentence says what to do with the tool in hand.
func (w *Window) toolSentence() (words string, ready bool) {
	d, about := w.desk, tool.Get(w.hand.kind)
	switch {
	case !about.Marks:
		return about.Does, true
	case d.RubOut:
		return "Take away what was marked wrongly; it becomes **not examined** again.", true
	case d.Kind == "":
		return "Choose on the shelf what is there, then mark it.", false
	}
	return fmt.Sprintf(about.Does, lower(terms.Label(terms.List(d.Layer), d.Kind))), true
}

// pressTool puts a tool other than the brush down; it says whether it did.
func (w *Window) pressTool(x, y float64, p render.Picked) bool {
	f := w.shown()
	switch w.hand.kind {
	case tool.Loop:
		w.hand.lasso = &tool.Lasso{}
		w.hand.lasso.Add(x, y)
	case tool.Grow:
		w.mark("grown", "Growing to the edges", func() (*session.Area, error) { return w.desk.BeginGrowth(f.Camera(), p.Place) }, nil)
	case tool.SameColour:
		w.mark("same colour", "Looking for the same colour", func() (*session.Area, error) { return w.desk.BeginColour(f.Camera(), p.Place) }, nil)
	case tool.Join:
		w.pressLine(x, y, p)
	case tool.Ruler:
		w.rule(p)
	default:
		return false
	}
	return true
}

// dragTool moves it.
func (w *Window) dragTool(x, y float64) bool {
	switch {
	case w.hand.lasso != nil:
		before := w.hand.lasso.Rect(4)
		w.hand.lasso.Add(x, y)
		w.touch(before.Union(w.hand.lasso.Rect(4)))
		return true
	case w.hand.grabbed >= 0:
		if p, ok := w.pick(x, y); ok && !p.Inside {
			w.moveGrabbed(p)
		}
		return true
	}
	return w.hand.kind != tool.Brush
}

// releaseTool lifts it.
func (w *Window) releaseTool() bool {
	switch l := w.hand.lasso; {
	case l != nil:
		w.hand.lasso = nil
		f := w.shown()
		if !l.Encloses() || f == nil {
			w.repaint()
			w.next.Say("Draw a line round an area with the button held down.", part.Warning)
			return true
		}
		fw, fh := f.Size()
		b := w.desk.Body(w.inSight())
		if b == nil {
			return true
		}
		at := w.desk.Placing(b)
		holds := l.Over(f.Camera(), fw, fh, at.Factor, &at.ToScene)
		if w.brushesFit() {
			w.fitLooped(f.Camera(), holds)
			return true
		}
		if w.walk.trimming {
			w.trimTo(f.Camera(), holds)
			return true
		}
		w.mark("loop", "Looking what the line holds", func() (*session.Area, error) { return w.desk.BeginLoop(f.Camera(), holds) }, nil)
		return true
	case w.hand.grabbed >= 0:
		w.letGoOfPoint()
		return true
	}
	return w.hand.kind != tool.Brush
}

// noticed is how long work may take before the window says what it does.
const noticed = 300 * time.Millisecond

// mark finds an area beside the window, marks it and shows what that did; then
// is called after that.
func (w *Window) mark(event, words string, begin func() (*session.Area, error), then func()) {
	if w.jobs.Busy() {
		w.next.Say(waitWords, part.Warning)
		return
	}
	area, err := begin()
	if err != nil {
		w.notMarked(event, err)
		return
	}
	desk := w.desk
	w.beside(words, area.Find, func(err error) {
		if desk != w.desk {
			return
		}
		if err == nil {
			var done session.Marked
			w.painter.Hold(func() { done, err = desk.Take(area) })
			if err == nil {
				w.marked(event, done)
				if then != nil {
					then()
				}
				return
			}
		} else if dropped := area.Drop(); dropped != nil {
			err = dropped
		}
		w.notMarked(event, err)
	})
}

func (w *Window) marked(event string, done session.Marked) {
	sum, err := w.mapSum()
	w.log(event, map[string]any{"use": w.desk.View.String(), "region": done.Region.ID, "kind": done.Region.Kind, "faces": done.Taken, "skipped": done.Skipped, "map": sum, "error": text(err)})
	w.afterMarking(done.Skipped)
}

func (w *Window) notMarked(event string, err error) {
	w.repaint()
	if errors.Is(err, context.Canceled) {
		w.next.Say("Stopped. Nothing was marked.", part.Ink)
	} else {
		w.next.Say(sentence(err.Error()), part.Warning)
	}
	w.log("not marked", map[string]any{"with": event, "reason": err.Error()})
}

// beside does work that is short on most scans beside the window: it says what
// goes on, and offers to stop it, only where it takes so long that somebody
// would wonder.
func (w *Window) beside(words string, work func(context.Context) error, end func(error)) {
	err := w.jobs.Start(func(ctx context.Context, report job.Report) error {
		late := time.AfterFunc(noticed, func() { report(0, words) })
		defer late.Stop()
		return work(ctx)
	}, end)
	if err != nil {
		w.next.Say(waitWords, part.Warning)
	}
}

// rule takes an end of a length.
func (w *Window) rule(p render.Picked) {
	place := p.Place
	if w.hand.from == nil || w.hand.length != nil {
		w.hand.from, w.hand.length = &place, nil
		w.log("ruler from", nil)
		w.repaint()
		w.next.Say("Press on the other end.", part.Ink)
		return
	}
	measure, err := w.desk.Measure(*w.hand.from, place)
	if err != nil {
		w.fail(err)
		return
	}
	desk, from := w.desk, w.hand.from
	var l session.Length
	w.beside("Looking for the shortest way over the surface", func(ctx context.Context) (err error) {
		l, err = measure(ctx)
		return err
	}, func(err error) {
		switch {
		case desk != w.desk || w.hand.from != from: // another tool is in hand by now
		case errors.Is(err, context.Canceled):
			w.next.Say("Stopped. Press on the other end, or take the ruler (u) anew.", part.Ink)
		case err != nil:
			w.fail(err)
		default:
			w.ruled(l)
		}
	})
}

// ruled shows a length.
func (w *Window) ruled(l session.Length) {
	w.hand.length = &l
	w.log("ruler", map[string]any{"straight_mm": l.StraightMM, "surface_mm": finite(l.SurfaceMM)})
	w.repaint()
	over := "no way over the surface joins the two places"
	if !math.IsNaN(l.SurfaceMM) {
		over = fmt.Sprintf("**%s** over the surface", mm(l.SurfaceMM))
	}
	w.next.Say(fmt.Sprintf("**%s** straight, %s. Press again to measure anew.", mm(l.StraightMM), over), part.Ink)
}

func finite(v float64) float64 {
	if math.IsNaN(v) {
		return -1
	}
	return v
}

// handLines are what the tool in hand has drawn on the specimen.
func (w *Window) handLines() []render.Line {
	ink, casing := toRGBA(look.Of(look.Light).Accent), color.RGBA{255, 255, 255, 255}
	thin := render.Line{Ink: ink, Casing: casing, WidthMM: 0.01, CasingMM: 0.01}
	switch {
	case w.hand.drawing != nil:
		thin.Points = w.placed3(w.hand.drawing.Way())
	case w.hand.grabbedOf != "":
		thin.Points = w.placed3(w.hand.way)
	case w.hand.length != nil:
		thin.Points = w.hand.length.Way
	}
	if len(thin.Points) < 2 {
		return nil
	}
	return []render.Line{thin}
}

// placed3 brings places of the scan in view into the scene.
func (w *Window) placed3(way []r3.Vec) []r3.Vec {
	b := w.desk.Body(w.desk.View)
	if b == nil {
		return nil
	}
	at := w.desk.Placing(b)
	out := make([]r3.Vec, len(way))
	for i, p := range way {
		out[i] = at.Place(p)
	}
	return out
}

// overHand draws the line of a loop and the points of lines over the picture.
func (w *Window) overHand() func(img *image.RGBA, f *render.Frame) {
	var dots []r3.Vec
	h := &w.hand
	switch {
	case h.drawing != nil:
		var places []r3.Vec
		for _, p := range h.drawing.Places() {
			places = append(places, h.drawing.Surface.Mesh.At(p))
		}
		dots = w.placed3(places)
	case h.grabbedOf != "":
		dots = w.placed3(h.way)
	case h.kind == tool.Join:
		for _, l := range w.desk.LinesHere() {
			dots = append(dots, w.placed3(vectors(l.Points))...)
		}
	case h.length != nil:
		dots = []r3.Vec{h.length.Way[0], h.length.Way[len(h.length.Way)-1]}
	case h.from != nil:
		if b := w.desk.Body(w.desk.View); b != nil {
			dots = w.placed3([]r3.Vec{b.Surface.Mesh.At(*h.from)})
		}
	}
	var loop []tool.Point
	if h.lasso != nil {
		loop = h.lasso.Points()
	}
	ink, casing := toRGBA(look.Of(look.Light).Accent), color.RGBA{255, 255, 255, 255}
	scale := float64(w.win.Canvas().Scale())
	return func(img *image.RGBA, f *render.Frame) {
		fw, fh := f.Size()
		for _, d := range dots {
			if x, y, _, ok := f.Camera().Project(d, fw, fh); ok && f.Shows(d, 1.5) {
				render.Dot(img, x, y, 5*scale, casing)
				render.Dot(img, x, y, 3.5*scale, ink)
			}
		}
		for i := 1; i < len(loop); i++ {
			render.Stretch(img, loop[i-1].X, loop[i-1].Y, loop[i].X, loop[i].Y, 4*scale, casing)
		}
		for i := 1; i < len(loop); i++ {
			render.Stretch(img, loop[i-1].X, loop[i-1].Y, loop[i].X, loop[i].Y, 2*scale, ink)
		}
	}
}

func vectors(points [][3]float64) []r3.Vec {
	out := make([]r3.Vec, len(points))
	for i, p := range points {
		out[i] = r3.Vec{X: p[0], Y: p[1], Z: p[2]}
	}
	return out
}
