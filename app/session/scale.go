package session

import (
	"context"
	"errors"
	"fmt"
	"image/color"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh"
	"rigatino/mesh/render"
	"rigatino/mesh/scale"
)

// BarInHand is the scale bar that the task Scale is about: one under way, or one
// of the record that was chosen.
type BarInHand struct {
	First *[3]float64       // one end, while the other is wanted
	Bar   annotate.ScaleBar // both ends, or the length in the scan typed
	On    bool              // Bar is there
	Known string            // name under which it stands in the record; empty for a new one
	endU  float64           // standard uncertainty of the ends picked, mm of the scan
}

// Bar is what lies in hand.
func (d *Desk) Bar() BarInHand { return d.bar }

// DropBar puts the bar in hand down as it was.
func (d *Desk) DropBar() { d.bar = BarInHand{} }

// ScaleOf returns the scale of the use in view and what the fit makes of its
// bars.
func (d *Desk) ScaleOf() (annotate.Scale, *scale.Calibration, error) {
	r := d.Project.Record()
	u := r.Use(d.View)
	if u == nil {
		return annotate.Scale{}, nil, fmt.Errorf("use %v does not exist", d.View)
	}
	c, err := d.Project.Calibration(d.View)
	return u.Scale, c, err
}

// BarNotes says what would make the bars better.
func (d *Desk) BarNotes() []mesh.Finding {
	b := d.bodies[d.View]
	if b == nil {
		return nil
	}
	return d.Project.BarNotes(b.Loaded)
}

// BarEnd takes a place as an end of a bar: the first, then the second. pixelMM is
// how much of the specimen a pixel of the picture shows there.
func (d *Desk) BarEnd(at mesh.SurfacePoint, pixelMM float64) error {
	b := d.bodies[d.View]
	if b == nil {
		return errNotReady
	}
	p := b.Surface.Mesh.At(at)
	place := &[3]float64{p.X, p.Y, p.Z}
	// A place cannot be pointed at better than to half a pixel.
	factor := b.Use.Scale.Calibrated()
	u := math.Max(project.BarEndU(b.Surface, factor), pixelMM/2/factor)
	h := &d.bar
	if h.First == nil {
		*h = BarInHand{First: place, endU: u, Known: h.Known, Bar: h.Bar}
		return nil
	}
	if *h.First == *place {
		return errors.New("both ends are the same place: press on the other end of the bar")
	}
	h.Bar.From, h.Bar.To, h.Bar.Measured = h.First, place, 0
	h.Bar.MeasuredU = math.Hypot(h.endU, u)
	h.First, h.On = nil, true
	return nil
}

// TypeBar takes a bar in hand whose ends are not on the scan.
func (d *Desk) TypeBar() { d.bar = BarInHand{On: true} }

// TakeBar takes a bar of the record in hand.
func (d *Desk) TakeBar(name string) {
	r := d.Project.Record()
	u := r.Use(d.View)
	if u == nil {
		return
	}
	for _, b := range u.Scale.Bars {
		if b.Name == name {
			d.bar = BarInHand{On: true, Bar: b, Known: name}
		}
	}
}

// Typed is what was written about the bar in hand.
type Typed struct {
	Name, Length, U, Measured string
	HeldOut                   bool
}

// KeepBar puts the bar in hand, with what was written about it, among those of
// the use in view. It may run on any goroutine, as may the other ways of setting
// the scale.
func (d *Desk) KeepBar(ctx context.Context, t Typed) (*project.Scaled, error) {
	h := d.bar
	if !h.On {
		return nil, errors.New("there is no bar in hand: press on both ends of one first")
	}
	b := h.Bar
	b.Name, b.HeldOut = strings.TrimSpace(t.Name), t.HeldOut
	var err error
	if b.Length, err = millimetres(t.Length, "the length of the bar"); err != nil {
		return nil, err
	}
	if b.U, err = millimetres(t.U, "how well the length is known"); err != nil {
		return nil, err
	}
	if b.From == nil {
		was := b.Measured
		if b.Measured, err = millimetres(t.Measured, "the length in the scan"); err != nil {
			return nil, err
		}
		if b.Measured != was {
			b.MeasuredU = 0 // found anew
		}
	}
	return d.setBars(ctx, func(bars []annotate.ScaleBar) ([]annotate.ScaleBar, error) {
		for i, other := range bars {
			if other.Name == b.Name && b.Name != h.Known && b.Name != "" {
				return nil, fmt.Errorf("another bar is called %s: give this one its own name", b.Name)
			}
			if h.Known != "" && other.Name == h.Known {
				bars[i] = b
				return bars, nil
			}
		}
		return append(bars, b), nil
	})
}

// TakeBarAway takes the bar in hand off the record.
func (d *Desk) TakeBarAway(ctx context.Context) (*project.Scaled, error) {
	name := d.bar.Known
	return d.setBars(ctx, func(bars []annotate.ScaleBar) ([]annotate.ScaleBar, error) {
		return slices.DeleteFunc(bars, func(b annotate.ScaleBar) bool { return b.Name == name }), nil
	})
}

// CheckLengths says that a person looked at the lengths again.
func (d *Desk) CheckLengths(ctx context.Context) (*project.Scaled, error) {
	s, _, err := d.ScaleOf()
	if err != nil {
		return nil, err
	}
	return d.Project.SetScale(ctx, d.View, project.Scaling{Bars: s.Bars, CommonU: s.CommonU, LengthsChecked: true})
}

