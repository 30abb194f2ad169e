package facemap

import (
	"context"
	"errors"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
)

// Carrying says how labels are carried from the map of another scan of the same
// piece.
type Carrying struct {
	From        *Map
	FromSurface *Surface
	// ToFrom brings points of this scan into the other one's own frame.
	ToFrom func(r3.Vec) r3.Vec
	// Changed says that the surface at a face is not what it was; such faces get
	// nothing.
	Changed func(face uint32) bool
	// WithinMM is how far away, in the other scan's own measure, the same surface
	// may lie.
	WithinMM float64
	// Numbers gives the region here for each region there; what is not in it is
	// not carried.
	Numbers map[uint16]uint16
	// Levels splits faces in which labels differ, up to MaxLevel.
	Levels uint8
}

// carriedLabels are the labels of one place, ready to compare.
type carriedLabels struct {
	substance uint16
	over      []uint16
}

func (l carriedLabels) equal(o carriedLabels) bool {
	return l.substance == o.substance && slices.Equal(l.over, o.over)
}

// Carry gives every face that is in no region yet the labels that the other map
// has at the closest place, as far as the surface did not change: faces that
// Changed names, that have no surface within reach or one that looks the other
// way stay as they are. A face in or beside which labels differ is asked for
// cell by cell, so that areas keep their size. Taken counts the faces that got a
// label, Skipped those that were left because of a change.
func (m *Map) Carry(ctx context.Context, s *Surface, c Carrying) (Outcome, error) {
	if c.From == nil || c.FromSurface == nil || c.From.FaceCount() != c.FromSurface.Mesh.FaceCount() {
		return Outcome{}, errors.New("the map to carry from does not belong to its scan: open the project again")
	}
	if len(m.substance) != s.Mesh.FaceCount() {
		return Outcome{}, errors.New("the map to carry to does not belong to its scan: open the project again")
	}
	levels := min(c.Levels, MaxLevel)
	layers := map[uint16]Layer{}
	for _, r := range c.From.OverlayRegions() {
		layers[c.Numbers[r.Number]] = r.Layer
	}
	n := len(m.substance)
	centre := func(f int) r3.Vec {
		p, q, r := s.Mesh.Corners(uint32(f))
		return c.ToFrom(r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r))))
	}
	hits := make([]bvh.Hit, n)
	if err := c.FromSurface.Tree().ClosestAll(ctx, n, centre, c.WithinMM, hits); err != nil {
		return Outcome{}, err
	}
	// What a face may take: nothing, because it has labels, changed, or has no
	// partner; else the labels at its middle.
	const taken, changed, open = 0, 1, 2
	state := make([]uint8, n)
	at := make([]carriedLabels, n)
	err := mesh.Parallel(ctx, (n+carryBlock-1)/carryBlock, func(b int) {
		for f := b * carryBlock; f < min(n, (b+1)*carryBlock); f++ {
			switch face := uint32(f); {
			case m.substance[f] != 0 || m.subs[face] != nil:
			case c.Changed(face) || !c.faces(s, face, hits[f]):
				state[f] = changed
			default:
				state[f] = open
				at[f] = c.labels(hits[f])
			}
		}
	})
	if err != nil {
		return Outcome{}, err
	}
	// Cells of the faces beside which labels differ.
	cells := make([]*Sub, n)
	err = mesh.Parallel(ctx, (n+carryBlock-1)/carryBlock, func(b int) {
		for f := b * carryBlock; f < min(n, (b+1)*carryBlock); f++ {
			if state[f] != open || levels == 0 || !m.besideOther(s, uint32(f), at, state, open) {
				continue
			}
			cells[f] = c.cells(s, uint32(f), levels, layers)
		}
	})
	if err != nil {
		return Outcome{}, err
	}
	e := &edit{m: m}
	for f := range n {
		switch state[f] {
		case changed:
			e.left++
		case open:
			if sub := cells[f]; sub != nil && !sub.uniform() {
				e.setCells(uint32(f), sub)
				e.taken++
				continue
			}
			if l := at[f]; l.substance != 0 || len(l.over) > 0 {
				e.taken++
				e.setSubstance(uint32(f), l.substance)
				for _, r := range l.over {
					e.setOver(r, layers[r], uint32(f), true)
				}
			}
		}
	}
	return e.done(), nil
}

// carryBlock is the number of faces one worker takes at a time.
const carryBlock = 1 << 12

// faces says whether the closest place looks the same way as a face.
func (c *Carrying) faces(s *Surface, face uint32, hit bvh.Hit) bool {
	if hit.Face == bvh.None || s.Topology.Component[face] < 0 {
		return false
	}
	p, q, r := s.Mesh.Corners(face)
	p, q, r = c.ToFrom(p), c.ToFrom(q), c.ToFrom(r)
	return r3.Dot(r3.Cross(r3.Sub(q, p), r3.Sub(r, p)), c.FromSurface.Mesh.AreaVector(hit.Face)) > 0
}

// labels are those of a place on the other scan, with the numbers of here.
func (c *Carrying) labels(hit bvh.Hit) carriedLabels {
	substance, over := c.From.At(mesh.SurfacePoint{Face: hit.Face, Weights: hit.Weights}, nil)
	out := carriedLabels{substance: c.Numbers[substance]}
	for _, r := range over {
		if n := c.Numbers[r]; n != 0 {
			out.over = append(out.over, n)
		}
	}
	slices.Sort(out.over)
	return out
}

// besideOther says whether a face that shares a corner takes other labels.
func (m *Map) besideOther(s *Surface, face uint32, at []carriedLabels, state []uint8, open uint8) bool {
	a, b, c := s.Topology.Face(face)
	for _, v := range [3]uint32{a, b, c} {
		for _, g := range s.Topology.FacesOf(v) {
			if state[g] == open && !at[g].equal(at[face]) {
				return true
			}
		}
	}
	return false
}

// cells asks for the labels of every cell of a face.
func (c *Carrying) cells(s *Surface, face uint32, levels uint8, layers map[uint16]Layer) *Sub {
	out := &Sub{Level: levels, Substance: make([]uint16, Cells(levels))}
	over := map[uint16]uint64{}
	for cell := range out.Substance {
		hit, ok := c.FromSurface.Tree().Closest(c.ToFrom(s.Mesh.At(centreOf(face, levels, cell))), c.WithinMM)
		if !ok {
			continue
		}
		l := c.labels(hit)
		out.Substance[cell] = l.substance
		for _, r := range l.over {
			over[r] |= 1 << cell
		}
	}
	for r, mask := range over {
		out.setOver(r, layers[r], mask)
	}
	return out
}
