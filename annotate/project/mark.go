package project

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
	"rigatino/mesh"
)

// Marking is an action of marking under way: the map shows it at once, Commit
// makes it one action, Cancel takes it back. Nothing else can be done to the
// project meanwhile.
type Marking struct {
	p      *Project
	draft  *history.Draft
	use    string
	m      *facemap.Map
	region annotate.Region // of which the record stays without if nothing is taken
	fresh  bool
	paints []facemap.Paint
	taken  int
	left   int
}

// Marked is what a marking did.
type Marked struct {
	Region  annotate.Region // empty after rubbing out
	Taken   int             // faces reached, one counted again each time
	Skipped int             // faces on whose substance the region may not lie
}

// BeginMarking begins to mark a use as a region. With an id it is more of that
// region; else it is a new one, of which layer, kind and whatever else is known
// are given, and id and number are found. A condition that only fossil matter
// can have skips other faces, and a substance takes such conditions away.
func (p *Project) BeginMarking(key annotate.UseKey, spec annotate.Region) (*Marking, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	k, err := p.beginMap(key)
	if err != nil {
		return nil, err
	}
	if err := k.take(spec); err != nil {
		return nil, errors.Join(err, k.draft.Cancel())
	}
	return k, nil
}

// beginMap begins an action on the map of a use.
func (p *Project) beginMap(key annotate.UseKey) (*Marking, error) {
	if !p.writes {
		return nil, errReadOnly
	}
	draft, err := p.history.Begin()
	if err != nil {
		return nil, err
	}
	k := &Marking{p: p, draft: draft, use: key.String()}
	if k.m, err = draft.Map(k.use); err != nil {
		return nil, errors.Join(err, draft.Cancel())
	}
	return k, nil
}

// take finds or makes the region and how it is painted.
func (k *Marking) take(spec annotate.Region) error {
	record := &k.draft.Record
	if spec.ID != "" {
		found, ok := record.Region(spec.ID)
		if !ok || found.Use != k.use {
			return fmt.Errorf("use %s has no region %q: leave the id out for a new region", k.use, spec.ID)
		}
		k.region = found
	} else {
		if spec.Certainty == "" {
			spec.Certainty = "assumed"
		}
		spec.Use = k.use
		var err error
		if spec.ID, spec.Number, err = record.NextRegion(k.use); err != nil {
			return err
		}
		if err := spec.Check(); err != nil {
			return err
		}
		k.region, k.fresh = spec, true
	}
	layer, err := facemap.ParseLayer(k.region.Layer)
	if err != nil {
		return err
	}
	k.paints = []facemap.Paint{{Layer: layer, Region: k.region.Number, Only: k.only(layer), Drop: k.drop(layer, k.region.Kind)}}
	return nil
}

// only returns the substances that a condition may lie on, nil for all.
func (k *Marking) only(layer facemap.Layer) func(uint16) bool {
	if layer != facemap.Condition || annotate.MayLieOn(k.region.Kind, annotate.Unassigned) {
		return nil
	}
	regions := k.draft.Record.RegionsOf(k.use)
	return func(number uint16) bool {
		return annotate.IsOriginal(regions[number].Kind)
	}
}

// drop returns the conditions that cannot lie on a substance.
func (k *Marking) drop(layer facemap.Layer, substance string) []uint16 {
	if layer != facemap.Substance {
		return nil
	}
	var out []uint16
	for number, g := range k.draft.Record.RegionsOf(k.use) {
		if g.Layer == annotate.LayerCondition && !annotate.MayLieOn(g.Kind, substance) {
			out = append(out, number)
		}
	}
	slices.Sort(out)
	return out
}

// BeginRubbingOut begins to take faces out of a region; with an empty id out of
// all regions of a layer. What is in no substance region is unassigned.
func (p *Project) BeginRubbingOut(key annotate.UseKey, layer, region string) (*Marking, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	l, err := facemap.ParseLayer(layer)
	if err != nil {
		return nil, err
	}
	k, err := p.beginMap(key)
	if err != nil {
		return nil, err
	}
	regions := k.draft.Record.RegionsOf(k.use)
	for _, r := range k.draft.Record.Regions {
		if r.Use == k.use && r.Layer == layer && (region == "" || r.ID == region) {
			k.paints = append(k.paints, facemap.Paint{Layer: l, Region: r.Number, Erase: true})
		}
	}
	switch {
	case region != "" && len(k.paints) == 0:
		return nil, errors.Join(fmt.Errorf("use %s has no %s region %q", k.use, layer, region), k.draft.Cancel())
	case l == facemap.Substance:
		// Conditions that need fossil matter go where that goes.
		drop := k.drop(l, annotate.Unassigned)
		for i := range k.paints {
			number := k.paints[i].Region
			k.paints[i].Only = func(s uint16) bool { return s == number }
			if annotate.IsOriginal(regions[number].Kind) {
				k.paints[i].Drop = drop
			}
		}
	}
	return k, nil
}

