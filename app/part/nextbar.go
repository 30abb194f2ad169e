package part

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// NextBar is the lowest room of the window: one sentence that says what to do
// now, one filled button that does it, and the tasks in a row. Long work shows
// its progress along the upper edge with Stop.
type NextBar struct {
	widget.BaseWidget

	sentence *Sentence
	next     *Button
	back     *Button
	stop     *Button
	tasks    []*Button

	progress float64 // below 0: none
	chosen   string
}

// NewNextBar makes the bar with its task words.
func NewNextBar(tasks []string, choose func(task string)) *NextBar {
	n := &NextBar{progress: -1}
	n.sentence = NewSentence("", look.TextNext, 700)
	n.next = NewButton("", nil)
	n.next.Weight = Filled
	n.back = NewButton("", nil)
	n.stop = NewButton("Stop", nil)
	n.next.Hide()
	n.back.Hide()
	n.stop.Hide()
	for _, word := range tasks {
		b := NewButton(word, func() { choose(word) })
		b.MinWidth = 112
		n.tasks = append(n.tasks, b)
	}
	n.ExtendBaseWidget(n)
	return n
}

// Say shows the sentence; tone Ink is usual.
func (n *NextBar) Say(text string, tone Tone) {
	n.sentence.Text, n.sentence.Tone = text, tone
	n.Refresh()
}

// Text returns the sentence in view.
func (n *NextBar) Text() string { return n.sentence.Text }

// Offer sets the filled button; an empty word hides it.
func (n *NextBar) Offer(word string, press func()) { offer(n.next, word, press); n.Refresh() }

// OfferBack sets the quiet button beside it; an empty word hides it.
func (n *NextBar) OfferBack(word string, press func()) { offer(n.back, word, press); n.Refresh() }

func offer(b *Button, word string, press func()) {
	b.Word, b.OnPress = word, press
	b.Hidden = word == ""
	b.Refresh()
}

// PressNext does what the filled button does.
func (n *NextBar) PressNext() {
	if n.next.Visible() {
		n.next.press()
	}
}

// Choose marks the task in hand.
func (n *NextBar) Choose(task string) {
	n.chosen = task
	for _, b := range n.tasks {
		if b.Word == task {
			b.SetWeight(Chosen)
		} else {
			b.SetWeight(Plain)
		}
	}
}

// Progress shows how far long work is, from 0 to 1, with Stop; below 0 ends it.
func (n *NextBar) Progress(done float64, stop func()) {
	n.progress = done
	if done < 0 {
		offer(n.stop, "", nil)
	} else {
		offer(n.stop, "Stop", stop)
	}
	n.Refresh()
}

// CreateRenderer is for the toolkit.
func (n *NextBar) CreateRenderer() fyne.WidgetRenderer {
	r := &nextRenderer{n: n, band: canvas.NewRectangle(nil), top: canvas.NewRectangle(nil),
		done: canvas.NewRectangle(nil), mark: canvas.NewText("NEXT", nil)}
	r.update()
	return r
}

type nextRenderer struct {
	n               *NextBar
	band, top, done *canvas.Rectangle
	mark            *canvas.Text
}

func (r *nextRenderer) update() {
	t := look.Current()
	c := t.Colours()
	r.band.FillColor, r.top.FillColor, r.done.FillColor = c.Band, c.Accent, c.Accent
	r.mark.Color, r.mark.TextSize, r.mark.TextStyle.Bold = c.Accent, t.Px(look.TextNext), true
	r.done.Hidden = r.n.progress < 0
}

func (r *nextRenderer) Layout(s fyne.Size) {
	n := r.n
	t := look.Current()
	r.band.Resize(s)
	r.top.Resize(fyne.NewSize(s.Width, 2))
	r.done.Resize(fyne.NewSize(s.Width*float32(min(max(n.progress, 0), 1)), 6))
	row := t.Px(look.Target)
	right := s.Width - look.Edge
	for _, b := range []*Button{n.next, n.back, n.stop} {
		if !b.Visible() {
			continue
		}
		w := b.MinSize().Width
		right -= w
		b.Resize(fyne.NewSize(w, row))
		b.Move(fyne.NewPos(right, 9))
		right -= look.Gap
	}
	m := r.mark.MinSize()
	x := look.Edge + m.Width + 12
	wide := right - x - 8
	n.sentence.Wide = wide
	h := n.sentence.MinSize().Height
	top := max(5, 9+(row-h)/2)
	n.sentence.Resize(fyne.NewSize(wide, h))
	n.sentence.Move(fyne.NewPos(x, top))
	r.mark.Move(fyne.NewPos(look.Edge, 9+(row-m.Height)/2))
	y := s.Height - t.Px(38) - 4
	left := float32(look.Edge)
	for _, b := range n.tasks {
		w := b.MinSize().Width
		b.Resize(fyne.NewSize(w, t.Px(38)))
		b.Move(fyne.NewPos(left, y))
		left += w + look.Gap
	}
}

func (r *nextRenderer) MinSize() fyne.Size {
	t := look.Current()
	w := float32(2 * look.Edge)
	for _, b := range r.n.tasks {
		w += b.MinSize().Width + look.Gap
	}
	return fyne.NewSize(w, t.Px(92)+8)
}
func (r *nextRenderer) Refresh() {
	r.update()
	r.Layout(r.n.Size())
	r.n.sentence.Refresh()
	canvas.Refresh(r.n)
}
func (r *nextRenderer) Objects() []fyne.CanvasObject {
	out := []fyne.CanvasObject{r.band, r.top, r.done, r.mark, r.n.sentence, r.n.stop, r.n.back, r.n.next}
	for _, b := range r.n.tasks {
		out = append(out, b)
	}
	return out
}
func (r *nextRenderer) Destroy() {}
