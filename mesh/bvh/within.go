package bvh

import (
	"math/bits"

	"gonum.org/v1/gonum/spatial/r3"
)

// Within visits every face that comes no farther from p than radius, each
// once, in an order that depends only on the mesh and p.
func (t *Tree) Within(p r3.Vec, radius float64, visit func(face uint32)) {
	if !(radius >= 0) || t.root == nowhere {
		return
	}
	s := search{t: t}
	if !s.start(p, radius) {
		return
	}
	s.limit = radius * radius
	s.tighten()
	s.stack[0] = waiting{0, t.root}
	for top := 1; top > 0; {
		top--
		child := s.stack[top&(stackSize-1)].child
		if child&isLeaf == 0 {
			n := &t.nodes[child]
			for set := n.near(&s.at, &s.d2); set != 0; set &= set - 1 {
				k := bits.TrailingZeros8(uint8(set)) & (width - 1)
				if n.child[k] != nowhere {
					s.stack[top&(stackSize-1)].child = n.child[k]
					top++
				}
			}
			continue
		}
		l := &t.leaves[child&^isLeaf]
		for set := l.near(&s.at, &s.d2); set != 0; set &= set - 1 {
			f := l.child[bits.TrailingZeros8(uint8(set))&(width-1)]
			if f == nowhere {
				continue
			}
			if d2, doubt, ok := t.sift(f, &s.q); ok {
				doubt += s.fuzz
				if d2 > s.limit+doubt {
					continue
				}
				if d2 < s.limit-doubt {
					visit(f)
					continue
				}
			}
			a, b, c := t.m.Corners(f)
			if closestOnTriangle(p, a, b, c).d2 <= s.limit {
				visit(f)
			}
		}
	}
}
