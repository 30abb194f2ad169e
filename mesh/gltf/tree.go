package gltf

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// affine is a map of points, the upper three rows of a 4×4 row-major matrix.
type affine [12]float64

var identity = affine{1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0}

// then returns the map that does b first and a second: a·b.
func (a affine) times(b affine) affine {
	var out affine
	for i := range 3 {
		for j := range 4 {
			s := a[4*i]*b[j] + a[4*i+1]*b[4+j] + a[4*i+2]*b[8+j]
			if j == 3 {
				s += a[4*i+3]
			}
			out[4*i+j] = s
		}
	}
	return out
}

// apply maps a point.
func (a *affine) apply(x, y, z float64) r3.Vec {
	return r3.Vec{
		X: a[0]*x + a[1]*y + a[2]*z + a[3],
		Y: a[4]*x + a[5]*y + a[6]*z + a[7],
		Z: a[8]*x + a[9]*y + a[10]*z + a[11],
	}
}

// det is the determinant of the linear part: negative where the map mirrors.
func (a *affine) det() float64 {
	return a[0]*(a[5]*a[10]-a[6]*a[9]) - a[1]*(a[4]*a[10]-a[6]*a[8]) + a[2]*(a[4]*a[9]-a[5]*a[8])
}

// cofactors is the matrix by which normals turn: the inverse transpose times
// the determinant, which needs no division.
func (a *affine) cofactors() [9]float64 {
	return [9]float64{
		a[5]*a[10] - a[6]*a[9], a[6]*a[8] - a[4]*a[10], a[4]*a[9] - a[5]*a[8],
		a[2]*a[9] - a[1]*a[10], a[0]*a[10] - a[2]*a[8], a[1]*a[8] - a[0]*a[9],
		a[1]*a[6] - a[2]*a[5], a[2]*a[4] - a[0]*a[6], a[0]*a[5] - a[1]*a[4],
	}
}

// scaled multiplies the lengths of the result.
func (a affine) scaled(factor float64) affine {
	for i := range a {
		a[i] *= factor
	}
	return a
}

// finite says whether all entries are numbers.
func (a *affine) finite() bool {
	for _, x := range a {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// local is the map of a node into its parent.
func (n *Node) local() affine {
	if m := n.Matrix; m != nil {
		return affine{m[0], m[4], m[8], m[12], m[1], m[5], m[9], m[13], m[2], m[6], m[10], m[14]}
	}
	out := identity
	if q := n.Rotation; q != nil {
		// Exporters round quaternions: bring it back to unit length.
		l := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
		if l > 0 {
			x, y, z, w := q[0]/l, q[1]/l, q[2]/l, q[3]/l
			out = affine{
				1 - 2*(y*y+z*z), 2 * (x*y - z*w), 2 * (x*z + y*w), 0,
				2 * (x*y + z*w), 1 - 2*(x*x+z*z), 2 * (y*z - x*w), 0,
				2 * (x*z - y*w), 2 * (y*z + x*w), 1 - 2*(x*x+y*y), 0,
			}
		}
	}
	if s := n.Scale; s != nil {
		for i := range 3 {
			for j := range 3 {
				out[4*i+j] *= s[j]
			}
		}
	}
	if t := n.Translation; t != nil {
		out[3], out[7], out[11] = t[0], t[1], t[2]
	}
	return out
}

// placed is a node of the scene with its map to the world.
type placed struct {
	node  int
	world affine
}

// walk lists the nodes of the default scene depth-first, a node before its
// children. Without a default scene it takes the first, without any scene all
// nodes that are nobody's child.
func (r *reader) walk() ([]placed, error) {
	d := r.doc
	var roots []int
	switch {
	case d.Scene != nil && (*d.Scene < 0 || *d.Scene >= len(d.Scenes)):
		return nil, damaged(fmt.Sprintf("scene %d", *d.Scene), "is not one of the %d there are", len(d.Scenes))
	case d.Scene != nil:
		roots = d.Scenes[*d.Scene].Nodes
	case len(d.Scenes) > 0:
		roots = d.Scenes[0].Nodes
	default:
		child := make([]bool, len(d.Nodes))
		for i := range d.Nodes {
			for _, c := range d.Nodes[i].Children {
				if c >= 0 && c < len(child) {
					child[c] = true
				}
			}
		}
		for i := range d.Nodes {
			if !child[i] {
				roots = append(roots, i)
			}
		}
		if len(roots) == 0 && len(d.Nodes) > 0 {
			return nil, damaged("node 0", "is its own ancestor, as are all nodes")
		}
	}

	type step struct {
		node   int
		parent affine
	}
	var out []placed
	seen := make([]bool, len(d.Nodes))
	stack := make([]step, 0, len(roots))
	push := func(nodes []int, parent affine) {
		for i := len(nodes) - 1; i >= 0; i-- {
			stack = append(stack, step{nodes[i], parent})
		}
	}
	push(roots, identity)
	for len(stack) > 0 {
		s := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		where := fmt.Sprintf("node %d", s.node)
		if s.node < 0 || s.node >= len(d.Nodes) {
			return nil, damaged(where, "is not one of the %d there are", len(d.Nodes))
		}
		if seen[s.node] {
			return nil, damaged(where, "is reached twice: nodes must not form a loop or share a child")
		}
		seen[s.node] = true
		n := &d.Nodes[s.node]
		world := s.parent.times(n.local())
		if !world.finite() {
			return nil, damaged(where, "has a transform that is not a number")
		}
		out = append(out, placed{s.node, world})
		push(n.Children, world)
	}
	if left := r.leftOut(seen); left > 0 {
		r.note("nodes_outside_scene", fmt.Sprintf("%d nodes with a mesh stand outside the default scene and were left out", left),
			"if they belong to the specimen, save the scan with all parts in one scene")
	}
	return out, nil
}

// leftOut counts nodes with a mesh that the scene does not reach.
func (r *reader) leftOut(seen []bool) int {
	n := 0
	for i := range r.doc.Nodes {
		if !seen[i] && r.doc.Nodes[i].Mesh != nil {
			n++
		}
	}
	return n
}
