package bvh

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// rounding is more than the relative error of a float32 coordinate
	// difference, that of a leaf's steps and the arithmetic done with them.
	rounding = 1e-6
	// wider makes squared float32 bounds safe for the rounding of comparing
	// them.
	wider = 1 + 1e-6
	// rounding64 is the same as rounding for float64 coordinates.
	rounding64 = 1e-15
	// farthest is the largest tree coordinate of a query that the tree can
	// answer; beyond it all faces are tried.
	farthest = 1e12
	// stackSize holds the open subtrees of the deepest tree there can be:
	// seven siblings on each of at most twelve levels, and eight.
	stackSize = 128
	// heldFaces is the number of faces whose exact distance is put off until
	// the search is over.
	heldFaces = 8
)

// waiting is a subtree still to be searched and its squared distance.
type waiting struct {
	d2    float32
	child uint32
}

// held is a face that may be the closest and the least that its squared
// distance may be.
type held struct {
	least float64
	face  uint32
}

// search is the state of one closest-point query. It may be used for query
// after query, which saves clearing the stack.
type search struct {
	t     *Tree
	p     r3.Vec // mesh frame
	q     r3.Vec // about the mesh's Origin
	at    probe  // tree frame; no face farther than its bound is looked for
	slack float32
	fuzz  float64 // what rounding of the place may add to a squared distance, mesh unit
	limit float64 // the squared distance asked for is no more than this, mesh unit
	first uint32  // a face looked at before the tree
	best  onTriangle
	face  uint32
	count int
	held  [heldFaces]held
	stack [stackSize]waiting
	d2    [width]float32
}

// start prepares a query within a distance in mesh units (none if not
// positive) and says whether the tree can answer it.
func (s *search) start(p r3.Vec, within float64) bool {
	t := s.t
	s.p, s.q = p, r3.Sub(p, t.m.Origin)
	s.first, s.face, s.count = None, None, 0
	s.best.d2 = math.Inf(1)
	if within > 0 {
		s.best.d2 = within * within
	}
	s.limit = s.best.d2
	reach := max(math.Abs(s.q.X), math.Abs(s.q.Y), math.Abs(s.q.Z))
	if !(reach*t.scale < farthest) {
		return false
	}
	s.at.x, s.at.y, s.at.z = float32(s.q.X*t.scale), float32(s.q.Y*t.scale), float32(s.q.Z*t.scale)
	// The mesh's frame and that about its Origin round differently, by the size
	// of the coordinates in the mesh's frame.
	place := max(math.Abs(p.X), math.Abs(p.Y), math.Abs(p.Z), t.offset)
	e := rounding64 * (float64(t.largest)/t.scale + place)
	s.fuzz = e * e / placeDoubt
	whole := t.largest + float32(reach*t.scale)
	s.slack = rounding*whole + float32(e*t.scale)
	if math.IsInf(s.limit, 1) {
		// Any face is nearer than this.
		s.at.bound2 = 16 * whole * whole * wider
	} else {
		s.tighten()
	}
	return true
}

// tighten sets the tree's bound from the limit.
func (s *search) tighten() {
	bound := min(float32(math.Sqrt(s.limit)*s.t.scale), 4*farthest)*wider + s.slack
	s.at.bound2 = bound * bound
}

// try measures face f in float64 and keeps it if it is the closest, or as
// close and lower.
func (s *search) try(f uint32) {
	a, b, c := s.t.m.Corners(f)
	on := closestOnTriangle(s.p, a, b, c)
	if on.d2 < s.best.d2 || (on.d2 == s.best.d2 && f < s.face) {
		s.best, s.face = on, f
	}
}

