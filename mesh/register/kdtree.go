package register

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// kdTree finds the patch nearest to a point among those that look the same
// way. It is only read once made.
type kdTree struct {
	nodes []kdNode
	// Patches in the order of the leaves.
	points, normals []r3.Vec
	patch           []uint32
}

// kdNode is a box cut at `at` along an axis, its low part next to it and its
// high part at `high`; or a leaf (axis 3) of the patches from … to.
type kdNode struct {
	at       float64
	axis     uint8
	high     uint32
	from, to uint32
}

const kdLeaf = 8

func newKDTree(points, normals []r3.Vec) *kdTree {
	t := &kdTree{
		points:  make([]r3.Vec, len(points)),
		normals: make([]r3.Vec, len(points)),
		patch:   make([]uint32, len(points)),
	}
	for i := range t.patch {
		t.patch[i] = uint32(i)
	}
	if len(points) > 0 {
		t.split(points, 0, uint32(len(points)))
	}
	for i, p := range t.patch {
		t.points[i], t.normals[i] = points[p], normals[p]
	}
	return t
}

func (t *kdTree) split(points []r3.Vec, from, to uint32) {
	if to-from <= kdLeaf {
		t.nodes = append(t.nodes, kdNode{axis: 3, from: from, to: to})
		return
	}
	inf := math.Inf(1)
	low, high := [3]float64{inf, inf, inf}, [3]float64{-inf, -inf, -inf}
	for _, i := range t.patch[from:to] {
		for k := range 3 {
			x := along(points[i], k)
			low[k], high[k] = min(low[k], x), max(high[k], x)
		}
	}
	axis := 0
	for k := 1; k < 3; k++ {
		if high[k]-low[k] > high[axis]-low[axis] {
			axis = k
		}
	}
	middle := from + (to-from)/2
	// Equal coordinates by patch number, so that the order is one.
	mesh.SelectNth(t.patch[from:to], int(middle-from), func(i, j uint32) bool {
		x, y := along(points[i], axis), along(points[j], axis)
		return x < y || (x == y && i < j)
	})
	at := len(t.nodes)
	t.nodes = append(t.nodes, kdNode{axis: uint8(axis), at: along(points[t.patch[middle]], axis)})
	t.split(points, from, middle)
	t.nodes[at].high = uint32(len(t.nodes))
	t.split(points, middle, to)
}

func along(p r3.Vec, axis int) float64 {
	switch axis {
	case 0:
		return p.X
	case 1:
		return p.Y
	}
	return p.Z
}

// nearest returns the patch closest to p, no farther than the square root of
// within2, whose normal makes a cosine above `compatible` with n. seed is a
// place in the tree (not a patch) to try first, such as the last answer, or
// noPatch. It returns the place of the answer.
func (t *kdTree) nearest(p, n r3.Vec, within2 float64, seed uint32) (place uint32, d2 float64) {
	place, d2 = noPatch, within2
	if len(t.nodes) == 0 {
		return place, d2
	}
	try := func(i uint32) {
		if d := r3.Norm2(r3.Sub(p, t.points[i])); d < d2 && r3.Dot(n, t.normals[i]) > compatible {
			place, d2 = i, d
		}
	}
	if seed != noPatch {
		try(seed)
	}
	type open struct {
		node uint32
		d2   float64
	}
	var stack [64]open
	depth := 1
	for depth > 0 {
		depth--
		top := stack[depth]
		if top.d2 >= d2 {
			continue
		}
		at := top.node
		for t.nodes[at].axis < 3 {
			n := &t.nodes[at]
			off := along(p, int(n.axis)) - n.at
			near, far := at+1, n.high
			if off >= 0 {
				near, far = far, near
			}
			if off*off < d2 {
				stack[depth] = open{far, off * off}
				depth++
			}
			at = near
		}
		for i := t.nodes[at].from; i < t.nodes[at].to; i++ {
			try(i)
		}
	}
	return place, d2
}
