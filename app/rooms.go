package app

import (
	"fyne.io/fyne/v2"

	"rigatino/app/look"
)

// rooms lays out the window: title, bench line, specimen with the record slip
// beside it, shelf and Next bar. The specimen takes what the others leave. Where
// large text would leave it too narrow, the slip stands below it.
type rooms struct {
	title, bench, specimen, slip, shelf, next fyne.CanvasObject
}

func (r *rooms) objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.specimen, r.slip, r.title, r.bench, r.shelf, r.next}
}

func (r *rooms) Layout(_ []fyne.CanvasObject, s fyne.Size) {
	t := look.Current()
	y := float32(0)
	place := func(o fyne.CanvasObject, h float32) {
		o.Move(fyne.NewPos(0, y))
		o.Resize(fyne.NewSize(s.Width, h))
		y += h
	}
	place(r.title, t.Px(52))
	place(r.bench, t.Px(66)+4)
	nextHigh := r.next.MinSize().Height
	shelfHigh := float32(0)
	if r.shelf.Visible() {
		shelfHigh = r.shelf.MinSize().Height
	}
	high := s.Height - y - nextHigh - shelfHigh
	wide := s.Width
	slip := float32(300)
	if s.Width < 1200 {
		slip = 264
	}
	slip = t.Px(slip)
	switch {
	case !r.slip.Visible():
	case wide-slip < narrowest:
		below := min(r.slip.MinSize().Height, high*0.38)
		below = max(below, high*0.3)
		r.slip.Move(fyne.NewPos(0, y+high-below))
		r.slip.Resize(fyne.NewSize(s.Width, below))
		high -= below
	default:
		wide -= slip
		r.slip.Move(fyne.NewPos(wide, y))
		r.slip.Resize(fyne.NewSize(slip, high))
	}
	r.specimen.Move(fyne.NewPos(0, y))
	r.specimen.Resize(fyne.NewSize(wide, high))
	y = s.Height - nextHigh - shelfHigh
	if r.shelf.Visible() {
		place(r.shelf, shelfHigh)
	}
	place(r.next, nextHigh)
}

// narrowest is the least width of the specimen beside the slip.
const narrowest = 760

// smallest is the least size of the window.
var smallest = fyne.NewSize(1100, 720)

func (r *rooms) MinSize(_ []fyne.CanvasObject) fyne.Size { return smallest }

// slipYields tells whether the slip leaves its room to the specimen: with large
// text, while places of it are marked, picked or read.
func (w *Window) slipYields() bool {
	if w.desk == nil || look.Current().Scale < largeText {
		return false
	}
	picking, _, _ := w.desk.Picking()
	return w.task == taskMap || w.task == taskAlign && (picking || w.brushesFit() || w.desk.ShowsLeftover() || w.showsDryGap())
}

// slipButton shows the slip where it yields its room.
func (w *Window) slipButton(rows *buttonRows) {
	if w.slipYields() {
		rows.choice("Slip", "", w.slipOpen, func() { w.slipOpen = !w.slipOpen; w.refresh() })
	}
}
