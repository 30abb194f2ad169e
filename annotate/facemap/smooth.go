package facemap

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Smoothing says how the outline of a region is made smooth.
type Smoothing struct {
	// LengthMM is the size of the bays and points that go: the region is looked
	// at through a Gaussian half as wide.
	LengthMM float64
	// Levels splits faces that the smooth outline crosses, as Brush.Levels does.
	Levels uint8
	// Paint is how the faces of a region are painted: that of the region itself
	// and, in layer substance, of those that win what it loses.
	Paint func(region uint16) Paint
}

// mostWarming bounds the rounds of spreading a region.
const mostWarming = 400

// SmoothOutline draws the outline of a region anew without its small bays and
// points: what the region holds is spread over the surface as warmth would be,
// and the line where the warmth has one value is the new outline; that value is
// chosen so that the region keeps its area (as in area-preserving motion by
// diffusion and threshold: Merriman, Bence and Osher 1992, with the threshold of
// Ruuth and Wetton 2003). What the region loses in layer substance goes to the
// region that lies nearest; beside what nobody examined it becomes unassigned.
// It returns ctx.Err(), with nothing painted, once ctx is done.
func (m *Map) SmoothOutline(ctx context.Context, s *Surface, region uint16, o Smoothing) (Outcome, error) {
	if err := m.fitsSurface(s); err != nil {
		return Outcome{}, err
	}
	switch {
	case !(o.LengthMM > 0) || math.IsInf(o.LengthMM, 0):
		return Outcome{}, fmt.Errorf("smoothing an outline needs a length above 0 mm, not %g mm", o.LengthMM)
	case o.Levels > MaxLevel:
		return Outcome{}, fmt.Errorf("faces are split %d times at most, not %d", MaxLevel, o.Levels)
	case o.Paint == nil:
		return Outcome{}, fmt.Errorf("smoothing an outline needs to know how regions are painted")
	}
	paint := o.Paint(region)
	e, err := m.begin(paint)
	if err != nil {
		return Outcome{}, err
	}
	w := m.warmed(ctx, s, region, paint.Layer, o)
	if err := ctx.Err(); err != nil {
		return Outcome{}, err
	}
	given := map[uint16][]part{}
	for i, f := range w.faces {
		mask := w.mask[i]
		if mask != 0 {
			e.cells(f, w.level, mask)
		}
		if gone := allCells(w.level) &^ mask; gone != 0 && w.share[i] > 0 {
			given[w.beside[i]] = append(given[w.beside[i]], part{f, w.level, gone})
		}
	}
	left := e.left // what the region may not lie on is told of; what it gives up is not
	for _, to := range slices.Sorted(maps.Keys(given)) {
		switch {
		case paint.Layer != Substance:
			e.p = paint
			e.p.Erase, e.p.Only, e.p.Drop = true, nil, nil
		default:
			e.p = o.Paint(to)
			e.p.Only = func(substance uint16) bool { return substance == region }
		}
		for _, g := range given[to] {
			e.cells(g.face, g.level, g.mask)
		}
	}
	e.left = left
	out := e.done()
	out.Taken = len(out.Diff.Faces())
	return out, nil
}

// warmed is the faces about the outline of a region and how they come to lie.
type warmed struct {
	*facets
	level  uint8
	share  []float64 // of each face that the region held
	mask   []uint64  // cells inside the new outline
	beside []uint16  // the other substance region nearest to each face
}

func (m *Map) warmed(ctx context.Context, s *Surface, region uint16, layer Layer, o Smoothing) *warmed {
	w := &warmed{facets: s.newFacets(ctx, m.rim(s, region, layer, 1.5*o.LengthMM)), level: o.Levels}
	n := len(w.faces)
	w.share = make([]float64, n)
	warm := make([][3]float64, n)
	for i, f := range w.faces {
		w.share[i] = m.shareOf(f, region, layer)
		warm[i][0] = w.share[i]
	}
	rounds, _ := w.rounds(o.LengthMM/2, mostWarming)
	warm = w.spread(ctx, warm, rounds)
	corners := w.cornerWarmth(s, warm)

	limit := w.limit(s, corners)
	w.mask = make([]uint64, n)
	for i := range w.faces {
		for c := range Cells(w.level) {
			if warmthAt(corners[i], w.level, c) >= limit {
				w.mask[i] |= 1 << c
			}
		}
	}
	w.beside = m.besides(w.facets, region)
	return w
}

