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

// picking is the pairs of places picked so far: those that carry a fit, and check
// points, which take no part in it.
type picking struct {
	on       bool
	checking bool // the next places are of a check point
	fit      pairList
	checks   pairList
	why      Why // what made it necessary, empty where somebody asked for it
}

// Why is what came of aligning and made picking necessary, and how many pairs there
// were by then.
type Why struct {
	Verdict
	Pairs int
}

// pairList is pairs of places, each picked first on the other date, then on the
// one in view; the last one may be half.
type pairList struct {
	before []r3.Vec // in the scan of Other, mm
	after  []r3.Vec // in the scan of View, mm
}

// whole is how many pairs have both places.
func (l *pairList) whole() int { return len(l.after) }

// picks are the whole pairs as the record writes them.
func (l *pairList) picks() []annotate.Pick {
	var out []annotate.Pick
	for i, c := range l.after {
		b := l.before[i]
		out = append(out, annotate.Pick{Before: [3]float64{b.X, b.Y, b.Z}, After: [3]float64{c.X, c.Y, c.Z}})
	}
	return out
}

func pairsOf(picks []annotate.Pick) (l pairList) {
	for _, p := range picks {
		l.before, l.after = append(l.before, vec(p.Before)), append(l.after, vec(p.After))
	}
	return l
}

func vec(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }

// inHand is the list that the next place goes to.
func (p *picking) inHand() *pairList {
	if p.checking {
		return &p.checks
	}
	return &p.fit
}

// BeginPicking starts the pairs of a fit anew; both dates must be in hand. Check
// points that the alignment of these two dates had are kept.
func (d *Desk) BeginPicking() error {
	if d.Other == (annotate.UseKey{}) || d.Other == d.View {
		return fmt.Errorf("hold a second date on the bench line first")
	}
	d.picks = picking{on: true, checks: pairsOf(d.kept().Checks)}
	return nil
}

// ResumePicking goes on with the pairs there are, since a fit to them, or a search
// without any, was not accepted.
func (d *Desk) ResumePicking(since Verdict) error {
	was := d.picks
	if err := d.BeginPicking(); err != nil {
		return err
	}
	d.picks.fit, d.picks.why = was.fit, Why{since, was.fit.whole()}
	if was.on {
		d.picks.checks = was.checks
	}
	return nil
}

// Checking tells whether the next places are of a check point, and how many pairs
// of the fit are whole.
func (d *Desk) Checking() (on bool, fit int) { return d.picks.checking, d.picks.fit.whole() }

// PickFor says what the next places are for: a check point, or a pair of the fit.
// The pairs of an alignment that is in the record are gone on with when nothing
// was under way. A place without its partner is dropped.
func (d *Desk) PickFor(checks bool) error {
	if !d.picks.on {
		if err := d.BeginPicking(); err != nil {
			return err
		}
		if checks {
			d.picks.fit = pairsOf(d.kept().Picks)
		}
	}
	l := d.picks.inHand()
	l.before = l.before[:len(l.after)]
	d.picks.checking = checks
	return nil
}

// kept is the alignment of the two dates in hand as the record has it, or an empty
// one.
func (d *Desk) kept() annotate.Alignment {
	r := d.Project.Record()
	if u := r.Use(d.View); u != nil && u.Alignment != nil && u.Alignment.To == d.Other.String() {
		return *u.Alignment
	}
	return annotate.Alignment{}
}

// Picking tells whether pairs are being picked, how many of the kind in hand are
// whole, and which use the next place is wanted on.
func (d *Desk) Picking() (on bool, pairs int, next annotate.UseKey) {
	next = d.View
	if l := d.picks.inHand(); len(l.before) == len(l.after) {
		next = d.Other
	}
	return d.picks.on, d.picks.inHand().whole(), next
}

// PickingWhy is what made the picking necessary, empty where somebody asked for it.
func (d *Desk) PickingWhy() Why { return d.picks.why }

// Checks is how many check points under way are whole.
func (d *Desk) Checks() int { return d.picks.checks.whole() }

// EndPicking forgets the pairs.
func (d *Desk) EndPicking() { d.picks = picking{} }

// Pick takes a place on the use that it is wanted on.
func (d *Desk) Pick(at mesh.SurfacePoint) error {
	_, _, next := d.Picking()
	b := d.bodies[next]
	if b == nil {
		return fmt.Errorf("the scan of %v is not ready yet", next)
	}
	p, l := b.Surface.Mesh.At(at), d.picks.inHand()
	if next == d.Other {
		l.before = append(l.before, p)
	} else {
		l.after = append(l.after, p)
	}
	return nil
}

