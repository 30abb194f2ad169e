package part

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// Bead is one stage on the bench line. Held is 0 for a stage that is not in
// hand, 1 for the one in view, 2 for the other date of a pair.
type Bead struct {
	Stage     string
	Date      string
	Word      string
	Held      int
	Unscanned bool
}

// BenchLine shows the dated stages as beads on a line, oldest first. Pressing a
// bead puts it in view; pressing it with Shift, or the key H on it, holds it as
// the other date.
type BenchLine struct {
	widget.BaseWidget
	OnView func(stage string)
	OnHold func(stage string)

	beads   []*bead
	objects []Bead
}

// NewBenchLine makes an empty line.
func NewBenchLine(view, hold func(stage string)) *BenchLine {
	l := &BenchLine{OnView: view, OnHold: hold}
	l.ExtendBaseWidget(l)
	return l
}

// SetBeads shows these stages.
func (l *BenchLine) SetBeads(beads []Bead) {
	l.objects = append([]Bead(nil), beads...)
	for len(l.beads) < len(beads) {
		b := &bead{line: l}
		b.ExtendBaseWidget(b)
		l.beads = append(l.beads, b)
	}
	l.beads = l.beads[:len(beads)]
	for i, b := range l.beads {
		b.at = beads[i]
		b.Refresh()
	}
	l.Refresh()
}

// CreateRenderer is for the toolkit.
func (l *BenchLine) CreateRenderer() fyne.WidgetRenderer { return &lineRenderer{l: l} }

type lineRenderer struct {
	l    *BenchLine
	segs []*canvas.Line
	note *canvas.Text
	objs []fyne.CanvasObject
}

const beadY = 20 // centre of the beads below the top edge

func (r *lineRenderer) build() {
	c := look.Current().Colours()
	r.segs, r.objs = nil, nil
	n := len(r.l.beads)
	if r.note == nil {
		r.note = canvas.NewText("", nil)
	}
	r.note.Color, r.note.TextSize = c.Soft, look.Current().Px(look.TextBody)
	r.note.Text = ""
	if n == 0 {
		r.note.Text = "Each scan will hang here on its date."
	}
	for i := 0; i+1 < n; i++ {
		s := canvas.NewLine(c.Edge)
		s.StrokeWidth = 2
		if r.between(i) {
			s.StrokeColor, s.StrokeWidth = c.Accent, 6
		}
		r.segs = append(r.segs, s)
		r.objs = append(r.objs, s)
	}
	for range 12 { // dashes after the last bead: the line goes on
		s := canvas.NewLine(c.Edge)
		s.StrokeWidth = 2
		r.segs = append(r.segs, s)
		r.objs = append(r.objs, s)
	}
	for _, b := range r.l.beads {
		r.objs = append(r.objs, b)
	}
	r.objs = append(r.objs, r.note)
}

// between tells whether the stretch after bead i lies between the held pair.
func (r *lineRenderer) between(i int) bool {
	first, last := -1, -1
	for k, b := range r.l.beads {
		if b.at.Held != 0 {
			if first < 0 {
				first = k
			}
			last = k
		}
	}
	return first >= 0 && last > first && i >= first && i < last
}

func (r *lineRenderer) Layout(s fyne.Size) {
	n := len(r.l.beads)
	r.build()
	step := float32(196)
	if n > 0 {
		if fit := (s.Width - 60) / float32(n); fit < step {
			step = fit
		}
	}
	x := func(i int) float32 { return step/2 + float32(i)*step }
	for i, b := range r.l.beads {
		b.Resize(fyne.NewSize(step-4, s.Height))
		b.Move(fyne.NewPos(x(i)-step/2+2, 0))
	}
	k := 0
	for i := 0; i+1 < n; i++ {
		r.segs[k].Position1 = fyne.NewPos(x(i)+14, beadY)
		r.segs[k].Position2 = fyne.NewPos(x(i+1)-14, beadY)
		k++
	}
	start := float32(10)
	if n > 0 {
		start = x(n-1) + 20
	}
	for i := 0; k < len(r.segs); k, i = k+1, i+1 {
		a := start + float32(i)*9
		r.segs[k].Hidden = a+5 > s.Width
		r.segs[k].Position1, r.segs[k].Position2 = fyne.NewPos(a, beadY), fyne.NewPos(a+5, beadY)
	}
	r.note.Move(fyne.NewPos(start+120, beadY-r.note.MinSize().Height/2))
}

func (r *lineRenderer) MinSize() fyne.Size {
	return fyne.NewSize(200, look.Current().Px(52))
}
func (r *lineRenderer) Refresh() { r.Layout(r.l.Size()); canvas.Refresh(r.l) }
func (r *lineRenderer) Objects() []fyne.CanvasObject {
	if r.objs == nil {
		r.Layout(r.l.Size())
	}
	return r.objs
}
func (r *lineRenderer) Destroy() {}

// bead is one pressable stage.
type bead struct {
	widget.BaseWidget
	line    *BenchLine
	at      Bead
	focused bool
	shift   bool
}

func (b *bead) Tapped(*fyne.PointEvent) {
	if b.shift {
		b.hold()
		return
	}
	if b.line.OnView != nil {
		b.line.OnView(b.at.Stage)
	}
}