// BeginKeepingIn begins to take faces out of every region of support of a use,
// whoever or whatever set them aside; what else is marked stays.
func (p *Project) BeginKeepingIn(key annotate.UseKey) (*Marking, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	k, err := p.beginMap(key)
	if err != nil {
		return nil, err
	}
	for _, r := range k.draft.Record.Regions {
		if r.Use == k.use && r.Kind == annotate.Support {
			number := r.Number
			k.paints = append(k.paints, facemap.Paint{
				Layer: facemap.Substance, Region: number, Erase: true, Only: func(s uint16) bool { return s == number },
			})
		}
	}
	return k, nil
}

// Region returns the region being marked, empty when rubbing out.
func (k *Marking) Region() annotate.Region { return k.region }

// paint makes an operation with every paint of the marking.
func (k *Marking) paint(operation func(facemap.Paint) (facemap.Outcome, error)) (facemap.Outcome, error) {
	k.p.mu.Lock()
	defer k.p.mu.Unlock()
	all, err := k.each(operation, func(d facemap.Diff) { k.draft.Note(k.use, d) })
	k.taken += all.Taken
	k.left += all.Skipped
	return all, err
}

// each does an operation with every paint and gives what each did to the map.
func (k *Marking) each(operation func(facemap.Paint) (facemap.Outcome, error), note func(facemap.Diff)) (facemap.Outcome, error) {
	var all facemap.Outcome
	for _, p := range k.paints {
		out, err := operation(p)
		if err != nil {
			return all, err
		}
		note(out.Diff)
		all.Diff = facemap.Join(all.Diff, out.Diff)
		all.Taken += out.Taken
		if !p.Erase {
			all.Skipped += out.Skipped
		}
	}
	return all, nil
}

// Stroke marks a round patch; see facemap.Map.Stroke.
func (k *Marking) Stroke(s *facemap.Surface, at mesh.SurfacePoint, b facemap.Brush) (facemap.Outcome, error) {
	return k.paint(func(p facemap.Paint) (facemap.Outcome, error) { return k.m.Stroke(s, at, b, p) })
}

// StrokePath marks the way of a round brush; see facemap.Map.StrokePath.
func (k *Marking) StrokePath(s *facemap.Surface, path []mesh.SurfacePoint, b facemap.Brush) (facemap.Outcome, error) {
	return k.paint(func(p facemap.Paint) (facemap.Outcome, error) { return k.m.StrokePath(s, path, b, p) })
}

// Outline marks the patch inside a closed line; see facemap.Map.Outline.
func (k *Marking) Outline(s *facemap.Surface, o facemap.Outline) (facemap.Outcome, error) {
	return k.paint(func(p facemap.Paint) (facemap.Outcome, error) { return k.m.Outline(s, o, p) })
}

// Found is what an operation that was worked out beside the map does to it.
type Found struct{ outcome facemap.Outcome }

// Find works an operation out on a copy of the map, as it is when Find begins;
// Take then does it to the map. So work that takes its time may run on any
// goroutine while the map is being shown. Between the two nothing else may be
// done with the marking.
func (k *Marking) Find(operation func(m *facemap.Map, p facemap.Paint) (facemap.Outcome, error)) (Found, error) {
	k.p.mu.Lock()
	beside := k.m.Clone()
	k.p.mu.Unlock()
	all, err := k.each(func(p facemap.Paint) (facemap.Outcome, error) { return operation(beside, p) }, func(facemap.Diff) {})
	return Found{all}, err
}

// Take does to the map what Find has found.
func (k *Marking) Take(f Found) (facemap.Outcome, error) {
	k.p.mu.Lock()
	defer k.p.mu.Unlock()
	if err := k.m.Apply(f.outcome.Diff); err != nil {
		return facemap.Outcome{}, err
	}
	k.draft.Note(k.use, f.outcome.Diff)
	k.taken += f.outcome.Taken
	k.left += f.outcome.Skipped
	return f.outcome, nil
}

// FindSmooth finds the smooth outline of the region being marked; see
// facemap.Map.SmoothOutline.
func (k *Marking) FindSmooth(ctx context.Context, s *facemap.Surface, lengthMM float64, levels uint8) (Found, error) {
	regions := k.draft.Record.RegionsOf(k.use)
	paintOf := func(number uint16) facemap.Paint {
		kind := annotate.Unassigned
		if g, ok := regions[number]; ok {
			kind = g.Kind
		}
		layer := k.paints[0].Layer
		if number == k.region.Number {
			return k.paints[0]
		}
		return facemap.Paint{Layer: layer, Region: number, Drop: k.drop(layer, kind)}
	}
	return k.Find(func(m *facemap.Map, _ facemap.Paint) (facemap.Outcome, error) {
		return m.SmoothOutline(ctx, s, k.region.Number, facemap.Smoothing{LengthMM: lengthMM, Levels: levels, Paint: paintOf})
	})
}

// Faces marks the faces listed.
func (k *Marking) Faces(faces []uint32) (facemap.Outcome, error) {
	return k.paint(func(p facemap.Paint) (facemap.Outcome, error) { return k.m.AssignFaces(faces, p) })
}

