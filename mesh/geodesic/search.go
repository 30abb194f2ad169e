package geodesic

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// steiner is the number of points on an edge between its ends.
const steiner = 3

// visit is a place of the graph that the search has reached: a welded vertex
// or a point on an edge. A vertex has its own number as node; the points of an
// edge follow after all vertices, by the lower of the edge's two half-edge
// numbers (3·face + corner), so that both its faces mean the same ones.
type visit struct {
	at      r3.Vec
	cost    float64 // length of the way from the start
	toGo    float64 // straight distance to the goal
	node    uint32
	back    int32  // the visit before, -1 for none
	via     uint32 // the face crossed from there
	settled bool
}

// search is A* with the straight distance to the goal as what is still to go.
// Only places that are reached take memory.
type search struct {
	surface
	from, goal r3.Vec
	visits     []visit
	slots      []int32 // open addressing by node: 1 + place in visits
	open       []ranked
}

// ranked is an entry of the queue; a visit that was improved stands there
// more than once, and only the first time counts.
type ranked struct {
	rank float64
	at   int32
}

func newSearch(m *mesh.Mesh, topo *mesh.Topology, from, goal r3.Vec) *search {
	return &search{surface: surface{m, topo}, from: from, goal: goal, slots: make([]int32, 1024)}
}

// run searches from one face to another and returns the last visit before the
// goal, -1 if there is no way.
func (s *search) run(ctx context.Context, start, end uint32) int32 {
	s.reachAll(-1, start, s.from, 0)
	goals := map[uint32]bool{}
	s.boundary(end, func(node uint32, _ r3.Vec) { goals[node] = true })
	best, total := int32(-1), math.Inf(1)
	for n := 1; len(s.open) > 0; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			break
		}
		top := s.pop()
		if top.rank >= total {
			break
		}
		v := &s.visits[top.at]
		if v.settled {
			continue
		}
		v.settled = true
		if goals[v.node] {
			if c := v.cost + v.toGo; c < total {
				best, total = top.at, c
			}
		}
		s.leave(top.at)
	}
	return best
}

// leave reaches what lies across one face from a settled visit.
func (s *search) leave(i int32) {
	v := s.visits[i]
	vertices := uint32(s.topo.VertexCount())
	if v.node >= vertices {
		// A straight way into an edge goes on into the face behind it.
		half := (v.node - vertices) / steiner
		f := half / 3
		if v.via != f {
			s.reachAll(i, f, v.at, v.cost)
		} else if g, _, ok := s.across(f, int(half%3)); ok {
			s.reachAll(i, g, v.at, v.cost)
		}
		return
	}
	for _, f := range s.topo.FacesOf(v.node) {
		k := s.cornerOf(f, v.node)
		s.reachEdge(i, f, (k+1)%3, v.at, v.cost)
		for j := range 2 {
			c := (k + 1 + j) % 3
			p := s.corner(f, c)
			s.reach(i, f, s.corners(f)[c], p, v.cost+apart(p, v.at))
		}
	}
}

// reachAll reaches the whole boundary of face f from a place in it.
func (s *search) reachAll(back int32, f uint32, at r3.Vec, cost float64) {
	s.boundary(f, func(node uint32, p r3.Vec) { s.reach(back, f, node, p, cost+apart(p, at)) })
}

// reachEdge reaches the points on edge k of face f.
func (s *search) reachEdge(back int32, f uint32, k int, at r3.Vec, cost float64) {
	s.edge(f, k, func(node uint32, p r3.Vec) { s.reach(back, f, node, p, cost+apart(p, at)) })
}

// boundary lists the places on the boundary of face f. A face that takes no
// part in the topology has its corners only.
func (s *search) boundary(f uint32, each func(node uint32, at r3.Vec)) {
	c := s.corners(f)
	for k := range 3 {
		each(c[k], s.corner(f, k))
		if s.topo.Component[f] >= 0 {
			s.edge(f, k, each)
		}
	}
}

// edge lists the points between the ends of edge k of face f.
func (s *search) edge(f uint32, k int, each func(node uint32, at r3.Vec)) {
	if g, j, ok := s.across(f, k); ok && 3*g+uint32(j) < 3*f+uint32(k) {
		f, k = g, j
	}
	first := uint32(s.topo.VertexCount()) + (3*f+uint32(k))*steiner
	p, q := s.corner(f, k), s.corner(f, (k+1)%3)
	for i := range uint32(steiner) {
		t := float64(i+1) / (steiner + 1)
		each(first+i, r3.Add(r3.Scale(1-t, p), r3.Scale(t, q)))
	}
}

// reach tells a place of a way to it.
func (s *search) reach(back int32, via, node uint32, at r3.Vec, cost float64) {
	slot := s.slot(node)
	i := s.slots[slot] - 1
	switch {
	case i < 0:
		i = int32(len(s.visits))
		s.slots[slot] = i + 1
		s.visits = append(s.visits, visit{at: at, cost: cost, toGo: apart(s.goal, at), node: node, back: back, via: via})
		if 2*len(s.visits) > len(s.slots) {
			s.grow()
		}
	case !s.visits[i].settled && cost < s.visits[i].cost:
		v := &s.visits[i]
		v.cost, v.back, v.via = cost, back, via
	default:
		return
	}
	s.push(ranked{cost + s.visits[i].toGo, i})
}

// apart is the distance of two points. Unlike r3.Norm it takes no care of
// numbers near the ends of the range, which coordinates are not.
func apart(p, q r3.Vec) float64 { return math.Sqrt(r3.Norm2(r3.Sub(p, q))) }

// slot finds where a node stands or may stand.
func (s *search) slot(node uint32) uint32 {
	mask := uint32(len(s.slots) - 1)
	h := node * 0x9E3779B1
	h = (h ^ h>>15) & mask
	for s.slots[h] != 0 && s.visits[s.slots[h]-1].node != node {
		h = (h + 1) & mask
	}
	return h
}

func (s *search) grow() {
	s.slots = make([]int32, 2*len(s.slots))
	for i := range s.visits {
		s.slots[s.slot(s.visits[i].node)] = int32(i) + 1
	}
}

// before orders the queue; visits of one rank come in the order in which they
// were first reached, so that the way does not depend on chance.
func (a ranked) before(b ranked) bool { return a.rank < b.rank || (a.rank == b.rank && a.at < b.at) }

// push and pop keep the queue as a heap of four children a node.
func (s *search) push(r ranked) {
	i := len(s.open)
	s.open = append(s.open, r)
	for i > 0 {
		up := (i - 1) / 4
		if !r.before(s.open[up]) {
			break
		}
		s.open[i] = s.open[up]
		i = up
	}
	s.open[i] = r
}

func (s *search) pop() ranked {
	top := s.open[0]
	n := len(s.open) - 1
	r := s.open[n]
	s.open = s.open[:n]
	for i := 0; n > 0; {
		best := i
		s.open[i] = r
		for c := 4*i + 1; c <= min(4*i+4, n-1); c++ {
			if s.open[c].before(s.open[best]) {
				best = c
			}
		}
		if best == i {
			break
		}
		s.open[i] = s.open[best]
		i = best
	}
	return top
}