func (b *bead) hold() {
	if b.line.OnHold != nil {
		b.line.OnHold(b.at.Stage)
	}
}

// TappedSecondary holds the bead as the other date, for hands with two buttons.
func (b *bead) TappedSecondary(*fyne.PointEvent) { b.hold() }

// MouseDown keeps the modifier, which a tap does not carry.
func (b *bead) MouseDown(e *desktop.MouseEvent) { b.shift = e.Modifier&fyne.KeyModifierShift != 0 }

// MouseUp does nothing.
func (b *bead) MouseUp(*desktop.MouseEvent) {}

func (b *bead) FocusGained()   { b.focused = true; b.Refresh() }
func (b *bead) FocusLost()     { b.focused = false; b.Refresh() }
func (b *bead) TypedRune(rune) {}
func (b *bead) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		b.shift = false
		b.Tapped(nil)
	case fyne.KeyH:
		b.hold()
	}
}

func (b *bead) CreateRenderer() fyne.WidgetRenderer {
	r := &beadRenderer{b: b, dot: canvas.NewCircle(nil), ring: canvas.NewCircle(nil), frame: canvas.NewRectangle(nil),
		date: canvas.NewText("", nil), word: canvas.NewText("", nil), letter: canvas.NewText("", nil)}
	r.update()
	return r
}

type beadRenderer struct {
	b                  *bead
	dot, ring          *canvas.Circle
	frame              *canvas.Rectangle
	letter, date, word *canvas.Text
}

func (r *beadRenderer) update() {
	t := look.Current()
	c := t.Colours()
	r.dot.FillColor, r.dot.StrokeColor, r.dot.StrokeWidth = c.Card, c.Edge, 2
	r.ring.FillColor, r.ring.StrokeColor, r.ring.StrokeWidth = c.Card, c.Accent, 2
	r.ring.Hidden = r.b.at.Held == 0
	if r.b.at.Held != 0 {
		r.dot.FillColor, r.dot.StrokeColor = c.Accent, c.Accent
	}
	if r.b.at.Unscanned {
		r.dot.FillColor = c.Page
	}
	r.frame.FillColor, r.frame.StrokeColor, r.frame.StrokeWidth = nil, c.Accent, 3
	r.frame.CornerRadius = 4
	r.frame.Hidden = !r.b.focused
	r.letter.Text = ""
	switch r.b.at.Held {
	case 1:
		r.letter.Text = "B"
	case 2:
		r.letter.Text = "A"
	}
	if !r.b.line.paired() {
		r.letter.Text = ""
	}
	r.letter.Color, r.letter.TextSize, r.letter.TextStyle.Bold = c.Accent, t.Px(look.TextRow), true
	r.date.Text, r.date.Color, r.date.TextSize = r.b.at.Date, c.Ink, t.Px(look.TextRow)
	r.date.TextStyle.Bold = r.b.at.Held != 0
	r.word.Text, r.word.Color, r.word.TextSize = r.b.at.Word, c.Soft, t.Px(look.TextRow)
}

func (l *BenchLine) paired() bool {
	n := 0
	for _, b := range l.objects {
		if b.Held != 0 {
			n++
		}
	}
	return n == 2
}

func (r *beadRenderer) Layout(s fyne.Size) {
	mid := s.Width / 2
	r.dot.Resize(fyne.NewSize(16, 16))
	r.dot.Move(fyne.NewPos(mid-8, beadY-8))
	r.ring.Resize(fyne.NewSize(26, 26))
	r.ring.Move(fyne.NewPos(mid-13, beadY-13))
	r.frame.Resize(s)
	l, d, w := r.letter.MinSize(), r.date.MinSize(), r.word.MinSize()
	lw := l.Width
	if r.letter.Text != "" {
		lw += 5
	}
	// No room for both: the date above all, and of the word what there is room for.
	r.word.Text = shortened(r.b.at.Word, s.Width-lw-d.Width-5, r.word)
	r.word.Hidden = r.word.Text == ""
	w = r.word.MinSize()
	total := lw + d.Width + 5 + w.Width
	if r.word.Hidden {
		total = lw + d.Width
	}
	x := mid - total/2
	y := s.Height - d.Height - 1
	r.letter.Move(fyne.NewPos(x, y))
	r.date.Move(fyne.NewPos(x+lw, y))
	r.word.Move(fyne.NewPos(x+lw+d.Width+5, y))
}

// shortened cuts a word so that it fits into a width, as drawn in the style of
// like; empty where not even three letters do.
func shortened(word string, width float32, like *canvas.Text) string {
	wide := func(s string) float32 { return fyne.MeasureText(s, like.TextSize, like.TextStyle).Width }
	if wide(word) <= width {
		return word
	}
	letters := []rune(word)
	for n := len(letters) - 1; n >= 3; n-- {
		if s := strings.TrimRight(string(letters[:n]), " ,") + "…"; wide(s) <= width {
			return s
		}
	}
	return ""
}

func (r *beadRenderer) MinSize() fyne.Size { return fyne.NewSize(44, look.Current().Px(52)) }
func (r *beadRenderer) Refresh()           { r.update(); r.Layout(r.b.Size()); canvas.Refresh(r.b) }
func (r *beadRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.ring, r.dot, r.letter, r.date, r.word, r.frame}
}
func (r *beadRenderer) Destroy() {}
