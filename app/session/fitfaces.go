package session

import (
	"context"
	"errors"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/handover/picture"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/quantity"
	"rigatino/mesh/render"
)

// FitStroke says what a stroke does while somebody says what carries the fit.
type FitStroke int

// A stroke says nothing about the fit, that faces carry it, that they never do, or
// takes back what was said of them.
const (
	NoFitStroke FitStroke = iota
	TrustFaces
	NeverFaces
	ForgetFaces
)

// Numbers of the two words on a scan's faces while they are marked.
const (
	trusted      = 1
	neverTrusted = 2
)

// fitting is what is said of which faces carry a fit, and the stroke under way.
type fitting struct {
	do     FitStroke
	on     annotate.UseKey // the scan that strokes go to
	down   bool
	last   mesh.SurfacePoint
	brush  facemap.Brush
	labels map[annotate.UseKey]*fitLabels
}

// fitLabels are the faces of one use, whole, and how they are drawn.
type fitLabels struct {
	faces *facemap.Map
	looks *picture.Looks // what the marks lie over
	said  annotate.FitFaces
	marks *render.Marks
}

// BrushFit takes a brush in hand that says what carries the fit, on one of the two
// dates; with NoFitStroke it is put down.
func (d *Desk) BrushFit(do FitStroke, on annotate.UseKey) {
	d.fit.do, d.fit.on, d.fit.down = do, on, false
}

// FitBrush is the brush in hand and the use that it marks.
func (d *Desk) FitBrush() (do FitStroke, on annotate.UseKey) { return d.fit.do, d.fit.on }

// fitOf are the faces of a use as the record has them, or as the stroke under way
// has left them.
func (d *Desk) fitOf(key annotate.UseKey) (*fitLabels, *Body, error) {
	b := d.bodies[key]
	if b == nil {
		return nil, nil, errors.New("the scan is not ready yet")
	}
	said := d.fitSaid(key)
	l := d.fit.labels[key]
	if l != nil && l.looks == b.Looks && (d.fit.down || slices.Equal(l.said.Trust, said.Trust) && slices.Equal(l.said.Never, said.Never)) {
		return l, b, nil
	}
	faces, err := facemap.New("", b.Surface.Mesh.FaceCount())
	if err != nil {
		return nil, nil, err
	}
	for _, w := range []struct {
		runs   []annotate.FaceRun
		number uint16
	}{{said.Trust, trusted}, {said.Never, neverTrusted}} {
		if _, err := faces.AssignFaces(facesOf(w.runs), facemap.Paint{Region: w.number}); err != nil {
			return nil, nil, err
		}
	}
	l = &fitLabels{faces: faces, looks: b.Looks, said: said}
	marks := b.Looks.Only(annotate.Support) // which is out of every fit anyhow
	marks.Faces = slices.Clone(marks.Faces)
	marks.Looks = slices.Clone(marks.Looks)
	for _, id := range d.FitWords() {
		marks.Looks = append(marks.Looks, fitLook(id, uint32(len(marks.Looks))+1))
	}
	l.marks = &marks
	l.draw(facesOf(said.Trust))
	l.draw(facesOf(said.Never))
	if d.fit.labels == nil {
		d.fit.labels = map[annotate.UseKey]*fitLabels{}
	}
	d.fit.labels[key] = l
	return l, b, nil
}

// FitWords are the two words that strokes say: of the fit of two dates, or in a dry
// fit of what is broken.
func (d *Desk) FitWords() [2]string {
	if d.DryFitting() {
		return [2]string{"break", "never"}
	}
	return [2]string{"trust", "never"}
}

// fitSaid is what was said of a use's faces: by the record, or in a dry fit, of the
// break alone, since the piece was taken in hand.
func (d *Desk) fitSaid(key annotate.UseKey) annotate.FitFaces {
	if d.DryFitting() {
		return annotate.FitFaces{Trust: d.dry.breaks[key]}
	}
	r := d.Project.Record()
	if u := r.Use(key); u != nil && u.FitFaces != nil {
		return *u.FitFaces
	}
	return annotate.FitFaces{}
}

func facesOf(runs []annotate.FaceRun) []uint32 {
	var out []uint32
	for _, r := range runs {
		for k := range r[1] {
			out = append(out, r[0]+k)
		}
	}
	return out
}

// fitLook is how what was said of the fit is drawn.
func fitLook(id string, edge uint32) render.Look {
	t, _ := terms.Get(terms.FitFaces, id)
	return render.Look{Paper: t.Look.Paper, Opacity: t.Look.Opacity, Inks: []render.Ink{picture.InkOf(t.Look)}, Edge: edge}
}

// draw shows faces as their labels say.
func (l *fitLabels) draw(faces []uint32) {
	under := l.looks.Only(annotate.Support)
	n := uint16(len(l.marks.Looks) - 2)
	for _, f := range faces {
		switch s := l.faces.Substance(f); {
		case int(f) >= len(l.marks.Faces):
		case s == 0:
			l.marks.Faces[f] = under.Faces[f]
		default:
			l.marks.Faces[f] = n + s - 1
		}
	}
}

