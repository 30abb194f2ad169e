package part

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// Tone is how a sentence is coloured.
type Tone int

// The tones of a sentence.
const (
	Ink Tone = iota
	Soft
	Warning
	Refused
	Accepted
)

// Sentence is wrapped text in which words between double asterisks are bold.
// Its height follows its width.
type Sentence struct {
	widget.BaseWidget
	Text string
	Type float32 // type size at size 1
	Tone Tone
	Bold bool
	// Wide is the width it wraps to before it has been laid out.
	Wide float32
}

// NewSentence makes wrapped text of a type size at scale 1.
func NewSentence(text string, size, wide float32) *Sentence {
	s := &Sentence{Text: text, Type: size, Wide: wide}
	s.ExtendBaseWidget(s)
	return s
}

// Set changes the text.
func (s *Sentence) Set(text string) {
	if s.Text != text {
		s.Text = text
		s.Refresh()
	}
}

// SetTone changes the colour.
func (s *Sentence) SetTone(t Tone) {
	if s.Tone != t {
		s.Tone = t
		s.Refresh()
	}
}

// CreateRenderer is for the toolkit.
func (s *Sentence) CreateRenderer() fyne.WidgetRenderer { return &sentenceRenderer{s: s} }

type sentenceRenderer struct {
	s     *Sentence
	words []*canvas.Text
	objs  []fyne.CanvasObject
	wide  float32
	high  float32
}

type run struct {
	text string
	bold bool
}

// runs cuts the text at spaces and keeps which words are bold.
func runs(text string, all bool) []run {
	var out []run
	for i, chunk := range strings.Split(text, "**") {
		bold := all || i%2 == 1
		for j, line := range strings.Split(chunk, "\n") {
			if j > 0 {
				out = append(out, run{text: "\n"})
			}
			for _, w := range strings.Split(line, " ") {
				if w != "" {
					out = append(out, run{w, bold})
				}
			}
		}
	}
	return out
}

// touching tells which runs have the next one directly behind them, as the stop
// in "**Done**." is, so that no line breaks and no space stands between.
func touching(text string) map[int]bool {
	out := map[int]bool{}
	n := 0
	chunks := strings.Split(text, "**")
	for i, chunk := range chunks {
		words := 0
		for j, line := range strings.Split(chunk, "\n") {
			if j > 0 {
				words++
			}
			for _, w := range strings.Split(line, " ") { // as runs cuts it: a no-break space does not
				if w != "" {
					words++
				}
			}
		}
		n += words
		if i+1 < len(chunks) && n > 0 && chunk != "" && !strings.HasSuffix(chunk, " ") &&
			chunks[i+1] != "" && !strings.HasPrefix(chunks[i+1], " ") {
			out[n-1] = true
		}
	}
	return out
}

func (r *sentenceRenderer) flow(width float32) {
	t := look.Current()
	c := t.Colours()
	ink := c.Ink
	switch r.s.Tone {
	case Soft:
		ink = c.Soft
	case Warning:
		ink = c.Warning
	case Refused:
		ink = c.Refused
	case Accepted:
		ink = c.Accepted
	}
	size := t.Px(r.s.Type)
	glued := touching(r.s.Text)
	space := fyne.MeasureText(" ", size, fyne.TextStyle{}).Width
	lineHeight := fyne.MeasureText("Mg", size, fyne.TextStyle{}).Height
	parts := runs(r.s.Text, r.s.Bold)
	r.words, r.objs = r.words[:0], r.objs[:0]
	x, y := float32(0), float32(0)
	for i, p := range parts {
		if p.text == "\n" {
			x, y = 0, y+lineHeight
			continue
		}
		w := canvas.NewText(p.text, ink)
		w.TextSize, w.TextStyle.Bold = size, p.bold
		wide := w.MinSize().Width
		// What is glued to a word goes with it to the next line.
		need := wide
		for k := i; glued[k] && k+1 < len(parts); k++ {
			need += fyne.MeasureText(parts[k+1].text, size, fyne.TextStyle{Bold: parts[k+1].bold}).Width
		}
		if x > 0 && x+need > width && (i == 0 || !glued[i-1]) {
			x, y = 0, y+lineHeight
		}
		w.Move(fyne.NewPos(x, y))
		w.Resize(fyne.NewSize(wide, lineHeight))
		x += wide
		if !glued[i] {
			x += space
		}
		r.words = append(r.words, w)
		r.objs = append(r.objs, w)
	}
	r.wide, r.high = width, y+lineHeight
}

func (r *sentenceRenderer) Layout(s fyne.Size) {
	if s.Width <= 0 {
		return
	}
	before := r.high
	r.flow(s.Width)
	if r.s.Wide != s.Width {
		r.s.Wide = s.Width
	}
	if r.high != before {
		canvas.Refresh(r.s)
	}
}

func (r *sentenceRenderer) MinSize() fyne.Size {
	w := r.s.Wide
	if w <= 0 {
		w = 200
	}
	r.flow(w)
	return fyne.NewSize(10, r.high)
}

func (r *sentenceRenderer) Refresh() {
	w := r.s.Size().Width
	if w <= 0 {
		w = r.s.Wide
	}
	r.flow(w)
	canvas.Refresh(r.s)
}
func (r *sentenceRenderer) Objects() []fyne.CanvasObject {
	if r.words == nil {
		r.flow(max(r.s.Wide, 100))
	}
	return r.objs
}
func (r *sentenceRenderer) Destroy() {}
