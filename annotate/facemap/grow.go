package facemap

import (
	"container/heap"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/colour"
)

// Growth says how an area grows from a place to the edges round it.
type Growth struct {
	// ReachMM is how far it grows at most, along the surface.
	ReachMM float64
	// ScaleMM is how wide bends and colours are smoothed; 0 means 0.5 mm, or
	// 1.5 mean edges where the mesh is coarser.
	ScaleMM float64
	// HardDeg is the bend that stops the growth, SoftDeg the bend from which on
	// it grows more slowly; 0 means 35 and 15 degrees.
	HardDeg, SoftDeg float64
	// Colour, if not nil, is the colour of a face: a step of HardDE (ΔE00, with
	// lightness at half weight; 0 means 8) stops the growth too, one of SoftDE
	// (0 means 4) slows it.
	Colour         func(face uint32) colour.Lab
	HardDE, SoftDE float64
	// Sight, if not nil, leaves out what is not seen.
	Sight *Sight
}

// slow is how many times slower growth is just before a hard edge.
const slow = 9

func (g Growth) filled(s *Surface) (Growth, error) {
	if !(g.ReachMM > 0) || math.IsInf(g.ReachMM, 0) {
		return g, fmt.Errorf("growing needs a reach above 0 mm, not %g mm", g.ReachMM)
	}
	use := func(v *float64, usual float64) {
		if *v == 0 {
			*v = usual
		}
	}
	use(&g.ScaleMM, max(0.5, 1.5*s.edge))
	use(&g.HardDeg, 35)
	use(&g.SoftDeg, 15)
	use(&g.HardDE, 8)
	use(&g.SoftDE, 4)
	if !(g.SoftDeg < g.HardDeg) || !(g.SoftDE < g.HardDE) || !(g.ScaleMM > 0) {
		return g, errors.New("the soft limit of growing must lie below the hard one")
	}
	return g, nil
}

// GrowToEdges returns the faces, ascending, of the area round a place up to the
// edges about it: it floods from there as Dijkstra's search does, is stopped by
// hard bends and steps of colour and slowed by soft ones, so that it does not
// leak far through a gap in an edge, and then climbs each edge up to its crest.
// It returns ctx.Err() once ctx is done.
func (s *Surface) GrowToEdges(ctx context.Context, at mesh.SurfacePoint, g Growth) ([]uint32, error) {
	g, err := g.filled(s)
	if err != nil {
		return nil, err
	}
	if int64(at.Face) >= int64(s.Mesh.FaceCount()) {
		return nil, fmt.Errorf("face %d does not exist", at.Face)
	}
	return s.widen(at, g.ReachMM, 8*g.ScaleMM, func(faces []uint32) ([]uint32, error) { return s.growWithin(ctx, at, faces, g) })
}

// widen looks for an area in a patch round a place and, as long as the area
// comes near the patch's rim, in a patch twice as wide, up to the reach: most
// areas are far smaller than they might be.
func (s *Surface) widen(at mesh.SurfacePoint, reach, rim float64, find func(faces []uint32) ([]uint32, error)) ([]uint32, error) {
	middle := s.Mesh.At(at)
	for wide := min(reach, max(reach/8, 2*rim)); ; wide = min(2*wide, reach) {
		found, err := find(s.patch(at, at, wide))
		if err != nil || wide == reach {
			return found, err
		}
		near := true
		for _, f := range found {
			if length(r3.Sub(s.Mesh.At(centreOf(f, 0, 0)), middle)) > wide-rim {
				near = false
				break
			}
		}
		if near {
			return found, nil
		}
	}
}

