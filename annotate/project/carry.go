package project

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
	"rigatino/mesh/change"
)

// Carried is what was carried from the map of one use to that of another.
type Carried struct {
	From, To annotate.UseKey
	Regions  []string // ids of the new regions
	Lines    []string // ids of the new lines
	Faces    int      // faces that got labels
	// Changed counts the faces left as they were because the surface there is
	// not what it was; LinesLeft are lines of which a part lies there.
	Changed   int
	LinesLeft []string
}

// carryLevels splits faces in which carried labels differ in sixteen.
const carryLevels = 2

// outlineSteps is how far outside the core of a change area nothing is carried:
// where volumes draw its outline.
const outlineSteps = 2

// Carry carries the map of an earlier use, by default the last before it that
// has one, over to another through the alignment, in one action. What is marked
// there already stays; faces whose surface changed stay unassigned. Regions keep
// what they say, but nobody has seen them at this stage: certainty seen becomes
// inferred. It refuses, with a RefusedError, what Change refuses.
func (p *Project) Carry(ctx context.Context, from, to annotate.UseKey, progress func(done float64, words string)) (Carried, error) {
	out := Carried{From: from, To: to}
	record := p.Record()
	if from == (annotate.UseKey{}) {
		var err error
		if from, err = p.mappedBefore(&record, to); err != nil {
			return out, err
		}
		out.From = from
	}
	c, err := p.Change(ctx, from, to, part(progress, 0, 0.8))
	if err != nil {
		return out, err
	}
	before, err := p.LoadUse(ctx, from, nil)
	if err != nil {
		return out, err
	}
	after, err := p.LoadUse(ctx, to, nil)
	if err != nil {
		return out, err
	}
	changed := changedFaces(c.Change, after.Surface.Mesh.FaceCount())
	toFrom := func(v r3.Vec) r3.Vec {
		piece := after.ScanToPiece.Apply(r3.Scale(after.factor(), v))
		return r3.Scale(1/before.factor(), before.ScanToPiece.Inverse().Apply(piece))
	}
	within := math.Max(3*c.Change.LimitMM, c.Change.StepMM) / before.factor()
	_, err = p.do("map carried over", func(d *history.Draft) error {
		source, err := d.Map(from.String())
		if err != nil {
			return err
		}
		if source.Blank() {
			return fmt.Errorf("%v has no map to carry over: mark it, or name another stage", from)
		}
		target, err := d.Map(to.String())
		if err != nil {
			return err
		}
		numbers, fresh, err := carriedRegions(&d.Record, from, to)
		if err != nil {
			return err
		}
		done, err := target.Carry(ctx, after.Surface, facemap.Carrying{
			From: source, FromSurface: before.Surface, ToFrom: toFrom, Changed: func(f uint32) bool { return changed[f] },
			WithinMM: within, Numbers: numbers, Levels: carryLevels,
		})
		if err != nil {
			return err
		}
		d.Note(to.String(), done.Diff)
		out.Faces, out.Changed = done.Taken, done.Skipped
		for _, g := range fresh {
			if len(target.Faces(g.Number)) == 0 {
				continue // all of it lies where the surface changed
			}
			d.Record.Regions = append(d.Record.Regions, g)
			out.Regions = append(out.Regions, g.ID)
		}
		out.carryLines(&d.Record, before, after, changed, within)
		return ctx.Err()
	})
	if err != nil {
		return Carried{}, fmt.Errorf("carry the map of %v over to %v: %w", from, to, err)
	}
	return out, nil
}

