package volume

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/change"
)

// none is the label of a vertex that no core reaches.
const none = int32(-1)

// reach holds for one vertex of the scan after the two nearest change areas
// and the distances to their cores over edges, mm.
type reach struct {
	label [2]int32
	dist  [2]float32
}

// of returns the distance to area k and to the nearest other area, +Inf where
// they do not come so far.
func (r *reach) of(k int32) (own, other float64) {
	inf := math.Inf(1)
	switch k {
	case r.label[0]:
		if r.label[1] == none {
			return float64(r.dist[0]), inf
		}
		return float64(r.dist[0]), float64(r.dist[1])
	case r.label[1]:
		return float64(r.dist[1]), float64(r.dist[0])
	}
	if r.label[0] == none {
		return inf, inf
	}
	return inf, float64(r.dist[0])
}

// level is positive inside the outline of area k drawn at distance d from its
// core and zero on it. Where another core is near, the outlines share the line
// halfway between the two.
func (r *reach) level(k int32, d float64) float64 {
	own, other := r.of(k)
	f := d - own
	if !math.IsInf(other, 1) && !math.IsInf(own, 1) {
		f = min(f, (other-own)/2)
	}
	return max(-d, min(d, f))
}

type frontItem struct {
	dist   float64
	vertex uint32
	label  int32
}

// front is a heap with four children a node, nearest first.
type front []frontItem

// before orders the front by distance; ties by vertex and label, so that the
// walk is the same every time.
func (a *frontItem) before(b *frontItem) bool {
	if a.dist != b.dist {
		return a.dist < b.dist
	}
	if a.vertex != b.vertex {
		return a.vertex < b.vertex
	}
	return a.label < b.label
}

func (q *front) push(x frontItem) {
	h := append(*q, x)
	i := len(h) - 1
	for i > 0 {
		up := (i - 1) / 4
		if !x.before(&h[up]) {
			break
		}
		h[i] = h[up]
		i = up
	}
	h[i] = x
	*q = h
}

func (q *front) pop() frontItem {
	h := *q
	top, x := h[0], h[len(h)-1]
	h = h[:len(h)-1]
	*q = h
	for i := 0; len(h) > 0; {
		least := 4*i + 1
		if least >= len(h) {
			h[i] = x
			break
		}
		for c := least + 1; c < min(least+4, len(h)); c++ {
			if h[c].before(&h[least]) {
				least = c
			}
		}
		if !h[least].before(&x) {
			h[i] = x
			break
		}
		h[i] = h[least]
		i = least
	}
	return top
}

// seeds returns for every vertex of the scan after the area it is certainly
// part of, or none: its core, and what lies closest to the cores of the scan
// before. Without the latter an edge that only the scan before calls changed
// would lie inside the one outline and outside the other.
func seeds(c *change.Change) []int32 {
	out := append([]int32(nil), c.After.Core...)
	for v, k := range c.Before.Core {
		f := c.Before.Closest[v]
		if k < 0 || f == bvh.None {
			continue
		}
		i, j, l := c.After.Topology.Face(f)
		for _, u := range [3]uint32{i, j, l} {
			if out[u] < 0 {
				out[u] = k
			}
		}
	}
	return out
}

// ringOf is Topology.Ring in another order: on surface whose faces all turn alike
// every neighbour is the next corner of just one face, so that none need be looked
// for twice.
func ringOf(t *mesh.Topology, v uint32, out []uint32) []uint32 {
	if t.Turned > 0 || t.NonManifold > 0 {
		return t.Ring(v, out)
	}
	for _, f := range t.FacesOf(v) {
		a, b, c := t.Face(f)
		next, before, edge := b, c, uint32(2) // of the face's sides, that from before to v
		switch v {
		case b:
			next, before, edge = c, a, 0
		case c:
			next, before, edge = a, b, 1
		}
		out = append(out, next)
		if t.Neighbour[3*f+edge] < 0 {
			out = append(out, before)
		}
	}
	return out
}

// spread walks from the seeds over the edges of a scan, up to limit, and keeps
// the two nearest areas of each vertex (Dijkstra with two labels).
func spread(ctx context.Context, s *change.Side, seed []int32, limit float64) ([]reach, error) {
	out := make([]reach, s.Weld.Count)
	// The nearest of the label last sent to a vertex: a longer way of the same
	// label need not wait in the front.
	type sent struct {
		label int32
		dist  float32
	}
	last := make([]sent, len(out))
	var q front
	var ring []uint32
	for v := range out {
		out[v].label = [2]int32{seed[v], none}
		last[v].label = none
	}
	for v := range out {
		if seed[v] < 0 {
			continue
		}
		// Only the rim of an area spreads.
		ring = ringOf(s.Topology, uint32(v), ring[:0])
		for _, u := range ring {
			if seed[u] != seed[v] {
				q.push(frontItem{0, uint32(v), seed[v]})
				break
			}
		}
	}
	for n := 0; len(q) > 0; n++ {
		if n%65536 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		it := q.pop()
		r := &out[it.vertex]
		if !settle(r, it, seed[it.vertex]) {
			continue
		}
		if seed[it.vertex] >= 0 && seed[it.vertex] != it.label {
			continue // another area's rim is as far as a label goes
		}
		at := s.Vertex(it.vertex)
		ring = ringOf(s.Topology, it.vertex, ring[:0])
		for _, u := range ring {
			if seed[u] == it.label || !takes(&out[u], it.label) {
				continue
			}
			d := it.dist + distance(at, s.Vertex(u))
			if d > limit || last[u].label == it.label && float32(d) >= last[u].dist {
				continue
			}
			last[u] = sent{it.label, float32(d)}
			q.push(frontItem{d, u, it.label})
		}
	}
	return out, nil
}

