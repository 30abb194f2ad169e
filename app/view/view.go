// Package view is the specimen in the window: a raster that shows the newest
// finished picture and turns pointer and keys into turning, coming nearer and
// marking. Pictures are made by a worker beside the window; the raster only
// hands out what is ready.
package view

import (
	"image"
	"image/color"
	"sync"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// Handler is told what the person does on the specimen. Places are picture
// pixels. Everything is called on the window's goroutine.
type Handler interface {
	Resized(w, h int)
	Turn(dx, dy float64)       // pixels the pointer moved
	Nearer(steps float64)      // wheel clicks, positive is nearer
	Brush(steps float64)       // wheel clicks with Ctrl
	Point(x, y float64)        // the pointer rests here
	Press(x, y float64)        // the tool goes down
	Drag(x, y float64)         // and moves
	Release()                  // and is lifted
	Leave()                    // the pointer left the specimen
	Key(k *fyne.KeyEvent) bool // true when it was used
	Rune(r rune) bool
}

// Specimen is the widget.
type Specimen struct {
	widget.BaseWidget
	// OnShown is called when the first picture has been painted, and the next one
	// after Await.
	OnShown func()

	handler Handler
	told    bool

	mu      sync.Mutex
	ready   *image.RGBA // newest finished picture
	shown   *image.RGBA // picture the toolkit was given last
	w, h    int
	raster  *canvas.Raster
	focused bool

	button  desktop.MouseButton
	down    bool
	turning bool
	space   bool
	last    fyne.Position
}

// New makes the widget.
func New(h Handler) *Specimen {
	s := &Specimen{handler: h}
	s.ExtendBaseWidget(s)
	return s
}

// Present hands over a finished picture and returns one that is no longer used,
// nil if there is none. Called on the window's goroutine.
func (s *Specimen) Present(img *image.RGBA) (free *image.RGBA) {
	s.mu.Lock()
	if s.ready != nil && s.ready != s.shown {
		free = s.ready
	}
	s.ready = img
	s.mu.Unlock()
	if s.raster != nil {
		s.raster.Refresh()
	}
	return free
}

// Await has OnShown called again when the next picture is painted. Called on the
// window's goroutine.
func (s *Specimen) Await() { s.told = false }

// Touched shows the picture handed over last again, after parts of it were drawn
// anew.
func (s *Specimen) Touched() {
	if s.raster != nil {
		s.raster.Refresh()
	}
}

// scale is picture pixels per Fyne unit.
func (s *Specimen) scale() float64 {
	if w := s.Size().Width; w > 0 && s.w > 0 {
		return float64(s.w) / float64(w)
	}
	return 1
}

func (s *Specimen) at(p fyne.Position) (float64, float64) {
	k := s.scale()
	return float64(p.X) * k, float64(p.Y) * k
}

// Place turns a picture place into a position in the widget.
func (s *Specimen) Place(x, y float64) fyne.Position {
	k := s.scale()
	return fyne.NewPos(float32(x/k), float32(y/k))
}

// Pixels is the size of the picture asked for last.
func (s *Specimen) Pixels() (w, h int) { return s.w, s.h }

// MouseDown begins a stroke or a turn: the main button is the tool, the middle
// one, or any with Space or Alt held, turns. A second button during a stroke is
// left alone.
func (s *Specimen) MouseDown(e *desktop.MouseEvent) {
	if c := fyne.CurrentApp().Driver().CanvasForObject(s); c != nil {
		c.Focus(s)
	}
	if s.down {
		return
	}
	s.down, s.button, s.last = true, e.Button, e.Position
	s.turning = e.Button != desktop.MouseButtonPrimary || s.space || e.Modifier&fyne.KeyModifierAlt != 0
	if !s.turning {
		x, y := s.at(e.Position)
		s.handler.Press(x, y)
	}
}

// MouseUp ends what MouseDown began.
func (s *Specimen) MouseUp(e *desktop.MouseEvent) {
	if e.Button == s.button {
		s.lift()
	}
}

// Dragged moves the tool or turns the specimen.
func (s *Specimen) Dragged(e *fyne.DragEvent) { s.move(e.Position) }

// DragEnd ends a stroke whose button was released outside: no MouseUp comes
// there.
func (s *Specimen) DragEnd() { s.lift() }

func (s *Specimen) lift() {
	if !s.down {
		return
	}
	was := s.turning
	s.down, s.turning = false, false
	if !was {
		s.handler.Release()
	}
}

func (s *Specimen) move(p fyne.Position) {
	if !s.down {
		return
	}
	if s.turning {
		k := s.scale()
		s.handler.Turn(float64(p.X-s.last.X)*k, float64(p.Y-s.last.Y)*k)
		s.last = p
		return
	}
	s.last = p
	x, y := s.at(p)
	s.handler.Drag(x, y)
}

// MouseIn starts following the pointer.
func (s *Specimen) MouseIn(e *desktop.MouseEvent) { s.MouseMoved(e) }

// MouseMoved follows the pointer; a drag with the second button arrives here
// only.
func (s *Specimen) MouseMoved(e *desktop.MouseEvent) {
	if s.down && s.button == desktop.MouseButtonSecondary {
		s.move(e.Position)
		return
	}
	x, y := s.at(e.Position)
	s.handler.Point(x, y)
}

// MouseOut leaves the specimen.
func (s *Specimen) MouseOut() {
	if s.down && s.button == desktop.MouseButtonSecondary {
		s.lift()
	}
	s.handler.Leave()
}

// Scrolled comes nearer, or with Ctrl changes the brush.
func (s *Specimen) Scrolled(e *fyne.ScrollEvent) {
	steps := float64(e.Scrolled.DY) / 25
	if d, ok := fyne.CurrentApp().Driver().(desktop.Driver); ok && d.CurrentKeyModifiers()&fyne.KeyModifierControl != 0 {
		s.handler.Brush(steps)
		return
	}
	s.handler.Nearer(steps)
}

// FocusGained and FocusLost draw the focus edge.
func (s *Specimen) FocusGained() { s.focused = true; s.Refresh() }

// FocusLost forgets a held Space: its release may go elsewhere.
func (s *Specimen) FocusLost() { s.focused, s.space = false, false; s.Refresh() }

// TypedRune gives number keys and brackets to the handler.
func (s *Specimen) TypedRune(r rune) { s.handler.Rune(r) }

// TypedKey gives arrows and Enter to the handler.
func (s *Specimen) TypedKey(k *fyne.KeyEvent) { s.handler.Key(k) }

// KeyDown and KeyUp watch Space, which turns the tool into turning.
func (s *Specimen) KeyDown(k *fyne.KeyEvent) {
	if k.Name == fyne.KeySpace {
		s.space = true
	}
}

// KeyUp ends that.
func (s *Specimen) KeyUp(k *fyne.KeyEvent) {
	if k.Name == fyne.KeySpace {
		s.space = false
	}
}

// Cursor is a cross: what counts is the place under it.
func (s *Specimen) Cursor() desktop.Cursor { return desktop.CrosshairCursor }

// CreateRenderer is for the toolkit.
func (s *Specimen) CreateRenderer() fyne.WidgetRenderer {
	s.raster = canvas.NewRaster(s.picture)
	r := &renderer{s: s, focus: canvas.NewRectangle(color.Transparent)}
	return r
}

// picture is asked by the toolkit, on its own goroutine, for exactly w by h
// device pixels. It never draws: it returns the newest finished picture, which
// the toolkit stretches where the size has changed since.
func (s *Specimen) picture(w, h int) image.Image {
	s.mu.Lock()
	changed := w != s.w || h != s.h
	s.w, s.h = w, h
	img := s.ready
	s.shown = img
	s.mu.Unlock()
	if changed && w > 8 && h > 8 {
		s.handler.Resized(w, h)
	}
	if img != nil && !s.told {
		// This is called while painting; what is handed to the toolkit's goroutine
		// now is done when that has ended.
		s.told = true
		if s.OnShown != nil {
			go fyne.Do(s.OnShown)
		}
	}
	if img == nil {
		one := image.NewRGBA(image.Rect(0, 0, 1, 1))
		one.Set(0, 0, look.Current().Colours().Ground)
		return one
	}
	return img
}

type renderer struct {
	s     *Specimen
	focus *canvas.Rectangle
}

func (r *renderer) Layout(z fyne.Size) {
	r.s.raster.Resize(z)
	r.focus.Resize(z.Subtract(fyne.NewSize(2, 2)))
	r.focus.Move(fyne.NewPos(1, 1))
}
func (r *renderer) MinSize() fyne.Size { return fyne.NewSize(320, 240) }
func (r *renderer) Refresh() {
	r.focus.StrokeColor, r.focus.StrokeWidth = look.Current().Colours().Accent, 2
	r.focus.Hidden = !r.s.focused
	canvas.Refresh(r.focus)
	r.s.raster.Refresh()
}
func (r *renderer) Objects() []fyne.CanvasObject {
	r.focus.Hidden = !r.s.focused
	return []fyne.CanvasObject{r.s.raster, r.focus}
}
func (r *renderer) Destroy() {}
