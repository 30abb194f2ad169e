package part

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// Item is one entry of a list that can be taken in hand: a name, a value at the
// right, and words below. It answers Space and Enter and shows its focus.
type Item struct {
	widget.BaseWidget
	Value   string
	Chosen  bool
	OnPress func()

	name, text       *Sentence
	focused, hovered bool
}

// NewItem makes an entry; name may hold bold words, text may be empty.
func NewItem(name, value, text string, press func()) *Item {
	i := &Item{Value: value, OnPress: press, name: NewSentence(name, look.TextRow, 240), text: NewSentence(text, look.TextCaption, 240)}
	i.ExtendBaseWidget(i)
	return i
}

// SetTone colours the words below the name.
func (i *Item) SetTone(t Tone) { i.text.SetTone(t) }

// SetWords changes the words below the name; none take their room away.
func (i *Item) SetWords(words string) {
	i.text.Text = words
	i.Refresh()
}

// Text is what the entry says, name first.
func (i *Item) Text() string { return i.name.Text + " " + i.Value + " " + i.text.Text }

// Tapped takes the entry in hand.
func (i *Item) Tapped(*fyne.PointEvent) {
	if i.OnPress != nil {
		i.OnPress()
	}
}

// FocusGained shows where the keyboard is.
func (i *Item) FocusGained() { i.focused = true; i.Refresh() }

// FocusLost hides it.
func (i *Item) FocusLost() { i.focused = false; i.Refresh() }

// TypedRune does nothing.
func (i *Item) TypedRune(rune) {}

// TypedKey presses on Space, Enter and Return.
func (i *Item) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		i.Tapped(nil)
	}
}

// MouseIn begins the hover look.
func (i *Item) MouseIn(*desktop.MouseEvent) { i.hovered = true; i.Refresh() }

// MouseMoved does nothing.
func (i *Item) MouseMoved(*desktop.MouseEvent) {}

// MouseOut ends the hover look.
func (i *Item) MouseOut() { i.hovered = false; i.Refresh() }

// CreateRenderer is for the toolkit.
func (i *Item) CreateRenderer() fyne.WidgetRenderer {
	r := &itemRenderer{i: i, back: canvas.NewRectangle(nil), value: canvas.NewText("", nil), wide: 240}
	r.back.CornerRadius = 4
	r.update()
	return r
}

type itemRenderer struct {
	i     *Item
	back  *canvas.Rectangle
	value *canvas.Text
	wide  float32
}

const itemPad = 8

func (r *itemRenderer) update() {
	t := look.Current()
	c := t.Colours()
	r.value.Text, r.value.Color, r.value.TextSize = r.i.Value, c.Ink, t.Px(look.TextRow)
	r.back.FillColor = color.Transparent
	switch {
	case r.i.focused:
		r.back.StrokeColor, r.back.StrokeWidth = c.Accent, 3
	case r.i.Chosen:
		r.back.FillColor, r.back.StrokeColor, r.back.StrokeWidth = c.Band, c.Accent, 2
	case r.i.hovered:
		r.back.StrokeColor, r.back.StrokeWidth = c.Ink, 1
	default:
		r.back.StrokeColor, r.back.StrokeWidth = c.Edge, 1
	}
	if r.i.text.Tone == Ink {
		r.i.text.Tone = Soft
	}
}

// flow places the parts in a width and returns the height they need.
func (r *itemRenderer) flow(wide float32) float32 {
	t := look.Current()
	inner := wide - 2*itemPad
	value := r.value.MinSize()
	name := inner
	beside := r.i.Value != "" && inner-value.Width-10 >= 0.42*inner
	if beside {
		name = inner - value.Width - 10
	}
	y := float32(itemPad - 2)
	r.i.name.Wide = name
	high := r.i.name.MinSize().Height
	r.i.name.Move(fyne.NewPos(itemPad, y))
	r.i.name.Resize(fyne.NewSize(name, high))
	r.value.Resize(value)
	if beside {
		r.value.Move(fyne.NewPos(wide-itemPad-value.Width, y))
		y += max(high, value.Height)
	} else {
		y += high
		if r.i.Value != "" {
			r.value.Move(fyne.NewPos(itemPad, y))
			y += value.Height
		}
	}
	if r.i.text.Text != "" {
		r.i.text.Wide = inner
		high = r.i.text.MinSize().Height
		r.i.text.Move(fyne.NewPos(itemPad, y+1))
		r.i.text.Resize(fyne.NewSize(inner, high))
		y += high + 1
	}
	return max(y+itemPad-2, t.Px(look.Target))
}

func (r *itemRenderer) Layout(s fyne.Size) {
	if s.Width <= 0 {
		return
	}
	changed := r.wide != s.Width
	r.wide = s.Width
	r.flow(s.Width)
	r.back.Resize(s)
	if changed {
		canvas.Refresh(r.i)
	}
}

func (r *itemRenderer) MinSize() fyne.Size { return fyne.NewSize(60, r.flow(r.wide)) }

func (r *itemRenderer) Refresh() {
	r.update()
	r.flow(r.wide)
	r.i.name.Refresh()
	r.i.text.Refresh()
	canvas.Refresh(r.i)
}

func (r *itemRenderer) Objects() []fyne.CanvasObject {
	out := []fyne.CanvasObject{r.back, r.i.name, r.value}
	if r.i.text.Text != "" {
		out = append(out, r.i.text)
	}
	return out
}
func (r *itemRenderer) Destroy() {}
