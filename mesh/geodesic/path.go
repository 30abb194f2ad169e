package geodesic

import (
	"container/heap"
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// ErrApart is returned where no way over the surface joins two places.
var ErrApart = errors.New("the two places lie on parts of the surface that do not hang together")

// steiner is the number of points on an edge between its ends.
const steiner = 3

// node names a place of the search graph: a welded vertex, or a point on an
// edge. Edge points carry the lower of the edge's two half-edge numbers (3·face +
// corner), so both faces mean the same one.
type node uint64

const onEdge node = 1 << 63

func vertexNode(v uint32) node { return node(v) }

func edgeNode(half uint32, step int) node { return onEdge | node(half)<<2 | node(step-1) }

// Path returns the length in the mesh's unit and the points of the shortest way
// over the surface from one place to another, both ends included. It returns
// ErrApart where there is none.
func Path(m *mesh.Mesh, w *mesh.Weld, topo *mesh.Topology, from, to mesh.SurfacePoint) (length float64, points []r3.Vec, err error) {
	s := search{m: m, w: w, topo: topo, goal: m.At(to), from: m.At(from), seen: map[node]*visit{}}
	if from.Face == to.Face {
		return r3.Norm(r3.Sub(s.goal, s.from)), []r3.Vec{s.from, s.goal}, nil
	}
	last, ok := s.run(from.Face, to.Face)
	if !ok {
		return 0, nil, ErrApart
	}
	way := s.way(last)
	straighten(way)
	points = make([]r3.Vec, 0, len(way))
	for i, p := range way {
		if i > 0 && p.at == points[len(points)-1] {
			continue
		}
		points = append(points, p.at)
	}
	if len(points) == 1 {
		points = append(points, s.goal)
	}
	for i := 1; i < len(points); i++ {
		length += r3.Norm(r3.Sub(points[i], points[i-1]))
	}
	return length, points, nil
}

type visit struct {
	n     node
	at    r3.Vec
	back  *visit
	cost  float64 // from the start
	rank  float64 // cost + straight distance to the goal
	place int     // in the heap, -1 when settled
}

type search struct {
	m          *mesh.Mesh
	w          *mesh.Weld
	topo       *mesh.Topology
	from, goal r3.Vec
	seen       map[node]*visit
	open       queue
}

// run searches and returns the last node before the goal.
func (s *search) run(start, end uint32) (*visit, bool) {
	s.boundary(start, func(n node, at r3.Vec) { s.offer(nil, n, at, r3.Norm(r3.Sub(at, s.from))) })
	goal := map[node]bool{}
	s.boundary(end, func(n node, _ r3.Vec) { goal[n] = true })
	var best *visit
	total := math.Inf(1)
	for s.open.Len() > 0 {
		v := heap.Pop(&s.open).(*visit)
		v.place = -1
		if v.rank >= total {
			break
		}
		if goal[v.n] {
			if c := v.cost + r3.Norm(r3.Sub(s.goal, v.at)); c < total {
				total, best = c, v
			}
		}
		s.around(v, func(n node, at r3.Vec) { s.offer(v, n, at, v.cost+r3.Norm(r3.Sub(at, v.at))) })
	}
	return best, best != nil
}

// offer tells a node of a way to it.
func (s *search) offer(back *visit, n node, at r3.Vec, cost float64) {
	v := s.seen[n]
	switch {
	case v == nil:
		v = &visit{n: n, at: at, back: back, cost: cost, rank: cost + r3.Norm(r3.Sub(s.goal, at))}
		s.seen[n] = v
		heap.Push(&s.open, v)
	case v.place >= 0 && cost < v.cost:
		v.rank += cost - v.cost
		v.cost, v.back = cost, back
		heap.Fix(&s.open, v.place)
	}
}

// boundary lists the nodes on the border of a face.
func (s *search) boundary(f uint32, each func(node, r3.Vec)) {
	a, b, c := s.w.Face(s.m, f)
	pa, pb, pc := s.m.Corners(f)
	ids, at := [3]uint32{a, b, c}, [3]r3.Vec{pa, pb, pc}
	for k := range 3 {
		each(vertexNode(ids[k]), at[k])
		s.edge(f, k, at, each)
	}
}

// edge lists the points between the ends of edge k of face f.
func (s *search) edge(f uint32, k int, at [3]r3.Vec, each func(node, r3.Vec)) {
	half, turned := s.half(f, k)
	p, q := at[k], at[(k+1)%3]
	for i := 1; i <= steiner; i++ {
		step := i
		if turned {
			step = steiner + 1 - i
		}
		t := float64(i) / (steiner + 1)
		each(edgeNode(half, step), r3.Add(r3.Scale(1-t, p), r3.Scale(t, q)))
	}
}

// half returns the lower half-edge number of an edge and whether it belongs to
// the other face, which runs along it the other way (or the same way where one
// of the two is inside out).
func (s *search) half(f uint32, k int) (half uint32, turned bool) {
	own := 3*f + uint32(k)
	n := s.topo.Neighbour[own]
	if n < 0 {
		return own, false
	}
	a := s.w.Of[s.m.Triangles[own]]
	b := s.w.Of[s.m.Triangles[3*f+uint32(k+1)%3]]
	for j := range uint32(3) {
		x := s.w.Of[s.m.Triangles[3*uint32(n)+j]]
		y := s.w.Of[s.m.Triangles[3*uint32(n)+(j+1)%3]]
		if x == b && y == a || x == a && y == b {
			other := 3*uint32(n) + j
			if other < own {
				return other, x == b
			}
			return own, false
		}
	}
	return own, false
}

// around lists the nodes that lie across one face from v.
func (s *search) around(v *visit, each func(node, r3.Vec)) {
	if v.n&onEdge == 0 {
		for _, f := range s.topo.FacesOf(uint32(v.n)) {
			s.boundary(f, each)
		}
		return
	}
	half := uint32(v.n &^ onEdge >> 2)
	f := half / 3
	s.boundary(f, each)
	if n := s.topo.Neighbour[half]; n >= 0 {
		s.boundary(uint32(n), each)
	}
}

// stop is a point of a way with the edge it may slide along; a and b are equal
// for a point that stays.
type stop struct{ at, a, b r3.Vec }

// way collects the stops from the start over v to the goal.
func (s *search) way(v *visit) []stop {
	out := []stop{{at: s.goal, a: s.goal, b: s.goal}}
	for ; v != nil; v = v.back {
		p := stop{at: v.at, a: v.at, b: v.at}
		if v.n&onEdge != 0 {
			half := uint32(v.n &^ onEdge >> 2)
			p.a = s.m.Vertex(s.m.Triangles[half])
			p.b = s.m.Vertex(s.m.Triangles[3*(half/3)+(half%3+1)%3])
		}
		out = append(out, p)
	}
	out = append(out, stop{at: s.from, a: s.from, b: s.from})
	slices.Reverse(out)
	return out
}

// straighten slides every stop along its edge to where the way through it is
// shortest, over and over. Each slide is the crossing of the edge with the
// straight line in the unfolded plane of its two neighbours; the total length is
// convex in the slides, so this goes to the shortest way across these edges.
func straighten(way []stop) {
	const sweeps = 400
	for range sweeps {
		moved := 0.0
		for i := 1; i+1 < len(way); i++ {
			s := &way[i]
			if s.a == s.b {
				continue
			}
			t := crossing(way[i-1].at, way[i+1].at, s.a, s.b)
			at := r3.Add(r3.Scale(1-t, s.a), r3.Scale(t, s.b))
			moved = math.Max(moved, r3.Norm(r3.Sub(at, s.at)))
			s.at = at
		}
		if moved < 1e-9 {
			return
		}
	}
}

// crossing returns where on the segment a b, from 0 to 1, the way p → q over it
// is shortest.
func crossing(p, q, a, b r3.Vec) float64 {
	d := r3.Sub(b, a)
	n := r3.Dot(d, d)
	if n == 0 {
		return 0
	}
	along := func(x r3.Vec) (t, off float64) {
		v := r3.Sub(x, a)
		t = r3.Dot(v, d) / n
		return t, r3.Norm(r3.Sub(v, r3.Scale(t, d)))
	}
	tp, op := along(p)
	tq, oq := along(q)
	t := (tp + tq) / 2
	if op+oq > 0 {
		t = (tp*oq + tq*op) / (op + oq)
	}
	return math.Min(math.Max(t, 0), 1)
}

// queue is a heap of visits by rank; ties by node, so that the way does not
// depend on chance.
type queue []*visit

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	if q[i].rank != q[j].rank {
		return q[i].rank < q[j].rank
	}
	return q[i].n < q[j].n
}
func (q queue) Swap(i, j int) {
	q[i], q[j] = q[j], q[i]
	q[i].place, q[j].place = i, j
}
func (q *queue) Push(x any) {
	v := x.(*visit)
	v.place = len(*q)
	*q = append(*q, v)
}
func (q *queue) Pop() any {
	old := *q
	v := old[len(old)-1]
	*q = old[:len(old)-1]
	return v
}
