package bvh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// width is the number of children of a node and of faces in a leaf.
const width = 8

// isLeaf marks a child that is a leaf instead of a node.
const isLeaf = 1 << 31

// nowhere is the child number of an empty slot.
const nowhere = ^uint32(0)

// Tree is a bounding volume tree over the faces of one mesh: eight children a
// node, eight faces a leaf. Boxes take one byte a side, in steps of a 255th of
// the box round all eight, and the faces stay where they are, in the mesh, which
// the tree keeps: it takes about 15 bytes a face beside it.
//
// Boxes are float32, in the mesh's coordinates about its Origin times a power
// of two, so that a scan in metres and one in micrometres round alike. They
// only sift: whatever may be closest is measured in float64 on the mesh's own
// corners.
type Tree struct {
	m       *mesh.Mesh
	scale   float64 // power of two: tree = (mesh - Origin) · scale
	largest float32 // no coordinate of the tree is larger
	offset  float64 // largest coordinate of the mesh's Origin
	box     box     // round everything
	root    uint32  // a node or, with isLeaf, a leaf

	nodes  []eight // children are nodes, or leaf | isLeaf
	leaves []eight // children are faces
}

// eight holds the boxes of eight children in steps from base, rounded outwards.
type eight struct {
	base, step                            [3]float32
	lowX, highX, lowY, highY, lowZ, highZ [width]uint8
	child                                 [width]uint32 // nowhere for none
}

// box is a box in tree coordinates.
type box struct{ low, high [3]float32 }

// fill puts the children with the given boxes, at most eight, and returns the
// box round them.
func (n *eight) fill(boxes []box, children *[width]uint32) box {
	round := nothing()
	for k := range boxes {
		round.add(&boxes[k])
	}
	for i := range 3 {
		n.base[i], n.step[i] = round.low[i], (round.high[i]-round.low[i])/steps
	}
	n.child = *children
	for k := range boxes {
		c := &boxes[k]
		var low, high [3]uint8
		for i := range 3 {
			if n.step[i] > 0 {
				// A byte less or more than the exact quotient is no harm:
				// queries allow for the rounding of coordinates.
				low[i] = uint8((c.low[i] - round.low[i]) / n.step[i])
				high[i] = uint8(min((c.high[i]-round.low[i])/n.step[i]+1, steps))
			}
		}
		n.lowX[k], n.lowY[k], n.lowZ[k] = low[0], low[1], low[2]
		n.highX[k], n.highY[k], n.highZ[k] = high[0], high[1], high[2]
	}
	for k := len(boxes); k < width; k++ {
		n.child[k] = nowhere
	}
	return round
}

// steps is the number of steps across the box round all eight.
const steps = 255

// nothing is the box that any point makes larger.
func nothing() box {
	inf := float32(math.Inf(1))
	return box{[3]float32{inf, inf, inf}, [3]float32{-inf, -inf, -inf}}
}

func (b *box) add(c *box) {
	for k := range 3 {
		b.low[k] = min(b.low[k], c.low[k])
		b.high[k] = max(b.high[k], c.high[k])
	}
}

// inTree gives p in tree coordinates.
func (t *Tree) inTree(p r3.Vec) r3.Vec { return r3.Scale(t.scale, r3.Sub(p, t.m.Origin)) }

// faceBox is the box round a face in the mesh's coordinates about its Origin
// times the given power of two, without rounding.
func faceBox(m *mesh.Mesh, f uint32, scale float32) (c box) {
	v := m.Triangles[3*f : 3*f+3 : 3*f+3]
	p := m.Positions[3*v[0] : 3*v[0]+3 : 3*v[0]+3]
	q := m.Positions[3*v[1] : 3*v[1]+3 : 3*v[1]+3]
	r := m.Positions[3*v[2] : 3*v[2]+3 : 3*v[2]+3]
	for k := range 3 {
		c.low[k] = min(p[k], q[k], r[k]) * scale
		c.high[k] = max(p[k], q[k], r[k]) * scale
	}
	return c
}