// TakeBack drops the last place.
func (d *Desk) TakeBack() {
	l := d.picks.inHand()
	if len(l.before) > len(l.after) {
		l.before = l.before[:len(l.before)-1]
	} else if len(l.after) > 0 {
		l.after = l.after[:len(l.after)-1]
		l.before = l.before[:len(l.after)+1]
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

	pose frame.Rigid // of the scan in view onto the other, mm
}

// PickFit judges three or more pairs; ok is false before that and where they lie
// on one line.
func (d *Desk) PickFit() (PickFit, bool) {
	n := d.picks.fit.whole()
	other, own := d.bodies[d.Other], d.bodies[d.View]
	if n < 3 || other == nil || own == nil {
		return PickFit{}, false
	}
	before, after := make([]r3.Vec, n), make([]r3.Vec, n)
	for i := range n {
		before[i] = r3.Scale(other.Use.Scale.Calibrated(), d.picks.fit.before[i])
		after[i] = r3.Scale(own.Use.Scale.Calibrated(), d.picks.fit.after[i])
	}
	pose, fit, err := frame.FitRigid(before, after, nil)
	if err != nil {
		return PickFit{}, false
	}
	out := PickFit{LeftOutMM: frame.LeaveOneOut(before, after), pose: pose}
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
// and how far its pair is from agreeing.
type PickMark struct {
	Number     int
	Check      bool // it takes no part in the fit
	At         r3.Vec
	ResidualMM float64 // 0 where it is not known yet
}

// PickMarks are the places picked on a use: those under way, or else the check
// points of its alignment.
func (d *Desk) PickMarks(key annotate.UseKey) []PickMark {
	b := d.bodies[key]
	if b == nil {
		return nil
	}
	fit, checks, other := d.picks.fit, d.picks.checks, d.Other
	if !d.picks.on {
		fit, checks, other = pairList{}, pairList{}, annotate.UseKey{}
		if a := b.Use.Alignment; a != nil && key == d.View {
			checks, other = pairsOf(a.Checks), d.useNamed(a.To)
		}
	}
	place := d.Placing(b)
	var out []PickMark
	mark := func(l pairList, check bool, off []float64) {
		places := l.after
		if key == d.Other && d.picks.on {
			places = l.before
		}
		for i, p := range places {
			m := PickMark{Number: i + 1, Check: check, At: place.Place(p)}
			if i < len(off) {
				m.ResidualMM = off[i]
			}
			out = append(out, m)
		}
	}
	judged, _ := d.PickFit()
	mark(fit, false, judged.ResidualMM)
	mark(checks, true, d.offChecks(checks, other))
	return out
}

// useNamed finds a use by its words, stage/piece/part.
func (d *Desk) useNamed(words string) annotate.UseKey {
	r := d.Project.Record()
	for _, u := range r.Uses {
		if u.Key().String() == words {
			return u.Key()
		}
	}
	return annotate.UseKey{}
}

// ChecksMM is how far apart, mm, the places of each check point under way lie; nil
// while neither an alignment nor three pairs say how the two dates lie.
func (d *Desk) ChecksMM() []float64 { return d.offChecks(d.picks.checks, d.Other) }

// offChecks are the distances of check points between the use in view and another
// under the alignment of the two, or else under the pairs picked so far.
func (d *Desk) offChecks(l pairList, other annotate.UseKey) []float64 {
	r := d.Project.Record()
	own, base := r.Use(d.View), r.Use(other)
	if own == nil || base == nil || l.whole() == 0 {
		return nil
	}
	var pose frame.Rigid // into the frame of the other scan
	if a := own.Alignment; a != nil && a.To == other.String() && a.Verdict != annotate.VerdictRefused {
		there := frame.Identity()
		if base.Alignment != nil {
			there = frame.FromMatrix(base.Alignment.ScanToPiece)
		}
		pose = frame.FromMatrix(a.ScanToPiece).Then(there.Inverse())
	} else if fit, ok := d.PickFit(); ok {
		pose = fit.pose
	} else {
		return nil
	}
	var out []float64
	for i, p := range l.after {
		after, before := r3.Scale(own.Scale.Calibrated(), p), r3.Scale(base.Scale.Calibrated(), l.before[i])
		out = append(out, r3.Norm(r3.Sub(pose.Apply(after), before)))
	}
	return out
}

// Aligner gathers what is picked and returns how to lay the use in view on the
// other one with it; that may run on any goroutine. pose is told there now and then
// where the scan lies so far in its piece's frame.
func (d *Desk) Aligner() func(ctx context.Context, progress func(float64, string), pose func(scanToPiece frame.Rigid)) (Verdict, error) {
	view, p := d.View, d.Project
	var a project.Aligning
	if other := d.Other; other != (annotate.UseKey{}) && other != view {
		a.Against = &other
	}
	a.Picks, a.Checks, a.Similarity = d.picks.fit.picks(), d.picks.checks.picks(), d.LetScaleDiffer
	if !d.picks.on {
		a.Checks = d.kept().Checks
	}
	return func(ctx context.Context, progress func(float64, string), pose func(frame.Rigid)) (Verdict, error) {
		a.Progress, a.Pose = progress, pose
		out, err := p.Align(ctx, view, a)
		if err != nil {
			return Verdict{}, err
		}
		v := Verdict{Use: view, Verdict: out.Result.Verdict, Reason: out.Result.Reason, NextStep: out.Result.NextStep}
		v.Checks, v.CheckRMS, v.CheckMax = out.Result.CheckPoints, out.Result.CheckPointRMS, out.Result.CheckPointMax
		return v, nil
	}
}

// Drifting are two dates while one is laid on the other: the one that stays, and
// the one that moves where it lies so far. ok is false unless both are ready.
func (d *Desk) Drifting(stays, moves annotate.UseKey, scanToPiece frame.Rigid) (two [2]render.Placed, ok bool) {
	a, b := d.bodies[stays], d.bodies[moves]
	if a == nil || b == nil {
		return two, false
	}
	place := d.inScene(b.Loaded, scanToPiece)
	return [2]render.Placed{{Body: a.Render, BodyToScene: d.toScene(a.Loaded)}, {Body: b.Render, BodyToScene: &place}}, true
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
