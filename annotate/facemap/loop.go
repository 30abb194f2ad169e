package facemap

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Loop is what lies inside a closed line that was drawn on a picture.
type Loop struct {
	// Holds says whether a place, mm in the mesh's frame, lies inside the line
	// in the picture. It is called on several goroutines at once.
	Holds func(p r3.Vec) bool
	// Sight keeps the loop to faces that are seen; nil takes what lies behind
	// and on the far side as well.
	Sight *Sight
	// Levels splits faces that the line crosses, as Brush.Levels does.
	Levels uint8
}

// Loop paints what lies inside a closed line drawn on a picture. It returns
// ctx.Err(), with nothing painted, once ctx is done.
func (m *Map) Loop(ctx context.Context, s *Surface, l Loop, p Paint) (Outcome, error) {
	if err := m.fitsSurface(s); err != nil {
		return Outcome{}, err
	}
	if l.Levels > MaxLevel {
		return Outcome{}, fmt.Errorf("faces are split %d times at most, not %d", MaxLevel, l.Levels)
	}
	if l.Holds == nil {
		return Outcome{}, fmt.Errorf("a loop needs a line that says what is inside")
	}
	e, err := m.begin(p)
	if err != nil {
		return Outcome{}, err
	}
	// Which faces the line holds is found side by side, in blocks, so that the
	// order of the faces and with it the diff is always the same. Blocks are of
	// whole words of what Sight remembers, so that no two of them share one.
	const block = 1 << 13
	n := s.Mesh.FaceCount()
	found := make([][]part, (n+block-1)/block)
	err = mesh.Parallel(ctx, len(found), func(b int) {
		for f := uint32(b * block); f < uint32(min(n, (b+1)*block)); f++ {
			if s.Topology.Component[f] < 0 {
				continue
			}
			if mask, level := s.held(f, l.Levels, l.Holds); mask != 0 && (l.Sight == nil || l.Sight.Sees(f)) {
				found[b] = append(found[b], part{f, level, mask})
			}
		}
	})
	if err != nil {
		return Outcome{}, err
	}
	for _, list := range found {
		for _, q := range list {
			e.cells(q.face, q.level, q.mask)
		}
	}
	return e.done(), nil
}

// held is inside for a shape that need not be convex: cells are looked at
// where the corners do not agree, or the middle not with them.
func (s *Surface) held(f uint32, levels uint8, holds func(p r3.Vec) bool) (mask uint64, level uint8) {
	a, b, c := s.Mesh.Corners(f)
	middle := holds(r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c))))
	if levels == 0 || (holds(a) == middle && holds(b) == middle && holds(c) == middle) {
		if middle {
			return 1, 0
		}
		return 0, 0
	}
	return s.cellsHeld(f, levels, holds)
}
