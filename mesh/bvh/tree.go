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
// node, eight faces a leaf. The boxes of a leaf's faces take one byte a side,
// in steps of a 255th of the leaf's own box, and the faces stay where they are,
// in the mesh, which the tree keeps: it takes about 17 bytes a face beside it.
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

	nodes  []node
	leaves []leaf
}

// node holds the boxes of eight children, side by side.
type node struct {
	lowX, highX, lowY, highY, lowZ, highZ [width]float32
	child                                 [width]uint32 // node, or leaf | isLeaf
}

// leaf holds eight faces and their boxes in steps from base, rounded outwards.
type leaf struct {
	base, step                            [3]float32
	lowX, highX, lowY, highY, lowZ, highZ [width]uint8
	face                                  [width]uint32
}

// box is a box in tree coordinates.
type box struct{ low, high [3]float32 }

// far is where empty slots stand: no bound ever reaches there.
const far = 1e18

func (n *node) set(k int, c *box, child uint32) {
	n.lowX[k], n.lowY[k], n.lowZ[k] = c.low[0], c.low[1], c.low[2]
	n.highX[k], n.highY[k], n.highZ[k] = c.high[0], c.high[1], c.high[2]
	n.child[k] = child
}

// clear makes slot k empty.
func (n *node) clear(k int) {
	n.set(k, &box{[3]float32{far, far, far}, [3]float32{far, far, far}}, nowhere)
}

// set puts the box of face f in slot k; round is the box from base on.
func (l *leaf) set(k int, c, round *box, f uint32) {
	l.face[k] = f
	var low, high [3]uint8
	for i := range 3 {
		if l.step[i] > 0 {
			// A byte less or more than the exact quotient is no harm: queries
			// allow for the rounding of coordinates.
			low[i] = uint8((c.low[i] - round.low[i]) / l.step[i])
			high[i] = uint8(min((c.high[i]-round.low[i])/l.step[i]+1, steps))
		}
	}
	l.lowX[k], l.lowY[k], l.lowZ[k] = low[0], low[1], low[2]
	l.highX[k], l.highY[k], l.highZ[k] = high[0], high[1], high[2]
}

// steps is the number of steps across a leaf.
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
