package part

import (
	"image"
	"image/color"
	"math"
	"strconv"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"

	"rigatino/app/look"
)

// Histogram draws how much surface moved how far: removed at the left of what
// does not show, added at its right, over the ramps that the specimen is coloured
// with, with ticks in mm. Both sides have one scale.
type Histogram struct {
	widget.BaseWidget
	SmallestMM, FullMM, StepMM float64
	// BinsRemoved and BinsAdded are surfaces per bin of BinMM from 0 on.
	BinMM                  float64
	BinsRemoved, BinsAdded []float64
	Removed, Added         *[256]color.RGBA // from the smallest change to the end of the scale
	Unchanged              color.RGBA
	// Left and Right name the two sides; empty for removed and added.
	Left, Right string
	// Middle is how much surface shows no change, in words.
	Middle string
}

// NewHistogram readies h to be shown.
func NewHistogram(h *Histogram) *Histogram {
	h.ExtendBaseWidget(h)
	return h
}

// Tick is a mark of the axis.
type Tick struct {
	MM    float64 // of the removed side below 0
	Words string
}

// Ticks are the marks of the axis from left to right: every step, and the end.
func (h *Histogram) Ticks() []Tick {
	var out []Tick
	if !(h.StepMM > 0) || !(h.FullMM > 0) || h.FullMM/h.StepMM > 100 {
		return nil
	}
	for k := -int(math.Round(h.FullMM / h.StepMM)); float64(k)*h.StepMM <= h.FullMM*(1+1e-9); k++ {
		if v := math.Abs(float64(k) * h.StepMM); v > h.SmallestMM {
			out = append(out, Tick{float64(k) * h.StepMM, strconv.FormatFloat(v, 'g', 4, 64) + "\u00a0mm"})
		}
	}
	return out
}

// CreateRenderer is for the toolkit.
func (h *Histogram) CreateRenderer() fyne.WidgetRenderer {
	r := &histogramRenderer{h: h}
	r.field = canvas.NewRaster(r.paint)
	for _, t := range h.Ticks() {
		r.ticks = append(r.ticks, canvas.NewText(t.Words, nil))
	}
	left, right := "Removed", "Added"
	if h.Left != "" {
		left, right = h.Left, h.Right
	}
	r.removed, r.added = canvas.NewText(left, nil), canvas.NewText(right, nil)
	r.middle, r.under = canvas.NewText(h.Middle, nil), canvas.NewText("under "+strconv.FormatFloat(h.SmallestMM, 'g', 2, 64)+"\u00a0mm", nil)
	r.update()
	return r
}

type histogramRenderer struct {
	h                             *Histogram
	field                         *canvas.Raster
	ticks                         []*canvas.Text
	removed, added, middle, under *canvas.Text
}

func (r *histogramRenderer) update() {
	t := look.Current()
	c := t.Colours()
	for _, x := range append([]*canvas.Text{r.removed, r.added, r.middle, r.under}, r.ticks...) {
		x.Color, x.TextSize = c.Ink, t.Px(look.TextCaption)
	}
	r.removed.TextStyle.Bold, r.added.TextStyle.Bold = true, true
	r.middle.Color = color.NRGBA{0x22, 0x28, 0x2B, 255} // on the grey that is the same in light and dark
}

// block is the width of the middle, where nothing shows.
func (r *histogramRenderer) block() float32 {
	return max(r.under.MinSize().Width, r.middle.MinSize().Width) + 14
}

// x is where a change lies in a width.
func (r *histogramRenderer) x(mm float64, wide float32) float32 {
	side := (wide - r.block()) / 2
	part := float32((math.Abs(mm) - r.h.SmallestMM) / (r.h.FullMM - r.h.SmallestMM))
	part = min(max(part, 0), 1)
	if mm < 0 {
		return side * (1 - part)
	}
	return wide - side*(1-part)
}

// Heights of the parts at size 1.
const histogramBars, histogramRamp, histogramTick = 46, 14, 5