// takes says whether a label that is not there yet would find a place.
func takes(r *reach, label int32) bool {
	return r.label[1] == none && r.label[0] != label
}

// settle writes an arriving label into the next free place; false when it has
// been there or there is none.
func settle(r *reach, it frontItem, seed int32) bool {
	if seed == it.label {
		return it.dist == 0
	}
	switch {
	case r.label[0] == none:
		r.label[0], r.dist[0] = it.label, float32(it.dist)
	case r.label[0] != it.label && r.label[1] == none:
		r.label[1], r.dist[1] = it.label, float32(it.dist)
	default:
		return false
	}
	return true
}

// lands says where on the scan after a vertex of the scan before falls: the
// corners of a face and their weights. ok is false where that is nowhere or on
// an open rim.
func (w *work) lands(v uint32) (corners [3]uint32, weights [3]float64, ok bool) {
	b := w.change.Before
	f, weights, ok := b.Facing(v)
	if !ok || math.IsNaN(b.Gap[v]) {
		return corners, weights, false
	}
	corners[0], corners[1], corners[2] = w.change.After.Topology.Face(f)
	return corners, weights, true
}

// overhang is a vertex of the scan before that lies beyond the open rim of the
// scan after, which looks the same way there.
type overhang struct {
	corners [3]uint32 // of the face at whose rim the closest place is
	weights [3]float64
	past    float64 // how far beyond the rim along the surface after, mm
	thick   float64 // how far apart the scans are at the rim, mm
	ends    float64 // how far it is over the surface before to where that ends, mm
}

// overhangs finds the vertices of the scan before beyond the rim of the scan
// after. The outline of an area whose core reaches that rim goes on beyond it as
// far as it would on the scan after, and to the end of the scan before where that
// is no farther than the scans are apart at the rim: both may have ended at the same bed,
// whose line on the outer surface lies beyond the feet on the inner one.
func (w *work) overhangs() map[uint32]overhang {
	b, a := w.change.Before, w.change.After
	out := map[uint32]overhang{}
	if a.Topology.Border == 0 {
		return out
	}
	var q front
	for v := range b.Gap {
		f, weights, ok := b.Facing(uint32(v))
		if !ok || !math.IsNaN(b.Gap[v]) || len(b.Topology.FacesOf(uint32(v))) == 0 {
			continue
		}
		o := overhang{weights: weights, ends: math.Inf(1)}
		o.corners[0], o.corners[1], o.corners[2] = a.Topology.Face(f)
		var at, normal r3.Vec
		near := false
		for n, u := range o.corners {
			near = near || w.reached[u].label[0] != none
			if g := math.Abs(a.Gap[u]); weights[n] > 0 && g > o.thick {
				o.thick = g
			}
			at = r3.Add(at, r3.Scale(weights[n], a.Vertex(u)))
			normal = r3.Add(normal, r3.Scale(weights[n], a.Stars[u].Sum()))
		}
		if !near || !(r3.Dot(normal, b.Stars[v].Sum()) > 0) {
			continue
		}
		off := r3.Sub(b.Vertex(uint32(v)), at)
		up := r3.Dot(off, normal) / length(normal)
		o.past = math.Sqrt(max(0, r3.Norm2(off)-up*up))
		if o.past > max(o.thick, ringSteps[rings]*w.change.StepMM) {
			continue // no outline goes there
		}
		for _, f := range b.Topology.FacesOf(uint32(v)) {
			i, j, k := b.Topology.Face(f)
			for e, u := range [3]uint32{i, j, k} {
				next := [3]uint32{j, k, i}[e]
				if (u == uint32(v) || next == uint32(v)) && b.Topology.Neighbour[3*f+uint32(e)] == mesh.BorderEdge {
					o.ends = 0
				}
			}
		}
		if o.ends == 0 {
			q.push(frontItem{0, uint32(v), 0})
		}
		out[uint32(v)] = o
	}
	var ring []uint32
	for len(q) > 0 {
		it := q.pop()
		if it.dist > out[it.vertex].ends {
			continue
		}
		ring = b.Topology.Ring(it.vertex, ring[:0])
		for _, u := range ring {
			o, ok := out[u]
			if d := it.dist + distance(b.Vertex(it.vertex), b.Vertex(u)); ok && d < o.ends {
				o.ends = d
				out[u] = o
				q.push(frontItem{d, u, 0})
			}
		}
	}
	return out
}

// level is that of the outline of area k drawn at distance d from its core.
func (w *work) levelBeyond(o *overhang, k int32, d float64) float64 {
	f := -o.past
	core := false
	for n, u := range o.corners {
		f += o.weights[n] * w.reached[u].level(k, d)
		core = core || o.weights[n] > 0 && w.change.After.Core[u] == k
	}
	if core && o.past+o.ends <= o.thick {
		f += o.thick
	}
	return max(-d, min(d, f))
}
