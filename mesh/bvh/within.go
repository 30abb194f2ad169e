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
	s.best.d2 = radius * radius
	s.tighten()
	// A face nearer than this by the float32 test needs no better one.
	surely := (s.sieve-s.fuzz)/(siftWider*siftWider) - s.fuzz
	x, y, z := s.x[0], s.x[1], s.x[2]
	bound2 := s.bound * s.bound
	s.stack[0] = waiting{0, t.root}
	for top := 1; top > 0; {
		top--
		child := s.stack[top&(stackSize-1)].child
		if child&isLeaf == 0 {
			n, b := &t.spheres[child], &t.boxes[child]
			for inside := n.within(x, y, z, s.bound); inside != 0; inside &= inside - 1 {
				k := bits.TrailingZeros8(uint8(inside)) & (width - 1)
				if b.distance2(k, x, y, z) <= bound2 {
					s.stack[top&(stackSize-1)].child = n.child[k]
					top++
				}
			}
			continue
		}
		l := &t.leaves[child&^isLeaf]
		for inside := l.within(x, y, z, s.bound); inside != 0; inside &= inside - 1 {
			k := bits.TrailingZeros8(uint8(inside)) & (width - 1)
			if g := &l.faces[k]; g.uu >= 0 {
				ax := float32(s.q.X - float64(g.a[0]))
				ay := float32(s.q.Y - float64(g.a[1]))
				az := float32(s.q.Z - float64(g.a[2]))
				d2, doubt := g.distance2(ax, ay, az), siftFloor*(ax*ax+ay*ay+az*az)
				if d2 > s.sieve+doubt {
					continue
				}
				if d2 < surely-doubt {
					visit(l.child[k])
					continue
				}
			}
			f := l.child[k]
			p0, p1, p2 := t.m.Corners(f)
			if closestOnTriangle(p, p0, p1, p2).d2 <= radius*radius {
				visit(f)
			}
		}
	}
}
