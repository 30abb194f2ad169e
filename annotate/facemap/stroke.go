package facemap

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Brush is the reach of a stroke.
type Brush struct {
	// RadiusMM is the straight distance from the middle within which the
	// surface is taken, as far as it hangs together inside: the far side of a
	// thin plate or of a crack is not reached.
	RadiusMM float64
	// TurnDeg, if above 0, keeps the stroke off faces whose smoothed normal
	// turns away from that at the middle by more, so that it stops at a sharp
	// edge.
	TurnDeg float64
	// Sight, if not nil, keeps the stroke to faces that are seen.
	Sight *Sight
	// Levels splits faces that the outline of the stroke crosses into
	// 4^Levels cells, 0 to MaxLevel; with 0 a face is taken if its centroid is
	// inside.
	Levels uint8
}

func (b Brush) check() error {
	switch {
	case !(b.RadiusMM > 0) || math.IsInf(b.RadiusMM, 0):
		return fmt.Errorf("a stroke needs a radius above 0 mm, not %g mm", b.RadiusMM)
	case b.Levels > MaxLevel:
		return fmt.Errorf("faces are split %d times at most, not %d", MaxLevel, b.Levels)
	case !(b.TurnDeg >= 0):
		return fmt.Errorf("the turn limit is an angle from 0 degrees on, not %g", b.TurnDeg)
	}
	return nil
}

// cosTurn is the cosine of the turn limit, -1 for none.
func (b Brush) cosTurn() float64 {
	if b.TurnDeg == 0 || b.TurnDeg >= 180 {
		return -1
	}
	return math.Cos(b.TurnDeg * math.Pi / 180)
}

// fits checks that a map and a place belong to the surface.
func (m *Map) fitsSurface(s *Surface, places ...mesh.SurfacePoint) error {
	if n := s.Mesh.FaceCount(); n != len(m.substance) {
		return fmt.Errorf("the map has %d faces, the mesh %d: it belongs to another scan", len(m.substance), n)
	}
	for _, p := range places {
		if int64(p.Face) >= int64(len(m.substance)) {
			return fmt.Errorf("face %d does not exist: the scan has faces 0 to %d", p.Face, len(m.substance)-1)
		}
	}
	return nil
}

// Stroke paints a round patch about a place on the surface. The face at the
// place is marked even if the radius is smaller than the face.
func (m *Map) Stroke(s *Surface, at mesh.SurfacePoint, b Brush, p Paint) (Outcome, error) {
	return m.StrokePath(s, []mesh.SurfacePoint{at}, b, p)
}

// StrokePath paints the band that a round brush covers on its way over the
// surface through the given places. Between two places the way is the chord
// between them laid on to the surface in steps of half a radius.
func (m *Map) StrokePath(s *Surface, path []mesh.SurfacePoint, b Brush, p Paint) (Outcome, error) {
	if err := b.check(); err != nil {
		return Outcome{}, err
	}
	if len(path) == 0 {
		return Outcome{}, fmt.Errorf("a stroke needs at least one place")
	}
	if err := m.fitsSurface(s, path...); err != nil {
		return Outcome{}, err
	}
	e, err := m.begin(p)
	if err != nil {
		return Outcome{}, err
	}
	path = s.layPath(path, b.RadiusMM/2)
	for i := range path[:max(len(path)-1, 1)] {
		to := path[min(i+1, len(path)-1)]
		e.dab(s, path[i], to, b)
	}
	return e.done(), nil
}

// layPath puts places between those given so that none is further than step
// from the next, each laid on to the surface.
func (s *Surface) layPath(path []mesh.SurfacePoint, step float64) []mesh.SurfacePoint {
	out := path[:1:1]
	for _, to := range path[1:] {
		a, b := s.Mesh.At(out[len(out)-1]), s.Mesh.At(to)
		n := int(math.Ceil(r3.Norm(r3.Sub(b, a)) / step))
		for i := 1; i < n; i++ {
			t := float64(i) / float64(n)
			if p, _, ok := s.Locate(r3.Add(r3.Scale(1-t, a), r3.Scale(t, b))); ok {
				out = append(out, p)
			}
		}
		out = append(out, to)
	}
	return out
}

// dab paints the capsule between two near places.
func (e *edit) dab(s *Surface, from, to mesh.SurfacePoint, b Brush) {
	c := capsule{s.Mesh.At(from), s.Mesh.At(to), b.RadiusMM}
	took := false
	var faces []uint32
	s.reach(from.Face, c, b.cosTurn(), func(f uint32) { faces = append(faces, f) })
	if b.Sight != nil {
		b.Sight.know(faces)
	}
	for _, f := range faces {
		if b.Sight != nil && !b.Sight.Sees(f) {
			continue
		}
		if mask, level := s.inside(f, b.Levels, c.holds); mask != 0 {
			took = true
			e.cells(f, level, mask)
		}
	}
	if !took {
		e.cells(s.takesPart(from.Face), b.Levels, 1<<CellAt(b.Levels, from.Weights))
	}
}

// inside returns which cells of a face a convex shape holds, judged by their
// centroids; the level is 0 where the face is wholly in or out.
func (s *Surface) inside(f uint32, levels uint8, holds func(p r3.Vec) bool) (mask uint64, level uint8) {
	a, b, c := s.Mesh.Corners(f)
	if levels == 0 || (holds(a) && holds(b) && holds(c)) {
		if holds(r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))) {
			return 1, 0
		}
		return 0, 0
	}
	return s.cellsHeld(f, levels, holds)
}

// cellsHeld returns which cells of a face have their centroid in a shape.
func (s *Surface) cellsHeld(f uint32, levels uint8, holds func(p r3.Vec) bool) (mask uint64, level uint8) {
	for cell := range Cells(levels) {
		if holds(s.Mesh.At(centreOf(f, levels, cell))) {
			mask |= 1 << cell
		}
	}
	if mask == allCells(levels) {
		return 1, 0
	}
	return mask, levels
}
