package facemap

import (
	"container/heap"
	"context"
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/colour"
)

// Snap says how a line finds its way along a break.
type Snap struct {
	// ScaleMM is how wide bends and colours are smoothed; 0 means 1.2 mean
	// edges: a break is narrow.
	ScaleMM float64
	// AsideMM is how far the line may leave the straight way between the two
	// places; 0 means a quarter of their distance, at least 2 mm.
	AsideMM float64
	// Colour of a face, nil for none: a seam of glue differs in colour.
	Colour func(face uint32) colour.Lab
}

// A break is an edge of 40 degrees or more, or a step of colour of ΔE00 10, and
// walking along it costs a tenth of walking beside it.
const (
	breakDeg = 40
	breakDE  = 10
	alongIt  = 0.1
)

// ErrNoWay is returned where two places do not hang together within reach.
var ErrNoWay = errors.New("the two places do not hang together near the straight way between them: set a place between, or draw it straight")

// SnapWay returns the points of a line from one place to another that runs along
// the break between them where there is one: the cheapest way over the edges of
// the mesh where walking on a sharp bend or a step of colour is cheap. Points
// that a straight stretch explains within three quarters of a mean edge are left
// out, so that the shortest ways over the surface between the points that stay
// follow the break without the zigzag of the edges. Both ends are among them.
// It returns ctx.Err() once ctx is done.
func (s *Surface) SnapWay(ctx context.Context, from, to mesh.SurfacePoint, o Snap) ([]r3.Vec, error) {
	a, b := s.Mesh.At(from), s.Mesh.At(to)
	if from.Face == to.Face {
		return []r3.Vec{a, b}, nil
	}
	if o.ScaleMM == 0 {
		o.ScaleMM = 1.2 * s.edge
	}
	if o.AsideMM == 0 {
		o.AsideMM = max(2, r3.Norm(r3.Sub(b, a))/4)
	}
	r, err := s.newRelief(ctx, s.patch(from, to, o.AsideMM), o.ScaleMM, o.Colour)
	if err != nil {
		return nil, err
	}
	first, ok1 := r.of(s.takesPart(from.Face))
	last, ok2 := r.of(s.takesPart(to.Face))
	if !ok1 || !ok2 {
		return nil, ErrNoWay
	}
	// A step of so much spreads over a Gaussian of half a scale.
	wide := o.ScaleMM / 2 * math.Sqrt(2*math.Pi)
	ease := make([]float64, len(r.faces))
	for i := range ease {
		ease[i] = r.bendSlope[i] * wide / breakDeg
		if r.shade != nil {
			ease[i] = max(ease[i], r.shadeSlope[i]*wide/breakDE)
		}
		ease[i] = clamp01(ease[i])
	}
	way := s.cheapest(r, ease, a, b, first, last)
	if way == nil {
		return nil, ErrNoWay
	}
	return thinned(way, 0.75*s.edge), nil
}

// cheapest walks over the edges of the patch from a, in face first, to b, in
// face last.
func (s *Surface) cheapest(r *relief, ease []float64, a, b r3.Vec, first, last int32) []r3.Vec {
	type visit struct {
		cost float64
		back uint32
		done bool
	}
	seen := map[uint32]*visit{}
	var open steps
	reach := func(v, back uint32, cost float64) {
		k := seen[v]
		if k == nil {
			k = &visit{cost: math.Inf(1)}
			seen[v] = k
		}
		if cost < k.cost {
			k.cost, k.back = cost, back
			heap.Push(&open, stepTo{cost, int32(v)})
		}
	}
	const begin = math.MaxUint32
	where := map[uint32]r3.Vec{}
	corners := func(f int32) [3]uint32 {
		face := r.faces[f]
		x, y, z := s.Topology.Face(face)
		p, q, t := s.Mesh.Corners(face)
		where[x], where[y], where[z] = p, q, t
		return [3]uint32{x, y, z}
	}
	for _, v := range corners(first) {
		reach(v, begin, r3.Norm(r3.Sub(where[v], a)))
	}
	goal := map[uint32]bool{}
	for _, v := range corners(last) {
		goal[v] = true
	}
	best, end := math.Inf(1), uint32(begin)
	for len(open) > 0 {
		top := heap.Pop(&open).(stepTo)
		v := uint32(top.at)
		k := seen[v]
		if k.done {
			continue
		}
		k.done = true
		if top.cost >= best {
			break
		}
		if goal[v] {
			if c := top.cost + r3.Norm(r3.Sub(b, where[v])); c < best {
				best, end = c, v
			}
		}
		for _, f := range s.Topology.FacesOf(v) {
			i, ok := r.of(f)
			if !ok {
				continue
			}
			for _, u := range corners(i) {
				if u == v {
					continue
				}
				// An edge is as easy as the easier of its faces: the other one
				// comes by when its turn is.
				cost := r3.Norm(r3.Sub(where[u], where[v])) * (1 - (1-alongIt)*ease[i])
				reach(u, v, top.cost+cost)
			}
		}
	}
	if end == begin {
		return nil
	}
	way := []r3.Vec{b}
	for v := end; v != begin; v = seen[v].back {
		way = append(way, where[v])
	}
	way = append(way, a)
	slices.Reverse(way)
	return slices.Compact(way)
}

// thinned leaves out points that lie within tolerance of the straight line
// between those kept (Ramer 1972; Douglas and Peucker 1973).
func thinned(way []r3.Vec, tolerance float64) []r3.Vec {
	if len(way) < 3 {
		return way
	}
	most, at := 0.0, 0
	for i := 1; i < len(way)-1; i++ {
		_, q := onSegment(way[i], way[0], way[len(way)-1])
		if d := r3.Norm(r3.Sub(way[i], q)); d > most {
			most, at = d, i
		}
	}
	if most <= tolerance {
		return []r3.Vec{way[0], way[len(way)-1]}
	}
	left := thinned(way[:at+1], tolerance)
	right := thinned(way[at:], tolerance)
	return append(slices.Clone(left[:len(left)-1]), right...)
}