// growWithin is GrowToEdges in a patch.
func (s *Surface) growWithin(ctx context.Context, at mesh.SurfacePoint, faces []uint32, g Growth) ([]uint32, error) {
	r, err := s.newRelief(ctx, faces, g.ScaleMM, g.Colour)
	if err != nil {
		return nil, err
	}
	// How near each face is to stopping the growth, how slow it is there, and
	// how high the edge stands.
	stop, cost, height := make([]float64, len(r.faces)), make([]float64, len(r.faces)), make([]float64, len(r.faces))
	for i := range stop {
		stop[i] = r.bend[i] / g.HardDeg
		soft := clamp01((r.bend[i] - g.SoftDeg) / (g.HardDeg - g.SoftDeg))
		height[i] = r.bendStep[i] / g.HardDeg
		if r.shade != nil {
			stop[i] = max(stop[i], r.shade[i]/g.HardDE)
			soft = max(soft, clamp01((r.shade[i]-g.SoftDE)/(g.HardDE-g.SoftDE)))
			height[i] = max(height[i], r.shadeStep[i]/g.HardDE)
		}
		cost[i] = 1 + (slow-1)*soft*soft
	}
	start, ok := r.of(s.takesPart(at.Face))
	if !ok || stop[start] >= 1 {
		return nil, errors.New("this place lies on an edge itself: press on the area beside it")
	}
	kink := func(i, j int32) bool {
		return r3.Norm2(r3.Sub(r.mid[i], r.mid[j])) > g.ScaleMM*g.ScaleMM && s.between(r.faces[i], r.faces[j]) > g.HardDeg
	}
	took := r.flood(ctx, start, g.ReachMM, func(i, j int32) float64 {
		if stop[j] >= 1 || kink(i, j) {
			return math.Inf(1)
		}
		return (cost[i] + cost[j]) / 2
	})
	s.fillPockets(r.facets, took, stop, 4*g.ScaleMM*g.ScaleMM)
	r.toCrests(took, func(i, j int32) bool { return stop[j] >= 1 && !kink(i, j) }, height)
	if g.Sight != nil {
		for i := range took {
			took[i] = took[i] && g.Sight.Sees(r.faces[i])
		}
	}
	return r.list(took), ctx.Err()
}

// between is the angle between two faces, degrees. It is asked of faces larger
// than the scale, such as those that closed a hole: they carry no noise.
func (s *Surface) between(f, g uint32) float64 {
	return angle(s.Mesh.AreaVector(f), s.Mesh.AreaVector(g))
}

// fillPockets makes part of the edge what lies in the middle of one: places
// that bend little themselves and are smaller than an area.
func (s *Surface) fillPockets(r *facets, took []bool, stop []float64, area float64) {
	met := make([]bool, len(r.faces))
	for first := range r.faces {
		if met[first] || took[first] || stop[first] >= 1 {
			continue
		}
		met[first] = true
		pocket := []int32{int32(first)}
		sum := 0.0
		for at := 0; at < len(pocket); at++ {
			i := pocket[at]
			sum += r3.Norm(s.Mesh.AreaVector(r.faces[i]))
			for _, j := range r.next[i] {
				if j >= 0 && !met[j] && !took[j] && stop[j] < 1 {
					met[j] = true
					pocket = append(pocket, j)
				}
			}
		}
		if sum < area {
			for _, i := range pocket {
				stop[i] = 1
			}
		}
	}
}

// toCrests shares out the faces of the edges between what was taken and what
// was not, so that the outline lies on the crest: both sides climb, the lowest
// face first (the watershed of Meyer 1994).
func (r *facets) toCrests(took []bool, edge func(i, j int32) bool, height []float64) {
	done := make([]bool, len(r.faces))
	var open steps
	climb := func(i int32) {
		for _, j := range r.next[i] {
			if j >= 0 && !done[j] && edge(i, j) {
				done[j] = true
				took[j] = took[i]
				heap.Push(&open, stepTo{height[j], j})
			}
		}
	}
	for i := range r.faces {
		if !edge(int32(i), int32(i)) {
			done[i] = true
			climb(int32(i))
		}
	}
	for len(open) > 0 {
		climb(heap.Pop(&open).(stepTo).at)
	}
}

// ColourPick says which faces have the same colour as a place.
type ColourPick struct {
	// Colour of a face.
	Colour func(face uint32) colour.Lab
	// Within is the greatest colour difference, ΔE00 with lightness at half
	// weight: about 1 is just visible.
	Within float64
	// ReachMM is how far faces may lie from the place, over the surface.
	ReachMM float64
	// ScaleMM is how wide colours are smoothed; 0 means 1.5 mean edges.
	ScaleMM float64
	// Sight, if not nil, leaves out what is not seen.
	Sight *Sight
}

