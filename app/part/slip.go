package part

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// SectionName is a small bold caption in capitals above a group.
func SectionName(text string) fyne.CanvasObject {
	s := NewSentence(text, look.TextCaption, 260)
	s.Bold, s.Tone = true, Soft
	return s
}

// Heading is the title of a slip or a card.
func Heading(text string) fyne.CanvasObject {
	s := NewSentence(text, look.TextHeading, 260)
	s.Bold = true
	return s
}

// Value is the one answer on a card.
func Value(text string, tone Tone) fyne.CanvasObject {
	s := NewSentence(text, look.TextValue, 260)
	s.Bold, s.Tone = true, tone
	return s
}

// Row is one line of a slip: the field's name and what stands in it, with a
// hairline below.
func Row(name string, value fyne.CanvasObject) fyne.CanvasObject {
	t := look.Current()
	n := NewSentence(name, look.TextCaption, t.Px(74))
	n.Tone = Soft
	line := canvas.NewRectangle(t.Colours().Rule)
	line.SetMinSize(fyne.NewSize(1, 1))
	body := container.New(&twoColumns{first: t.Px(78)}, n, value)
	return container.New(layout.NewCustomPaddedVBoxLayout(3), body, line)
}

// TextRow is a Row with words in it.
func TextRow(name, value string) fyne.CanvasObject {
	return Row(name, NewSentence(value, look.TextBody, look.Current().Px(186)))
}

type twoColumns struct{ first float32 }

func (l *twoColumns) Layout(o []fyne.CanvasObject, s fyne.Size) {
	o[0].Move(fyne.NewPos(0, 2))
	o[0].Resize(fyne.NewSize(l.first-4, o[0].MinSize().Height))
	o[1].Move(fyne.NewPos(l.first, 0))
	o[1].Resize(fyne.NewSize(s.Width-l.first, max(o[1].MinSize().Height, s.Height)))
}

func (l *twoColumns) MinSize(o []fyne.CanvasObject) fyne.Size {
	return fyne.NewSize(l.first+60, max(o[0].MinSize().Height+2, o[1].MinSize().Height))
}

// Box is a note with a ground of its own; it begins with a bold word.
func Box(text string, tone Tone) fyne.CanvasObject {
	c := look.Current().Colours()
	ground := c.WarningGround
	if tone == Refused {
		ground = c.RefusedGround
	}
	back := canvas.NewRectangle(ground)
	back.CornerRadius = 4
	s := NewSentence(text, look.TextRow, look.Current().Px(236))
	s.Tone = tone
	return container.NewStack(back, container.New(layout.NewCustomPaddedLayout(8, 8, 10, 10), s))
}

// Card is a framed ground for a value or a table.
func Card(content fyne.CanvasObject) fyne.CanvasObject {
	c := look.Current().Colours()
	back := canvas.NewRectangle(c.Card)
	back.StrokeColor, back.StrokeWidth, back.CornerRadius = c.Rule, 1, 4
	return container.NewStack(back, container.New(layout.NewCustomPaddedLayout(12, 12, 14, 14), content))
}

// Ground fills a room with a colour of the theme; which is read each time the
// theme changes.
type Ground struct {
	widget.BaseWidget
	Of func(look.Tokens) color.NRGBA
}

// NewGround makes a filled room.
func NewGround(of func(look.Tokens) color.NRGBA) *Ground {
	g := &Ground{Of: of}
	g.ExtendBaseWidget(g)
	return g
}

// CreateRenderer is for the toolkit.
func (g *Ground) CreateRenderer() fyne.WidgetRenderer {
	return &groundRenderer{g: g, r: canvas.NewRectangle(g.Of(look.Current().Colours()))}
}

type groundRenderer struct {
	g *Ground
	r *canvas.Rectangle
}

func (r *groundRenderer) Layout(s fyne.Size) { r.r.Resize(s) }
func (r *groundRenderer) MinSize() fyne.Size { return fyne.NewSize(0, 0) }
func (r *groundRenderer) Refresh() {
	r.r.FillColor = r.g.Of(look.Current().Colours())
	canvas.Refresh(r.r)
}
func (r *groundRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.r} }
func (r *groundRenderer) Destroy()                     {}
