package session

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/render"
)

// picking is the pairs of places picked so far: first on the other date, then
// on the one in view.
type picking struct {
	on     bool
	before []r3.Vec // in the scan of Other, mm
	after  []r3.Vec // in the scan of View, mm
}

// BeginPicking starts anew; both dates must be in hand.
func (d *Desk) BeginPicking() error {
	if d.Other == (annotate.UseKey{}) || d.Other == d.View {
		return fmt.Errorf("hold a second date on the bench line first")
	}
	d.picks = picking{on: true}
	return nil
}

// Picking tells whether pairs are being picked, how many are whole, and which
// use the next place is wanted on.
func (d *Desk) Picking() (on bool, pairs int, next annotate.UseKey) {
	next = d.View
	if len(d.picks.before) == len(d.picks.after) {
		next = d.Other
	}
	return d.picks.on, len(d.picks.after), next
}

// EndPicking forgets the pairs.
func (d *Desk) EndPicking() { d.picks = picking{} }

// Pick takes a place on the use that it is wanted on.
func (d *Desk) Pick(at mesh.SurfacePoint) error {
	_, _, next := d.Picking()
	b := d.bodies[next]
	if b == nil {
		return fmt.Errorf("the scan of %v is not ready yet", next)
	}
	p := b.Surface.Mesh.At(at)
	if next == d.Other {
		d.picks.before = append(d.picks.before, p)
	} else {
		d.picks.after = append(d.picks.after, p)
	}
	return nil
}

// TakeBack drops the last place.
func (d *Desk) TakeBack() {
	p := &d.picks
	if len(p.before) > len(p.after) {
		p.before = p.before[:len(p.before)-1]
	} else if len(p.after) > 0 {
		p.after = p.after[:len(p.after)-1]
	}
}

// PickFit is how well the pairs picked so far agree, by the closed form alone.
type PickFit struct {
	// ResidualMM is what each pair keeps under the fit of all; LeftOutMM under the
	// fit of the others, NaN where those do not determine one, as of three pairs.
	ResidualMM, LeftOutMM []float64
	// FarMM is the error predicted at the place of the specimen where it is largest,
	// from where the pairs lie and how well they agree (frame.Fit.TargetError); it
	// says little for three pairs.
	FarMM float64
}

// PickFit judges three or more pairs; ok is false before that and where they lie
// on one line.
func (d *Desk) PickFit() (PickFit, bool) {
	n := len(d.picks.after)
	other, own := d.bodies[d.Other], d.bodies[d.View]
	if n < 3 || other == nil || own == nil {
		return PickFit{}, false
	}
	before, after := make([]r3.Vec, n), make([]r3.Vec, n)
	for i := range n {
		before[i] = r3.Scale(other.Use.Scale.Calibrated(), d.picks.before[i])
		after[i] = r3.Scale(own.Use.Scale.Calibrated(), d.picks.after[i])
	}
	pose, fit, err := frame.FitRigid(before, after, nil)
	if err != nil {
		return PickFit{}, false
	}
	out := PickFit{LeftOutMM: frame.LeaveOneOut(before, after)}
	for i := range n {
		out.ResidualMM = append(out.ResidualMM, r3.Norm(r3.Sub(before[i], pose.Apply(after[i]))))
	}
	box := mesh.Bounds(other.Surface.Mesh)
	for k := range 8 {
		corner := box.Min
		if k&1 != 0 {
			corner.X = box.Max.X
		}
		if k&2 != 0 {
			corner.Y = box.Max.Y
		}
		if k&4 != 0 {
			corner.Z = box.Max.Z
		}
		out.FarMM = math.Max(out.FarMM, fit.TargetError(r3.Scale(other.Use.Scale.Calibrated(), corner), 0))
	}
	return out, true
}

// PickMark is a picked place as it is drawn: where, in the frame of the picture,
// and how far its pair is from agreeing, 0 where that is not known yet.
type PickMark struct {
	Number     int
	At         r3.Vec
	ResidualMM float64
}

// PickMarks are the places picked on a use.
func (d *Desk) PickMarks(key annotate.UseKey) []PickMark {
	b := d.bodies[key]
	if b == nil || !d.picks.on {
		return nil
	}
	places := d.picks.after
	if key == d.Other {
		places = d.picks.before
	}
	fit, ok := d.PickFit()
	toScene := d.toScene(b.Loaded)
	var out []PickMark
	for i, p := range places {
		m := PickMark{Number: i + 1, At: toScene.Apply(r3.Scale(b.Use.Scale.Calibrated(), p))}
		if ok && i < len(fit.ResidualMM) {
			m.ResidualMM = fit.ResidualMM[i]
		}
		out = append(out, m)
	}
	return out
}

// Align lays the use in view on the other one, with the pairs picked so far. It
// may run on any goroutine.
func (d *Desk) Align(ctx context.Context, progress func(float64, string)) (Verdict, error) {
	other := d.Other
	a := project.Aligning{Progress: progress}
	if other != (annotate.UseKey{}) && other != d.View {
		a.Against = &other
	}
	for i := range d.picks.after {
		b, c := d.picks.before[i], d.picks.after[i]
		a.Picks = append(a.Picks, annotate.Pick{Before: [3]float64{b.X, b.Y, b.Z}, After: [3]float64{c.X, c.Y, c.Z}})
	}
	out, err := d.Project.Align(ctx, d.View, a)
	if err != nil {
		return Verdict{}, err
	}
	return Verdict{out.Result.Verdict, out.Result.Reason, out.Result.NextStep}, nil
}

// Compare measures what changed from the other date to the one in view. It may
// run on any goroutine.
func (d *Desk) Compare(ctx context.Context, progress func(float64, string)) (*project.Comparison, error) {
	from, to := d.Other, d.View
	r := d.Project.Record()
	if r.StageIndex(from.Stage) > r.StageIndex(to.Stage) {
		from, to = to, from
	}
	return d.Project.Change(ctx, from, to, progress)
}

// ChangeID names the n-th change area, from 0.
func ChangeID(n int) string { return fmt.Sprintf("C%d", n+1) }

// PlaceOnRay is the place that a line of sight meets first, on the whole mesh.
func (d *Desk) PlaceOnRay(b *Body, c render.Camera, x, y float64, w, h int) (mesh.SurfacePoint, bool) {
	origin, dir := c.Ray(x, y, w, h)
	back := d.toScene(b.Loaded).Inverse()
	origin = r3.Scale(1/b.drawn, back.Apply(origin))
	dir = back.Turn(dir)
	face, dist, ok := b.Surface.Tree().Ray(origin, dir)
	if !ok {
		return mesh.SurfacePoint{}, false
	}
	at := r3.Add(origin, r3.Scale(dist, dir))
	p, _, ok := b.Surface.Locate(at)
	if !ok || p.Face != face {
		return mesh.SurfacePoint{Face: face, Weights: [3]float64{1. / 3, 1. / 3, 1. / 3}}, true
	}
	return p, true
}