// SameColour returns the faces, ascending, that hang together with a place and
// have its colour. It returns ctx.Err() once ctx is done.
func (s *Surface) SameColour(ctx context.Context, at mesh.SurfacePoint, c ColourPick) ([]uint32, error) {
	switch {
	case c.Colour == nil:
		return nil, errors.New("this scan has no colours: use the brush or a loop")
	case !(c.Within > 0):
		return nil, fmt.Errorf("the colour difference must be above 0, not %g", c.Within)
	case !(c.ReachMM > 0) || math.IsInf(c.ReachMM, 0):
		return nil, fmt.Errorf("picking by colour needs a reach above 0 mm, not %g mm", c.ReachMM)
	case int64(at.Face) >= int64(s.Mesh.FaceCount()):
		return nil, fmt.Errorf("face %d does not exist", at.Face)
	}
	if c.ScaleMM == 0 {
		c.ScaleMM = 1.5 * s.edge
	}
	return s.widen(at, c.ReachMM, 4*c.ScaleMM, func(faces []uint32) ([]uint32, error) {
		r := s.newFacets(ctx, faces)
		start, ok := r.of(s.takesPart(at.Face))
		rounds, _ := r.rounds(c.ScaleMM/2, mostRounds)
		if !ok || rounds == 0 {
			return []uint32{at.Face}, ctx.Err()
		}
		shades := r.spread(ctx, r.shades(ctx, c.Colour), rounds)
		wanted := labOf(shades[start])
		took := r.flood(ctx, start, c.ReachMM, func(_, j int32) float64 {
			if colour.WeightedDifference(labOf(shades[j]), wanted, lightness) > c.Within || (c.Sight != nil && !c.Sight.Sees(r.faces[j])) {
				return math.Inf(1)
			}
			return 1
		})
		return r.list(took), ctx.Err()
	})
}

func (r *facets) list(took []bool) []uint32 {
	var out []uint32
	for i, in := range took {
		if in {
			out = append(out, r.faces[i])
		}
	}
	return out
}

// flood walks from middle to middle and takes every face that can be reached
// at a cost below reach; factor multiplies the length of a step, +Inf bars it.
// It leaves off when ctx is done.
func (r *facets) flood(ctx context.Context, start int32, reach float64, factor func(i, j int32) float64) []bool {
	took := make([]bool, len(r.faces))
	cost := make([]float64, len(r.faces))
	for i := range cost {
		cost[i] = math.Inf(1)
	}
	cost[start] = 0
	open := steps{{0, start}}
	for n := 1; len(open) > 0; n++ {
		if n%blockOf == 0 && ctx.Err() != nil {
			break
		}
		top := heap.Pop(&open).(stepTo)
		if took[top.at] {
			continue
		}
		took[top.at] = true
		for _, j := range r.next[top.at] {
			if j < 0 || took[j] {
				continue
			}
			c := top.cost + factor(top.at, j)*length(r3.Sub(r.mid[top.at], r.mid[j]))
			if c < reach && c < cost[j] {
				cost[j] = c
				heap.Push(&open, stepTo{c, j})
			}
		}
	}
	return took
}

// stepTo is a face or vertex that a search may go to next.
type stepTo struct {
	cost float64
	at   int32
}

// steps is a queue of them, the cheapest first; of equals the lowest number.
type steps []stepTo

func (q steps) Len() int { return len(q) }
func (q steps) Less(i, j int) bool {
	return q[i].cost < q[j].cost || (q[i].cost == q[j].cost && q[i].at < q[j].at)
}
func (q steps) Swap(i, j int) { q[i], q[j] = q[j], q[i] }

// Push and Pop are for container/heap.
func (q *steps) Push(x any) { *q = append(*q, x.(stepTo)) }

// Pop takes the last one off.
func (q *steps) Pop() any {
	last := (*q)[len(*q)-1]
	*q = slices.Delete(*q, len(*q)-1, len(*q))
	return last
}
