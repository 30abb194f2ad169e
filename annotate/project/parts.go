package project

import (
	"context"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
	"rigatino/mesh"
)

// Overlap of parts: a face counts in the earlier part if that part's surface
// lies within this many of its mean edges and faces the same way.
const (
	overlapEdges = 2
	overlapCos   = 0.5 // 60 degrees
)

// countParts finds, for the later parts of a stage, the faces that an earlier
// part shows as well, and lists them as counted elsewhere, as one action. Parts
// whose place is not known are left alone.
func (p *Project) countParts(ctx context.Context, key annotate.UseKey) error {
	record := p.Record()
	uses := record.UsesAt(key.Stage, key.Piece)
	if len(uses) < 2 {
		return nil
	}
	var loaded []*Loaded
	for _, u := range uses {
		l, err := p.LoadUse(ctx, u.Key(), nil)
		if err != nil {
			return err
		}
		if l.Aligned {
			loaded = append(loaded, l)
		}
	}
	covered := map[string][]uint32{}
	for i, l := range loaded {
		var faces []uint32
		for f := range uint32(l.Surface.Mesh.FaceCount()) {
			if f%4096 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			if slices.ContainsFunc(loaded[:i], func(e *Loaded) bool { return shows(e, l, f) }) {
				faces = append(faces, f)
			}
		}
		covered[l.Use.Key().String()] = faces
	}
	_, err := p.do("overlap of parts counted", func(d *history.Draft) error {
		for _, l := range loaded {
			use := l.Use.Key().String()
			m, err := d.Map(use)
			if err != nil {
				return err
			}
			diff, err := m.CountElsewhere(covered[use])
			if err != nil {
				return err
			}
			d.Note(use, diff)
		}
		return nil
	})
	return err
}

// shows says whether the surface of an earlier part covers a face of a later
// one; its open border does not count as covering what lies beyond.
func shows(earlier, later *Loaded, f uint32) bool {
	m, e := later.Surface.Mesh, earlier.Surface.Mesh
	a, b, c := m.Corners(f)
	toEarlier := later.ScanToPiece.Then(earlier.ScanToPiece.Inverse())
	centre := toEarlier.Apply(r3.Scale(later.factor()/3, r3.Add(a, r3.Add(b, c))))
	centre = r3.Scale(1/earlier.factor(), centre)
	reach := overlapEdges * max(later.Surface.MeanEdge(), earlier.Surface.MeanEdge())
	hit, ok := earlier.Surface.Tree().Closest(centre, reach)
	if !ok || atBorder(earlier.Surface, hit.Face, hit.Weights) {
		return false
	}
	n, o := toEarlier.Turn(m.AreaVector(f)), e.AreaVector(hit.Face)
	return r3.Dot(n, o) >= overlapCos*r3.Norm(n)*r3.Norm(o)
}

// atBorder says whether a place lies on an edge without a face beyond.
func atBorder(s *facemap.Surface, f uint32, w [3]float64) bool {
	for k := range uint32(3) {
		if s.Topology.Neighbour[3*f+k] == mesh.BorderEdge && w[(k+2)%3] == 0 {
			return true
		}
	}
	return false
}
