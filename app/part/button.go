package part

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// Weight says how a button stands out.
type Weight int

// Plain is a card with an edge, Chosen the one of a set that is on, Filled the
// next thing to do (one on the screen at a time).
const (
	Plain Weight = iota
	Chosen
	Filled
)

// Button is a word to press. It answers Space and Enter, shows its focus, and
// may have a second, quieter line that says what will happen.
type Button struct {
	widget.BaseWidget
	Word, Hint string
	Weight     Weight
	MinWidth   float32
	OnPress    func()

	disabled, focused, hovered bool
}

// NewButton makes a plain button.
func NewButton(word string, press func()) *Button {
	b := &Button{Word: word, OnPress: press}
	b.ExtendBaseWidget(b)
	return b
}

// SetWeight changes how the button stands out.
func (b *Button) SetWeight(w Weight) {
	if b.Weight != w {
		b.Weight = w
		b.Refresh()
	}
}

// SetWord changes the word.
func (b *Button) SetWord(word string) {
	if b.Word != word {
		b.Word = word
		b.Refresh()
	}
}

// Enable and Disable, as fyne.Disableable.
func (b *Button) Enable() { b.setDisabled(false) }

// Disable keeps the button readable but not pressable.
func (b *Button) Disable() { b.setDisabled(true) }

// Disabled tells whether it can be pressed.
func (b *Button) Disabled() bool { return b.disabled }

func (b *Button) setDisabled(v bool) {
	if b.disabled != v {
		b.disabled = v
		b.Refresh()
	}
}

// Tapped presses the button.
func (b *Button) Tapped(*fyne.PointEvent) { b.press() }

func (b *Button) press() {
	if !b.disabled && b.OnPress != nil {
		b.OnPress()
	}
}

// FocusGained shows the focus ring.
func (b *Button) FocusGained() { b.focused = true; b.Refresh() }

// FocusLost hides it.
func (b *Button) FocusLost() { b.focused = false; b.Refresh() }

// TypedRune does nothing: words are not typed into a button.
func (b *Button) TypedRune(rune) {}

// TypedKey presses on Space, Enter and Return.
func (b *Button) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		b.press()
	}
}

// MouseIn begins the hover look.
func (b *Button) MouseIn(*desktop.MouseEvent) { b.hovered = true; b.Refresh() }

// MouseMoved does nothing.
func (b *Button) MouseMoved(*desktop.MouseEvent) {}

// MouseOut ends the hover look.
func (b *Button) MouseOut() { b.hovered = false; b.Refresh() }

// CreateRenderer is for the toolkit.
func (b *Button) CreateRenderer() fyne.WidgetRenderer {
	r := &buttonRenderer{b: b, ring: canvas.NewRectangle(nil), back: canvas.NewRectangle(nil),
		word: canvas.NewText("", nil), hint: canvas.NewText("", nil)}
	r.back.CornerRadius, r.ring.CornerRadius = 4, 6
	r.update()
	return r
}

type buttonRenderer struct {
	b          *Button
	ring, back *canvas.Rectangle
	word, hint *canvas.Text
}

func (r *buttonRenderer) update() {
	t := look.Current()
	c := t.Colours()
	b := r.b
	r.word.Text, r.hint.Text = b.Word, b.Hint
	r.word.TextSize, r.hint.TextSize = t.Px(look.TextBody), t.Px(look.TextCaption)
	fill, ink, edge, soft := c.Card, c.Ink, c.Edge, c.Soft
	switch b.Weight {
	case Chosen:
		fill, ink, edge, soft = c.Ink, c.Card, c.Ink, c.Card
	case Filled:
		fill, ink, edge, soft = c.Accent, c.AccentText, c.Accent, c.AccentText
	}
	if b.disabled {
		fill, ink, edge, soft = c.Page, c.Soft, c.Rule, c.Soft
	}
	r.back.StrokeWidth = 1
	if b.hovered && !b.disabled && b.Weight == Plain {
		edge = c.Ink
	}
	r.back.FillColor, r.back.StrokeColor = fill, edge
	r.word.Color, r.hint.Color = ink, soft
	r.word.TextStyle.Bold = b.Weight != Plain || b.Hint != ""
	if b.focused {
		r.ring.StrokeColor, r.ring.StrokeWidth = c.Accent, 3
		r.ring.Show()
	} else {
		r.ring.Hide()
	}
	r.hint.Hidden = b.Hint == ""
}

func (r *buttonRenderer) Layout(s fyne.Size) {
	r.back.Resize(s)
	r.back.Move(fyne.NewPos(0, 0))
	r.ring.Resize(s.Add(fyne.NewSize(8, 8)))
	r.ring.Move(fyne.NewPos(-4, -4))
	w := r.word.MinSize()
	if r.b.Hint == "" {
		r.word.Move(fyne.NewPos((s.Width-w.Width)/2, (s.Height-w.Height)/2))
		return
	}
	h := r.hint.MinSize()
	top := (s.Height - w.Height - h.Height) / 2
	r.word.Move(fyne.NewPos(14, top))
	r.hint.Move(fyne.NewPos(14, top+w.Height))
}

func (r *buttonRenderer) MinSize() fyne.Size {
	w := r.word.MinSize()
	t := look.Current()
	out := fyne.NewSize(w.Width+2*t.Px(14), t.Px(look.Target))
	if r.b.Hint != "" {
		h := r.hint.MinSize()
		out = fyne.NewSize(max(w.Width, h.Width)+28, w.Height+h.Height+16)
	}
	if out.Width < r.b.MinWidth {
		out.Width = r.b.MinWidth
	}
	return out
}

func (r *buttonRenderer) Refresh() {
	r.update()
	r.Layout(r.b.Size())
	canvas.Refresh(r.b)
}

func (r *buttonRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.back, r.word, r.hint, r.ring}
}
func (r *buttonRenderer) Destroy() {}