// Commit makes the marking one action under a label. If no face was taken, a
// new region is not kept.
func (k *Marking) Commit(label string) (Marked, error) {
	k.p.mu.Lock()
	defer k.p.mu.Unlock()
	if k.fresh && k.taken > 0 {
		k.draft.Record.Regions = append(k.draft.Record.Regions, k.region)
	}
	if _, err := k.draft.Commit(label); err != nil {
		return Marked{}, err
	}
	out := Marked{Region: k.region, Taken: k.taken, Skipped: k.left}
	if k.fresh && k.taken == 0 {
		out.Region = annotate.Region{}
	}
	return out, nil
}

// Cancel takes the marking back. After Commit it does nothing.
func (k *Marking) Cancel() error {
	k.p.mu.Lock()
	defer k.p.mu.Unlock()
	return k.draft.Cancel()
}

// MapFaces marks the faces listed as a region, in one action.
func (p *Project) MapFaces(key annotate.UseKey, spec annotate.Region, faces []uint32) (Marked, error) {
	return p.mark(key, spec, faces, "")
}

// mark is MapFaces under a label, its own for "".
func (p *Project) mark(key annotate.UseKey, spec annotate.Region, faces []uint32, label string) (Marked, error) {
	k, err := p.BeginMarking(key, spec)
	if err != nil {
		return Marked{}, err
	}
	if _, err := k.Faces(faces); err != nil {
		return Marked{}, errors.Join(err, k.Cancel())
	}
	if label == "" {
		label = "marked " + k.region.Kind
	}
	return k.Commit(label)
}

// MapRest marks all of a use that is in no substance region, in one action. Kind,
// how it was examined and how certain that is are required: nothing becomes
// original because nobody looked.
func (p *Project) MapRest(key annotate.UseKey, spec annotate.Region) (Marked, error) {
	spec.Layer, spec.Rest = annotate.LayerSubstance, true
	if spec.ExaminedBy == "" || spec.Certainty == "" {
		return Marked{}, errors.New("all the rest needs both how it was examined and how certain that is")
	}
	record := p.Record()
	for _, g := range record.RegionsOf(key.String()) {
		if g.Rest && g.Kind == spec.Kind && g.ExaminedBy == spec.ExaminedBy && g.Certainty == spec.Certainty && g.Who == spec.Who && g.Until == "" {
			spec.ID = g.ID
		}
	}
	k, err := p.BeginMarking(key, spec)
	if err != nil {
		return Marked{}, err
	}
	if _, err := k.paint(func(facemap.Paint) (facemap.Outcome, error) { return k.m.Rest(k.region.Number) }); err != nil {
		return Marked{}, errors.Join(err, k.Cancel())
	}
	return k.Commit("marked the rest " + k.region.Kind)
}

// offSurface is how far from the surface a line's point may be, in mean edges.
const offSurface = 5

// MapLine adds a join, a lost contact or a pin to a use, in one action; the id
// is found. Points are in the scan's frame, mm; those of a join or lost contact
// must lie on the surface.
func (p *Project) MapLine(s *facemap.Surface, key annotate.UseKey, line annotate.Line) (annotate.Line, error) {
	line.Use = key.String()
	if err := onSurface(s, line); err != nil {
		return line, err
	}
	err := p.Edit("line drawn", func(r *annotate.Record) error {
		if r.Use(key) == nil {
			return fmt.Errorf("use %v does not exist: add its scan first", key)
		}
		line.ID = annotate.NextID("J", r.Lines, func(l annotate.Line) string { return l.ID })
		r.Lines = append(r.Lines, line)
		return nil
	})
	return line, err
}

// ChangeLine gives a line of the record other points, or takes it away if there
// are none, in one action; points are as in MapLine.
func (p *Project) ChangeLine(s *facemap.Surface, id string, points [][3]float64) error {
	label := "points of " + id + " moved"
	if len(points) == 0 {
		label = "line " + id + " taken away"
	}
	return p.Edit(label, func(r *annotate.Record) error {
		for i, l := range r.Lines {
			if l.ID != id {
				continue
			}
			if len(points) == 0 {
				r.Lines = slices.Delete(r.Lines, i, i+1)
				return nil
			}
			l.Points = points
			if err := onSurface(s, l); err != nil {
				return err
			}
			r.Lines[i] = l
			return nil
		}
		return fmt.Errorf("line %s does not exist", id)
	})
}

// onSurface checks a line and that its points lie on the surface.
func onSurface(s *facemap.Surface, line annotate.Line) error {
	if err := line.Check(); err != nil {
		return err
	}
	for i, at := range line.Points {
		v := r3.Vec{X: at[0], Y: at[1], Z: at[2]}
		if math.IsNaN(r3.Norm(v)) || math.IsInf(r3.Norm(v), 0) {
			return fmt.Errorf("point %d of the line is no number", i+1)
		}
		if line.Kind == annotate.LinePin {
			continue
		}
		if _, away, ok := s.Locate(v); !ok || away > offSurface*s.MeanEdge() {
			return fmt.Errorf("point %d of the line lies %.3g mm off the surface: give points of this scan, in its own frame and in mm", i+1, away)
		}
	}
	return nil
}
