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
// node, eight faces a leaf, each bounded by a sphere, which is cheap to test,
// and by a box, which is tight. It takes about 100 bytes a face beside the
// mesh, which it keeps.
//
// Bounds and a first triangle test are float32, in the mesh's coordinates
// about its Origin times a power of two, so that a scan in metres and one in
// micrometres round alike. They only sift: whatever may be closest is measured
// in float64 on the mesh's own corners.
type Tree struct {
	m       *mesh.Mesh
	scale   float64 // power of two: tree = (mesh - Origin) · scale
	largest float32 // no coordinate of the tree is larger
	offset  float64 // largest coordinate of the mesh's Origin
	box     box     // round everything
	root    uint32  // a node or, with isLeaf, a leaf

	spheres []spheres // per node, with its children
	boxes   []boxes   // per node
	leaves  []leaf
}

// spheres are the bounding spheres of the eight children of a node, or of the
// eight faces of a leaf, component by component.
type spheres struct {
	x, y, z, r [width]float32
	child      [width]uint32 // node, leaf | isLeaf, or face
}

// boxes are the bounding boxes of the same children.
type boxes struct {
	lowX, highX, lowY, highY, lowZ, highZ [width]float32
}

type leaf struct {
	spheres // child is the face id
	boxes
	faces [width]sifted
}

// sifted is a triangle ready for the float32 test: a corner, the two edges
// from it and their products. The corner is the one with the largest angle,
// where rounding does least. For a triangle too flat for float32 uu is
// negative.
type sifted struct {
	a, u, v    [3]float32
	uu, uv, vv float32
}

// box is a box in tree coordinates.
type box struct{ low, high [3]float32 }

// far is where empty slots stand: no bound ever reaches there.
const far = 1e18

func (s *spheres) set(k int, x, y, z, r float32, child uint32) {
	s.x[k], s.y[k], s.z[k], s.r[k], s.child[k] = x, y, z, r, child
}

func (b *boxes) set(k int, c box) {
	b.lowX[k], b.lowY[k], b.lowZ[k] = c.low[0], c.low[1], c.low[2]
	b.highX[k], b.highY[k], b.highZ[k] = c.high[0], c.high[1], c.high[2]
}

// clear makes slot k empty.
func (s *spheres) clear(k int, b *boxes) {
	s.set(k, far, far, far, 0, nowhere)
	b.set(k, box{[3]float32{far, far, far}, [3]float32{far, far, far}})
}

// nothing is the box that any point makes larger.
func nothing() box {
	inf := float32(math.Inf(1))
	return box{[3]float32{inf, inf, inf}, [3]float32{-inf, -inf, -inf}}
}

func (b *box) add(c box) {
	for k := range 3 {
		b.low[k] = min(b.low[k], c.low[k])
		b.high[k] = max(b.high[k], c.high[k])
	}
}

// inTree gives p in tree coordinates.
func (t *Tree) inTree(p r3.Vec) r3.Vec { return r3.Scale(t.scale, r3.Sub(p, t.m.Origin)) }

// corner gives stored vertex v in tree coordinates, without rounding.
func (t *Tree) corner(v uint32) [3]float32 {
	p := t.m.Positions[3*v : 3*v+3 : 3*v+3]
	s := float32(t.scale)
	return [3]float32{p[0] * s, p[1] * s, p[2] * s}
}
