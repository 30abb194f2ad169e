package part

import (
	"image"
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// Swatch is one kind on the shelf: its pattern, its word and its number key.
type Swatch struct {
	widget.BaseWidget
	Key, Word string
	// Paint fills a picture of w by h device pixels at so many pixels a
	// millimetre with the kind's pattern.
	Paint   func(w, h int, pixelsPerMM float64) *image.RGBA
	OnPress func()

	chosen, focused bool
}

// NewSwatch makes a swatch.
func NewSwatch(key, word string, paint func(w, h int, pixelsPerMM float64) *image.RGBA, press func()) *Swatch {
	s := &Swatch{Key: key, Word: word, Paint: paint, OnPress: press}
	s.ExtendBaseWidget(s)
	return s
}

// SetChosen frames the swatch in hand.
func (s *Swatch) SetChosen(v bool) {
	if s.chosen != v {
		s.chosen = v
		s.Refresh()
	}
}

// Tapped chooses the kind.
func (s *Swatch) Tapped(*fyne.PointEvent) {
	if s.OnPress != nil {
		s.OnPress()
	}
}

// FocusGained and FocusLost show where the keyboard is.
func (s *Swatch) FocusGained() { s.focused = true; s.Refresh() }

// FocusLost hides the focus.
func (s *Swatch) FocusLost() { s.focused = false; s.Refresh() }

// TypedRune does nothing.
func (s *Swatch) TypedRune(rune) {}

// TypedKey chooses on Space, Enter and Return.
func (s *Swatch) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		s.Tapped(nil)
	}
}

// CreateRenderer is for the toolkit.
func (s *Swatch) CreateRenderer() fyne.WidgetRenderer {
	r := &swatchRenderer{s: s, back: canvas.NewRectangle(nil), frame: canvas.NewRectangle(nil),
		chip: canvas.NewRectangle(nil), key: canvas.NewText("", nil), word: canvas.NewText("", nil)}
	r.field = canvas.NewRaster(func(w, h int) image.Image {
		if s.Paint == nil || w < 1 || h < 1 {
			return image.NewRGBA(image.Rect(0, 0, 1, 1))
		}
		scale := float64(1)
		if r.field.Size().Width > 0 {
			scale = float64(w) / float64(r.field.Size().Width)
		}
		return s.Paint(w, h, 5*scale)
	})
	r.update()
	return r
}

type swatchRenderer struct {
	s                 *Swatch
	back, frame, chip *canvas.Rectangle
	field             *canvas.Raster
	key, word         *canvas.Text
}

func (r *swatchRenderer) update() {
	t := look.Current()
	c := t.Colours()
	r.back.FillColor, r.back.StrokeColor, r.back.StrokeWidth, r.back.CornerRadius = c.Card, c.Edge, 1, 4
	r.frame.FillColor, r.frame.CornerRadius = color.Transparent, 4
	switch {
	case r.s.focused:
		r.frame.StrokeColor, r.frame.StrokeWidth, r.frame.Hidden = c.Accent, 5, false
	case r.s.chosen:
		r.frame.StrokeColor, r.frame.StrokeWidth, r.frame.Hidden = c.Accent, 3, false
	default:
		r.frame.Hidden = true
	}
	r.chip.FillColor, r.chip.StrokeColor, r.chip.StrokeWidth, r.chip.CornerRadius = c.Card, c.Edge, 1, 3
	r.key.Text, r.key.Color, r.key.TextSize, r.key.TextStyle.Bold = r.s.Key, c.Ink, t.Px(look.TextCaption), true
	r.word.Text, r.word.Color, r.word.TextSize = r.s.Word, c.Ink, t.Px(look.TextCaption)
	r.word.TextStyle.Bold = r.s.chosen
	r.chip.Hidden, r.key.Hidden = r.s.Key == "", r.s.Key == ""
}

func (r *swatchRenderer) Layout(s fyne.Size) {
	r.back.Resize(s)
	r.frame.Resize(s)
	h := look.Current().Px(28)
	r.field.Move(fyne.NewPos(1, 1))
	r.field.Resize(fyne.NewSize(s.Width-2, s.Height-h-2))
	r.chip.Move(fyne.NewPos(5, 5))
	r.chip.Resize(fyne.NewSize(19, 19))
	k := r.key.MinSize()
	r.key.Move(fyne.NewPos(5+(19-k.Width)/2, 5+(19-k.Height)/2))
	w := r.word.MinSize()
	r.word.Move(fyne.NewPos((s.Width-w.Width)/2, s.Height-h+(h-w.Height)/2))
}
func (r *swatchRenderer) MinSize() fyne.Size {
	t := look.Current()
	w := fyne.MeasureText(r.s.Word, t.Px(look.TextCaption), fyne.TextStyle{Bold: true})
	return fyne.NewSize(max(72, w.Width+10), t.Px(76))
}
func (r *swatchRenderer) Refresh() {
	r.update()
	r.Layout(r.s.Size())
	canvas.Refresh(r.s)
	r.field.Refresh()
}
func (r *swatchRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.back, r.field, r.chip, r.key, r.word, r.frame}
}
func (r *swatchRenderer) Destroy() {}