// limit is the warmth above which lie cells of as much area as the region held.
// Only the cells of one thousandth of warmth need to be put in order for it.
func (w *warmed) limit(s *Surface, corners [][3]float64) float64 {
	const bins = 1000
	binOf := func(warmth float64) int { return min(max(int(warmth*bins), 0), bins-1) }
	cells := Cells(w.level)
	var within [bins]float64 // mm² of cells
	area := 0.0              // mm² that the region held
	for i, f := range w.faces {
		whole := length(s.Mesh.AreaVector(f))
		area += w.share[i] * whole
		for c := range cells {
			within[binOf(warmthAt(corners[i], w.level, c))] += whole / float64(cells)
		}
	}
	bin := bins - 1
	for ; bin > 0 && area >= within[bin]; bin-- {
		area -= within[bin]
	}
	type cell struct{ warmth, area float64 }
	var list []cell
	for i, f := range w.faces {
		a := length(s.Mesh.AreaVector(f)) / float64(cells)
		for c := range cells {
			if at := warmthAt(corners[i], w.level, c); binOf(at) == bin {
				list = append(list, cell{at, a})
			}
		}
	}
	slices.SortFunc(list, func(a, b cell) int { return cmp.Compare(b.warmth, a.warmth) })
	limit := float64(bin+1) / bins
	for _, c := range list {
		if area < c.area/2 {
			break
		}
		area -= c.area
		limit = c.warmth
	}
	return limit
}

// warmthAt is the warmth in the middle of a cell.
func warmthAt(corners [3]float64, level uint8, cell int) float64 {
	c := cellCentres[level][cell]
	return c[0]*corners[0] + c[1]*corners[1] + c[2]*corners[2]
}

// cornerWarmth is the warmth at the corners of each face: the mean of the faces
// of the patch round them.
func (r *facets) cornerWarmth(s *Surface, warm [][3]float64) [][3]float64 {
	sum, count := make([]float64, s.Weld.Count), make([]uint32, s.Weld.Count)
	each := func(do func(i int, k int, v uint32)) {
		for i, f := range r.faces {
			a, b, c := s.Topology.Face(f)
			do(i, 0, a)
			do(i, 1, b)
			do(i, 2, c)
		}
	}
	each(func(i, _ int, v uint32) { sum[v] += warm[i][0]; count[v]++ })
	out := make([][3]float64, len(r.faces))
	each(func(i, k int, v uint32) { out[i][k] = sum[v] / float64(count[v]) })
	return out
}

// shareOf is the share of a face that a region holds.
func (m *Map) shareOf(f uint32, region uint16, layer Layer) float64 {
	holds := false
	switch sub := m.subs[f]; {
	case sub != nil && layer == Substance:
		n := 0
		for _, l := range sub.Substance {
			if l == region {
				n++
			}
		}
		return float64(n) / float64(len(sub.Substance))
	case sub != nil:
		return float64(bits.OnesCount64(sub.over(region))) / float64(len(sub.Substance))
	case layer == Substance:
		holds = m.substance[f] == region
	default:
		o := m.over[region]
		holds = o != nil && o.faces.has(f)
	}
	if holds {
		return 1
	}
	return 0
}

// rim returns the faces within a distance of the outline of a region, on both
// sides of it.
func (m *Map) rim(s *Surface, region uint16, layer Layer, within float64) []uint32 {
	type met struct {
		face uint32
		from r3.Vec // the place on the outline that it was reached from
	}
	w := s.borrow()
	defer s.scratch.Put(w)
	var found []met
	for _, f := range m.Faces(region) {
		share := m.shareOf(f, region, layer)
		edge := share < 1
		for k := range 3 {
			s.across(f, k, func(g uint32) { edge = edge || m.shareOf(g, region, layer) != share })
		}
		if edge && w.first(f) {
			found = append(found, met{f, s.Mesh.At(centreOf(f, 0, 0))})
		}
	}
	for at := 0; at < len(found); at++ {
		for k := range 3 {
			s.across(found[at].face, k, func(g uint32) {
				if w.seen[g] == w.round {
					return
				}
				if length(r3.Sub(s.Mesh.At(centreOf(g, 0, 0)), found[at].from)) <= within {
					w.first(g)
					found = append(found, met{g, found[at].from})
				}
			})
		}
	}
	out := make([]uint32, len(found))
	for i, q := range found {
		out[i] = q.face
	}
	return out
}

// besides says for every face of the patch which other substance region lies
// nearest, 0 where there is none.
func (m *Map) besides(r *facets, region uint16) []uint16 {
	out := make([]uint16, len(r.faces))
	met := make([]bool, len(r.faces))
	var queue []int32
	for i, f := range r.faces {
		label := m.substance[f]
		if sub := m.subs[f]; sub != nil && label == region {
			for _, l := range sub.Substance {
				if l != region {
					label = l
					break
				}
			}
		}
		if label != region {
			out[i], met[i] = label, true
			queue = append(queue, int32(i))
		}
	}
	for len(queue) > 0 {
		i := queue[0]
		queue = queue[1:]
		for _, j := range r.next[i] {
			if j >= 0 && !met[j] {
				out[j], met[j] = out[i], true
				queue = append(queue, j)
			}
		}
	}
	return out
}
