package bvh

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// rounding is more than the relative error of a float32 coordinate
	// difference and the arithmetic done with it.
	rounding = 4e-7
	// wider makes squared float32 bounds safe for the rounding of comparing
	// them.
	wider = 1 + 1e-6
	// siftWider and siftFloor allow for the error e = 1e-6·l of a float32
	// triangle test at a place l from the triangle's corner: from
	// (d+e)² ≤ d²(1+k) + e²(1+1/k) with k = 1e-5.
	siftWider, siftFloor = 1 + 1e-5, 1e-7
	// rounding64 is the same as rounding for float64 coordinates.
	rounding64 = 1e-15
	// farthest is the largest tree coordinate of a query that the tree can
	// answer; beyond it all faces are tried.
	farthest = 1e12
	// stackSize holds the open subtrees of the deepest tree there can be:
	// seven siblings on each of at most twelve levels, and eight.
	stackSize = 128
)

// waiting is a subtree still to be searched and its squared distance.
type waiting struct {
	d2    float32
	child uint32
}

// search is the state of one closest-point query. It may be used for query
// after query, which saves clearing the stack.
type search struct {
	t     *Tree
	p     r3.Vec // mesh frame
	q     r3.Vec // tree frame
	x     [3]float32
	slack float32 // rounding of coordinates, tree units
	fuzz  float32 // what float64 rounding of the place may add to a sifted d²
	bound float32 // no face farther than this is looked for, tree units, slack included
	sieve float32 // squared distance above which the float32 test drops a face
	best  onTriangle
	face  uint32
	stack [stackSize]waiting
}

// start prepares a query within a distance in mesh units (none if not
// positive) and says whether the tree can answer it.
func (s *search) start(p r3.Vec, within float64) bool {
	t := s.t
	s.p, s.q = p, t.inTree(p)
	s.x = [3]float32{float32(s.q.X), float32(s.q.Y), float32(s.q.Z)}
	s.face = None
	s.best = onTriangle{d2: math.Inf(1)}
	if within > 0 {
		s.best.d2 = within * within
	}
	reach := max(math.Abs(s.q.X), math.Abs(s.q.Y), math.Abs(s.q.Z))
	if !(reach < farthest) {
		return false
	}
	// Mesh and tree frame round differently, by the size of the coordinates in
	// the mesh's frame.
	place := max(math.Abs(p.X), math.Abs(p.Y), math.Abs(p.Z), t.offset)
	e := rounding64 * (float64(t.largest) + place*t.scale)
	s.slack = rounding*(t.largest+float32(reach)) + float32(e)
	s.fuzz = float32(e * e / (siftWider - 1))
	s.tighten()
	// Any face is nearer than this; empty slots are not.
	if most := 4 * (t.largest + float32(reach)) * wider; s.bound > most {
		s.bound, s.sieve = most, math.MaxFloat32
	}
	return true
}

// tighten sets the bounds from the best distance so far.
func (s *search) tighten() {
	scale := s.t.scale
	s.bound = float32(math.Sqrt(s.best.d2)*scale)*wider + s.slack
	s.sieve = float32(s.best.d2*scale*scale*siftWider) + s.fuzz
}

// try measures face f in float64 and keeps it if it is the closest, or as
// close and lower.
func (s *search) try(f uint32) bool {
	a, b, c := s.t.m.Corners(f)
	on := closestOnTriangle(s.p, a, b, c)
	if on.d2 < s.best.d2 || (on.d2 == s.best.d2 && f < s.face) {
		s.best, s.face = on, f
		return true
	}
	return false
}