// consider measures face f quickly and holds it if it may be the closest.
func (s *search) consider(f uint32) {
	d2, doubt, ok := s.t.sift(f, &s.q)
	if !ok {
		s.try(f)
		if s.best.d2 < s.limit {
			s.limit = s.best.d2
			s.tighten()
		}
		return
	}
	doubt += s.fuzz
	if d2-doubt > s.limit {
		return
	}
	if s.count == heldFaces {
		s.settle()
	}
	s.held[s.count] = held{d2 - doubt, f}
	s.count++
	if d2+doubt < s.limit {
		s.limit = d2 + doubt
		s.tighten()
	}
}

// settle measures the faces that are held and may still be the closest.
func (s *search) settle() {
	for _, h := range s.held[:s.count] {
		if h.least <= s.limit {
			s.try(h.face)
			s.limit = min(s.limit, s.best.d2)
		}
	}
	s.count = 0
}

// run searches the tree.
func (s *search) run() {
	t := s.t
	if t.root == nowhere {
		return
	}
	s.stack[0] = waiting{0, t.root}
	top := 1
	for top > 0 {
		top--
		w := s.stack[top&(stackSize-1)]
		if w.d2 > s.at.bound2 {
			continue
		}
		if w.child&isLeaf != 0 {
			s.leaf(&t.leaves[w.child&^isLeaf])
			continue
		}
		n := &t.nodes[w.child]
		base := top
		for set := n.near(&s.at, &s.d2); set != 0; set &= set - 1 {
			k := bits.TrailingZeros8(uint8(set)) & (width - 1)
			d2, child := s.d2[k], n.child[k]
			if child == nowhere {
				continue
			}
			// The nearest goes on top.
			j := top
			for j > base && s.stack[(j-1)&(stackSize-1)].d2 < d2 {
				s.stack[j&(stackSize-1)] = s.stack[(j-1)&(stackSize-1)]
				j--
			}
			s.stack[j&(stackSize-1)] = waiting{d2, child}
			top++
		}
	}
}

// leaf considers the faces of a leaf that may be close enough, that of the
// nearest box first.
func (s *search) leaf(l *eight) {
	set := l.near(&s.at, &s.d2)
	if set == 0 {
		return
	}
	nearest, d2 := 0, float32(math.Inf(1))
	for rest := set; rest != 0; rest &= rest - 1 {
		k := bits.TrailingZeros8(uint8(rest)) & (width - 1)
		if s.d2[k] < d2 {
			nearest, d2 = k, s.d2[k]
		}
	}
	s.look(l, nearest)
	for set &^= 1 << nearest; set != 0; set &= set - 1 {
		if k := bits.TrailingZeros8(uint8(set)) & (width - 1); s.d2[k] <= s.at.bound2 {
			s.look(l, k)
		}
	}
}

func (s *search) look(l *eight, k int) {
	if f := l.child[k]; f != s.first && f != nowhere {
		s.consider(f)
	}
}

// all tries every face, for places too far away for the tree's arithmetic.
func (s *search) all() {
	if math.IsNaN(s.p.X + s.p.Y + s.p.Z) {
		return
	}
	for i := range s.t.leaves {
		for _, f := range s.t.leaves[i].child {
			if f != nowhere {
				s.try(f)
			}
		}
	}
}

func (s *search) hit() Hit {
	if s.face == None {
		return Hit{Face: None}
	}
	b := &s.best
	return Hit{s.face, b.point, b.weights, math.Sqrt(b.d2), b.feature, b.corner}
}

// Closest returns the closest point of the mesh to p, if there is one no
// farther than within (within <= 0: at any distance).
func (t *Tree) Closest(p r3.Vec, within float64) (Hit, bool) {
	s := search{t: t}
	s.ask(p, within, None)
	return s.hit(), s.face != None
}

// ask answers one query, trying the face `first` before the others: a good
// guess, such as the answer for a place nearby, saves work and changes no
// answer.
func (s *search) ask(p r3.Vec, within float64, first uint32) {
	if !s.start(p, within) {
		s.all()
		return
	}
	if first != None {
		s.consider(first)
		s.first = first
	}
	s.run()
	s.settle()
}