// setBars changes the bars of the use in view. Lengths that somebody checked are
// to be looked at again where bars change.
func (d *Desk) setBars(ctx context.Context, change func([]annotate.ScaleBar) ([]annotate.ScaleBar, error)) (*project.Scaled, error) {
	r := d.Project.Record()
	u := r.Use(d.View)
	if u == nil {
		return nil, fmt.Errorf("use %v does not exist", d.View)
	}
	bars, err := change(slices.Clone(u.Scale.Bars))
	if err != nil {
		return nil, err
	}
	return d.Project.SetScale(ctx, d.View, project.Scaling{Bars: bars, CommonU: u.Scale.CommonU})
}

// millimetres reads a length as people write it.
func millimetres(text, what string) (float64, error) {
	text = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "mm"))
	if text == "" {
		return 0, fmt.Errorf("%s is not written yet: write it in mm, as 100.02", what)
	}
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%s reads %q: write it in mm, as 100.02", what, text)
	}
	return v, nil
}

// BarDrawn is a bar as it is drawn on the specimen.
type BarDrawn struct {
	Name       string
	From, To   r3.Vec // the scene's frame
	ResidualMM float64
	Checked    bool // other bars say how good it is
	Doubted    bool
}

// BarsDrawn are the bars of the use in view that have places on the scan, with
// the one under way last; first is its first end while the other is wanted.
func (d *Desk) BarsDrawn() (bars []BarDrawn, first *r3.Vec) {
	b := d.bodies[d.View]
	if b == nil {
		return nil, nil
	}
	place := d.toScene(b.Loaded)
	at := func(p *[3]float64) r3.Vec { return place.Apply(r3.Scale(b.drawn, r3.Vec{X: p[0], Y: p[1], Z: p[2]})) }
	s, c, err := d.ScaleOf()
	if err != nil {
		return nil, nil
	}
	h := d.bar
	anew := h.On && h.Bar.From != nil // its ends are not those of the record
	for i, bar := range s.Bars {
		if bar.From == nil || bar.To == nil {
			continue
		}
		if anew && h.Known == bar.Name {
			if *h.Bar.From != *bar.From || *h.Bar.To != *bar.To {
				continue
			}
			anew = false
		}
		r := c.Readings[i]
		bars = append(bars, BarDrawn{Name: bar.Name, From: at(bar.From), To: at(bar.To), ResidualMM: r.ResidualMM, Checked: r.Predicted, Doubted: i == c.Worst && Doubted(c)})
	}
	if anew {
		bars = append(bars, BarDrawn{From: at(h.Bar.From), To: at(h.Bar.To)})
	}
	if h.First != nil {
		v := at(h.First)
		first = &v
	}
	return bars, first
}

// Doubted says whether the bars do not agree: the one that is off most is in
// doubt.
func Doubted(c *scale.Calibration) bool {
	return c.Verdict == scale.Unverified && len(c.Readings) > 1
}

// Magnified is how many times as long residuals are drawn: a round number with
// which the largest takes at most a quarter of the shortest bar; 0 where there is
// none to draw.
func Magnified(bars []BarDrawn) float64 {
	largest, shortest := 0.0, math.Inf(1)
	for _, b := range bars {
		if b.Checked {
			largest = math.Max(largest, math.Abs(b.ResidualMM))
			shortest = math.Min(shortest, r3.Norm(r3.Sub(b.To, b.From)))
		}
	}
	most := shortest / 4 / largest
	if !(largest > 1e-6) || !(most >= 1) {
		return 0
	}
	ten := math.Pow(10, math.Floor(math.Log10(most)))
	switch n := most / ten; {
	case n >= 5:
		return 5 * ten
	case n >= 2:
		return 2 * ten
	}
	return ten
}

// BarLook is how bars are drawn.
type BarLook struct{ Ink, Casing, Doubt color.RGBA }

// BarLines makes bars drawable: each a straight line from end to end with rings,
// and in its middle its residual, magnified.
func (d *Desk) BarLines(bars []BarDrawn, magnified float64, look BarLook) []render.Line {
	b := d.bodies[d.View]
	if b == nil {
		return nil
	}
	var out []render.Line
	for _, bar := range bars {
		ink := look.Ink
		if bar.Doubted {
			ink = look.Doubt
		}
		out = append(out, render.Line{Points: []r3.Vec{bar.From, bar.To}, Ink: ink, Casing: look.Casing, WidthMM: b.TileMM / 16, CasingMM: b.TileMM / 16, EndMM: b.TileMM / 2, Through: true})
		way := r3.Sub(bar.To, bar.From)
		if l := r3.Norm(way); bar.Checked && magnified > 0 && l > 0 {
			half := r3.Scale(magnified*math.Abs(bar.ResidualMM)/2/l, way)
			middle := r3.Scale(0.5, r3.Add(bar.From, bar.To))
			out = append(out, render.Line{Points: []r3.Vec{r3.Sub(middle, half), r3.Add(middle, half)}, Ink: ink, Casing: look.Casing, WidthMM: b.TileMM / 3, CasingMM: b.TileMM / 16, Through: true})
		}
	}
	return out
}