// run searches the tree.
func (s *search) run() {
	t := s.t
	if t.root == nowhere {
		return
	}
	x, y, z := s.x[0], s.x[1], s.x[2]
	bound := s.bound
	bound2 := bound * bound
	s.stack[0] = waiting{0, t.root}
	top := 1
	for top > 0 {
		top--
		w := s.stack[top&(stackSize-1)]
		if w.d2 > bound2 {
			continue
		}
		if w.child&isLeaf != 0 {
			s.leaf(&t.leaves[w.child&^isLeaf])
			bound = s.bound
			bound2 = bound * bound
			continue
		}
		n := &t.spheres[w.child]
		inside := n.within(x, y, z, bound)
		if inside == 0 {
			continue
		}
		b := &t.boxes[w.child]
		base := top
		for ; inside != 0; inside &= inside - 1 {
			k := bits.TrailingZeros8(uint8(inside)) & (width - 1)
			d2 := b.distance2(k, x, y, z)
			if d2 > bound2 {
				continue
			}
			// The nearest goes on top.
			j := top
			for j > base && s.stack[(j-1)&(stackSize-1)].d2 < d2 {
				s.stack[j&(stackSize-1)] = s.stack[(j-1)&(stackSize-1)]
				j--
			}
			s.stack[j&(stackSize-1)] = waiting{d2, n.child[k]}
			top++
		}
	}
}

// leaf tries the faces of a leaf that may be close enough, nearest box first.
func (s *search) leaf(l *leaf) {
	x, y, z := s.x[0], s.x[1], s.x[2]
	inside := l.within(x, y, z, s.bound)
	if inside == 0 {
		return
	}
	bound2 := s.bound * s.bound
	var order [width]waiting
	count := 0
	for ; inside != 0; inside &= inside - 1 {
		k := bits.TrailingZeros8(uint8(inside)) & (width - 1)
		d2 := l.boxes.distance2(k, x, y, z)
		if d2 > bound2 {
			continue
		}
		j := count
		for j > 0 && order[(j-1)&(width-1)].d2 > d2 {
			order[j&(width-1)] = order[(j-1)&(width-1)]
			j--
		}
		order[j&(width-1)] = waiting{d2, uint32(k)}
		count++
	}
	for _, w := range order[:count] {
		if w.d2 > bound2 {
			return
		}
		k := w.child & (width - 1)
		if l.child[k] == s.face {
			continue // the first guess, measured already
		}
		g := &l.faces[k]
		if g.uu >= 0 {
			// Place and corner are subtracted in float64, so that only the
			// small difference is rounded.
			ax := float32(s.q.X - float64(g.a[0]))
			ay := float32(s.q.Y - float64(g.a[1]))
			az := float32(s.q.Z - float64(g.a[2]))
			if g.distance2(ax, ay, az) > s.sieve+siftFloor*(ax*ax+ay*ay+az*az) {
				continue
			}
		}
		if s.try(l.child[k]) {
			s.tighten()
			bound2 = s.bound * s.bound
		}
	}
}

// within is the set of spheres that come nearer to x y z than bound, a bit
// each. It takes no branches: the sign of a difference is the bit.
func (s *spheres) within(x, y, z, bound float32) uint32 {
	return s.bit(0, x, y, z, bound) | s.bit(1, x, y, z, bound)<<1 | s.bit(2, x, y, z, bound)<<2 | s.bit(3, x, y, z, bound)<<3 |
		s.bit(4, x, y, z, bound)<<4 | s.bit(5, x, y, z, bound)<<5 | s.bit(6, x, y, z, bound)<<6 | s.bit(7, x, y, z, bound)<<7
}

func (s *spheres) bit(k int, x, y, z, bound float32) uint32 {
	dx, dy, dz, r := s.x[k]-x, s.y[k]-y, s.z[k]-z, s.r[k]+bound
	return math.Float32bits(dx*dx+dy*dy+dz*dz-r*r) >> 31
}

// distance2 is the squared distance from x y z to box k.
func (b *boxes) distance2(k int, x, y, z float32) float32 {
	dx := max(b.lowX[k]-x, x-b.highX[k], 0)
	dy := max(b.lowY[k]-y, y-b.highY[k], 0)
	dz := max(b.lowZ[k]-z, z-b.highZ[k], 0)
	return dx*dx + dy*dy + dz*dz
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
	if first != None && s.try(first) {
		s.tighten()
	}
	s.run()
}