// FitMarks shows on a use what was said of the fit, and what is left out as
// support; nil while the scan is not ready.
func (d *Desk) FitMarks(key annotate.UseKey) *render.Marks {
	l, _, err := d.fitOf(key)
	if err != nil {
		return nil
	}
	return l.marks
}

// FitAreas are how much of a use's surface is trusted and never trusted, with what
// its scale is worth.
func (d *Desk) FitAreas(key annotate.UseKey) (trust, never quantity.Measured) {
	l, b, err := d.fitOf(key)
	if err != nil {
		return trust, never
	}
	var sum [3]float64
	for f, n := range l.faces.Labels() {
		if n != 0 {
			sum[n] += r3.Norm(b.Surface.Mesh.AreaVector(uint32(f)))
		}
	}
	factor, u := b.Use.Scale.Calibrated(), b.Use.Scale.RelativeU
	area := func(mm2 float64) quantity.Measured {
		v := factor * factor * mm2
		return quantity.Measured{Value: v, U: 2 * u * v, K: 2, Unit: quantity.SquareMillim, Method: "sum of the faces marked"}
	}
	return area(sum[trusted]), area(sum[neverTrusted])
}

func (d *Desk) fitPaint() facemap.Paint {
	switch d.fit.do {
	case TrustFaces:
		return facemap.Paint{Region: trusted}
	case NeverFaces:
		return facemap.Paint{Region: neverTrusted}
	}
	return facemap.Paint{}
}

// beginFit puts the brush down that says what carries the fit.
func (d *Desk) beginFit(c render.Camera, at mesh.SurfacePoint) error {
	l, b, err := d.fitOf(d.fit.on)
	if err != nil {
		return err
	}
	d.fit.down, d.fit.last, d.fit.brush = true, at, d.brush(b)
	d.fit.brush.Levels = 0 // whole faces carry a fit or not
	d.fit.brush.Sight = d.sight(b, c)
	out, err := l.faces.Stroke(b.Surface, at, d.fit.brush, d.fitPaint())
	return d.fitDabbed(l, out, err)
}

// extendFit moves it.
func (d *Desk) extendFit(at mesh.SurfacePoint) error {
	l, b, err := d.fitOf(d.fit.on)
	if err != nil {
		return err
	}
	out, err := l.faces.StrokePath(b.Surface, []mesh.SurfacePoint{d.fit.last, at}, d.fit.brush, d.fitPaint())
	d.fit.last = at
	return d.fitDabbed(l, out, err)
}

func (d *Desk) fitDabbed(l *fitLabels, out facemap.Outcome, err error) error {
	if err != nil {
		d.fit.down = false
		delete(d.fit.labels, d.fit.on)
		return err
	}
	l.draw(out.Diff.Faces())
	return nil
}

// EndFit lifts the brush: what the stroke said of the fit becomes one action.
func (d *Desk) EndFit() error {
	if !d.fit.down {
		return nil
	}
	d.fit.down = false
	return d.keepFit(d.fit.on)
}

// LoopFit gathers what lies inside a line drawn on the picture of a camera, to say
// of it what the brush in hand says; holds is asked about places of the scan. find
// may run on any goroutine; keep takes what it found, as one action.
func (d *Desk) LoopFit(c render.Camera, holds func(p r3.Vec) bool) (find func(ctx context.Context) error, keep func() error, err error) {
	key := d.fit.on
	l, b, err := d.fitOf(key)
	if err != nil {
		return nil, nil, err
	}
	faces, loop, paint := l.faces.Clone(), facemap.Loop{Holds: holds, Sight: d.sight(b, c)}, d.fitPaint()
	find = func(ctx context.Context) error {
		_, err := faces.Loop(ctx, b.Surface, loop, paint)
		return err
	}
	return find, func() error { return d.sayFit(key, faces) }, nil
}

// keepFit writes what is marked into the record.
func (d *Desk) keepFit(key annotate.UseKey) error {
	l := d.fit.labels[key]
	if l == nil {
		return nil
	}
	return d.sayFit(key, l.faces)
}

// sayFit keeps what faces say, in the record but for a break.
func (d *Desk) sayFit(key annotate.UseKey, faces *facemap.Map) error {
	labels := faces.Labels()
	trust, never := make([]bool, len(labels)), make([]bool, len(labels))
	for f, n := range labels {
		trust[f], never[f] = n == trusted, n == neverTrusted
	}
	delete(d.fit.labels, key) // read again from where it is kept
	if d.DryFitting() {
		d.dry.breaks[key] = annotate.RunsOf(trust)
		return nil
	}
	return d.Project.SetFitFaces(key, trust, never)
}