func (r *histogramRenderer) paint(pw, ph int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, max(pw, 1), max(ph, 1)))
	size := r.field.Size()
	if pw < 4 || ph < 4 || size.Width <= 0 || !(r.h.FullMM > r.h.SmallestMM) {
		return img
	}
	h := r.h
	c := look.Current().Colours()
	scale := float32(pw) / size.Width
	line := color.RGBA{c.Edge.R, c.Edge.G, c.Edge.B, 255}
	ink := color.RGBA{c.Ink.R, c.Ink.G, c.Ink.B, 255}
	fill := func(x0, y0, x1, y1 float32, col color.RGBA) {
		for y := max(int(y0), 0); y < min(int(y1), ph); y++ {
			for x := max(int(x0), 0); x < min(int(x1), pw); x++ {
				img.SetRGBA(x, y, col)
			}
		}
	}
	total := float32(histogramBars + histogramRamp + histogramTick)
	unit := float32(ph) / total
	foot, end := histogramBars*unit, (histogramBars+histogramRamp)*unit
	most := 0.0
	for _, bins := range [][]float64{h.BinsRemoved, h.BinsAdded} {
		for _, v := range bins {
			most = max(most, v)
		}
	}
	bars := func(bins []float64, sign float64, col color.RGBA) {
		for k, v := range bins {
			low, high := max(float64(k)*h.BinMM, h.SmallestMM), float64(k+1)*h.BinMM
			if !(v > 0) || high <= low {
				continue
			}
			a, b := r.x(sign*low, size.Width)*scale, r.x(sign*high, size.Width)*scale
			top := foot - max(foot*float32(v/most), 1)
			fill(min(a, b), top, max(max(a, b)-1, min(a, b)+1), foot, col)
		}
	}
	bars(h.BinsRemoved, -1, h.Removed[160])
	bars(h.BinsAdded, 1, h.Added[160])
	left, right := r.x(-h.SmallestMM, size.Width)*scale, r.x(h.SmallestMM, size.Width)*scale
	fill(left, 0, right, end, h.Unchanged)
	for x := range int(left) {
		fill(float32(x), foot, float32(x+1), end, h.Removed[255-x*255/max(int(left)-1, 1)])
	}
	for x := int(right); x < pw; x++ {
		fill(float32(x), foot, float32(x+1), end, h.Added[(x-int(right))*255/max(pw-int(right)-1, 1)])
	}
	fill(0, foot, left, foot+1, line)
	fill(right, foot, float32(pw), foot+1, line)
	for _, t := range h.Ticks() {
		at := min(r.x(t.MM, size.Width)*scale, float32(pw)-1)
		fill(at, foot, at+max(scale, 1), float32(ph), ink)
	}
	for _, at := range []float32{left, right - 1} { // the smallest change
		fill(at, 0, at+max(scale, 1), float32(ph), ink)
	}
	return img
}

func (r *histogramRenderer) Layout(s fyne.Size) {
	t := look.Current()
	words := r.removed.MinSize().Height
	r.removed.Move(fyne.NewPos(0, 0))
	r.added.Move(fyne.NewPos(s.Width-r.added.MinSize().Width, 0))
	field := t.Px(histogramBars + histogramRamp + histogramTick)
	r.field.Move(fyne.NewPos(0, words))
	r.field.Resize(fyne.NewSize(s.Width, field))
	m := r.middle.MinSize()
	r.middle.Move(fyne.NewPos((s.Width-m.Width)/2, words+(t.Px(histogramBars)-m.Height)/2))
	u := r.under.MinSize()
	from := (s.Width - u.Width) / 2
	r.under.Move(fyne.NewPos(from, words+field))
	// Ticks are written where they do not run into one another, the ends first.
	taken := [][2]float32{{from - 8, from + u.Width + 8}}
	all := r.h.Ticks()
	for n := range all {
		i := (n + len(all) - 1) % len(all)
		k := all[i]
		w := r.ticks[i].MinSize().Width
		x := min(max(r.x(k.MM, s.Width)-w/2, 0), s.Width-w)
		free := true
		for _, q := range taken {
			free = free && (x > q[1] || x+w < q[0])
		}
		r.ticks[i].Hidden = !free
		if free {
			taken = append(taken, [2]float32{x - 8, x + w + 8})
		}
		r.ticks[i].Move(fyne.NewPos(x, words+field))
	}
}

func (r *histogramRenderer) MinSize() fyne.Size {
	t := look.Current()
	return fyne.NewSize(r.block()+2*t.Px(120), 2*r.removed.MinSize().Height+t.Px(histogramBars+histogramRamp+histogramTick))
}

func (r *histogramRenderer) Refresh() {
	r.update()
	r.Layout(r.h.Size())
	r.field.Refresh()
	canvas.Refresh(r.h)
}

func (r *histogramRenderer) Objects() []fyne.CanvasObject {
	out := []fyne.CanvasObject{r.field, r.removed, r.added, r.middle, r.under}
	for _, x := range r.ticks {
		out = append(out, x)
	}
	return out
}
func (r *histogramRenderer) Destroy() {}