// mappedBefore is the last use before one, of the same part, that has a map.
func (p *Project) mappedBefore(r *annotate.Record, to annotate.UseKey) (annotate.UseKey, error) {
	if r.Use(to) == nil {
		return to, fmt.Errorf("use %v does not exist: add its scan first", to)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	var before annotate.UseKey
	for _, u := range r.Chain(to.Piece) {
		if u.Key() == to {
			break
		}
		if u.Part == to.Part && p.hasMap(u.Key().String()) {
			before = u.Key()
		}
	}
	if before.Stage == "" {
		return to, fmt.Errorf("no earlier stage has a map of %s of piece %s: there is nothing to carry over to %v", to.Part, to.Piece, to)
	}
	return before, nil
}

// changedFaces marks the scan faces after on which the surface is not what it
// was: within the outline of a change area, wherever the averaged gap passes the
// smallest change, and where the gap is not defined.
func changedFaces(c *change.Change, faces int) []bool {
	s := c.After
	near := make([]bool, s.Weld.Count)
	far := make([]float64, s.Weld.Count)
	var front, ring []uint32
	for v, core := range s.Core {
		if core >= 0 || math.Abs(s.Smooth[v]) > c.SmallestMM || math.IsNaN(s.Gap[v]) {
			near[v] = true
		}
		if core >= 0 {
			front = append(front, uint32(v))
		}
	}
	for len(front) > 0 {
		var next []uint32
		for _, v := range front {
			ring = s.Topology.Ring(v, ring[:0])
			for _, u := range ring {
				d := far[v] + r3.Norm(r3.Sub(s.Vertex(u), s.Vertex(v)))
				if d > outlineSteps*c.StepMM || s.Core[u] >= 0 || far[u] > 0 && far[u] <= d {
					continue
				}
				far[u], near[u] = d, true
				next = append(next, u)
			}
		}
		front = next
	}
	out := make([]bool, faces)
	// Faces that were left out of the comparison, as support, have no partner.
	if s.Mesh.Source != nil {
		for f := range out {
			out[f] = true
		}
	}
	for f := range uint32(s.Mesh.FaceCount()) {
		i, j, k := s.Topology.Face(f)
		out[s.Mesh.SourceFace(f)] = near[i] || near[j] || near[k]
	}
	return out
}

// carriedRegions makes the regions of one use anew for another, as far as they
// still hold at its stage.
func carriedRegions(r *annotate.Record, from, to annotate.UseKey) (numbers map[uint16]uint16, fresh []annotate.Region, err error) {
	numbers = map[uint16]uint16{}
	held := *r
	held.Regions = append([]annotate.Region(nil), r.Regions...)
	for _, g := range r.Regions {
		if g.Use != from.String() || !r.HoldsAt(g, to.Stage) {
			continue
		}
		n := g
		n.Use, n.Rest = to.String(), false
		if n.Certainty == "seen" {
			n.Certainty = "inferred"
		}
		if n.Evidence != "" {
			n.Evidence += "; "
		}
		n.Evidence += fmt.Sprintf("carried over from %s of %v through the alignment", g.ID, from)
		if n.ID, n.Number, err = held.NextRegion(n.Use); err != nil {
			return nil, nil, err
		}
		held.Regions = append(held.Regions, n)
		fresh = append(fresh, n)
		numbers[g.Number] = n.Number
	}
	return numbers, fresh, nil
}

// carryLines carries the lines of one use over, those whose points all lie on
// surface that did not change.
func (out *Carried) carryLines(r *annotate.Record, before, after *Loaded, changed []bool, within float64) {
	fromTo := func(v r3.Vec) r3.Vec {
		piece := before.ScanToPiece.Apply(r3.Scale(before.factor(), v))
		return r3.Scale(1/after.factor(), after.ScanToPiece.Inverse().Apply(piece))
	}
	for _, l := range append([]annotate.Line(nil), r.Lines...) {
		if l.Use != out.From.String() {
			continue
		}
		n := l
		n.Use, n.Points = out.To.String(), nil
		whole := true
		for _, at := range l.Points {
			q := fromTo(vec(at))
			if l.Kind != annotate.LinePin {
				place, away, ok := after.Surface.Locate(q)
				whole = whole && ok && away*after.factor() <= within*before.factor() && !changed[place.Face]
				if ok {
					q = after.Surface.Mesh.At(place)
				}
			}
			n.Points = append(n.Points, [3]float64{q.X, q.Y, q.Z})
		}
		if !whole {
			out.LinesLeft = append(out.LinesLeft, l.ID)
			continue
		}
		n.ID = annotate.NextID("J", r.Lines, func(l annotate.Line) string { return l.ID })
		r.Lines = append(r.Lines, n)
		out.Lines = append(out.Lines, n.ID)
	}
}
