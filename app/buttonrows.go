package app

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/layout"

	"rigatino/app/look"
	"rigatino/app/part"
)

// buttonRows sets buttons beside one another on the shelf, in as many rows as the
// smallest window needs.
type buttonRows struct {
	room *fyne.Container
	row  *fyne.Container
	wide float32
	low  bool // words alone, without their second line
}

// newLowRows leaves second lines out where text is large, so that the specimen
// keeps its room.
func newLowRows() *buttonRows {
	r := newButtonRows()
	r.low = look.Current().Scale >= largeText
	return r
}

func newButtonRows() *buttonRows {
	return &buttonRows{room: container.New(layout.NewCustomPaddedVBoxLayout(look.Gap))}
}

// button adds a button; the hint is its second line.
func (r *buttonRows) button(word, hint string, press func()) *part.Button {
	b := part.NewButton(word, press)
	if !r.low {
		b.Hint = hint
	}
	b.Refresh()
	r.add(b)
	return b
}

// choice adds a button that is on or not.
func (r *buttonRows) choice(word, hint string, on bool, press func()) {
	if b := r.button(word, hint, press); on {
		b.SetWeight(part.Chosen)
	}
}

func (r *buttonRows) add(o fyne.CanvasObject) {
	need := o.MinSize().Width + look.Gap
	if r.wide += need; r.row == nil || r.wide > smallest.Width-2*look.Edge {
		r.row, r.wide = container.New(layout.NewCustomPaddedHBoxLayout(look.Gap)), need
		r.room.Add(r.row)
	}
	r.row.Add(o)
}
