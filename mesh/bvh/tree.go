package bvh

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// leafSize is the number of faces below which a node is not cut further.
const leafSize = 4

// Tree is a bounding volume tree over the faces of one mesh.
type Tree struct {
	m     *mesh.Mesh
	nodes []node
	faces []uint32
}

// node is a box; its children are next to it and at `right`, or it holds the
// faces from..to.
type node struct {
	box      mesh.Box
	right    uint32
	from, to uint32
}

// Build makes the tree of all faces of m, which must not change afterwards.
func Build(m *mesh.Mesh) *Tree {
	t := &Tree{m: m}
	centres := make([]r3.Vec, m.FaceCount())
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		s := r3.Add(a, r3.Add(b, c))
		if l := r3.Norm2(s); math.IsNaN(l) || math.IsInf(l, 0) {
			continue
		}
		centres[f] = s
		t.faces = append(t.faces, f)
	}
	if len(t.faces) > 0 {
		t.split(centres, 0, uint32(len(t.faces)))
	}
	return t
}

func (t *Tree) split(centres []r3.Vec, from, to uint32) {
	at := len(t.nodes)
	t.nodes = append(t.nodes, node{box: t.bounds(t.faces[from:to]), from: from, to: to})
	if to-from <= leafSize {
		return
	}
	size := r3.Sub(t.nodes[at].box.Max, t.nodes[at].box.Min)
	axis := func(v r3.Vec) float64 { return v.X }
	if size.Y > size.X && size.Y >= size.Z {
		axis = func(v r3.Vec) float64 { return v.Y }
	} else if size.Z > size.X {
		axis = func(v r3.Vec) float64 { return v.Z }
	}
	slices.SortFunc(t.faces[from:to], func(f, g uint32) int {
		return cmp.Or(cmp.Compare(axis(centres[f]), axis(centres[g])), cmp.Compare(f, g))
	})
	middle := from + (to-from)/2
	t.split(centres, from, middle)
	t.nodes[at].right = uint32(len(t.nodes))
	t.split(centres, middle, to)
}

func (t *Tree) bounds(faces []uint32) mesh.Box {
	inf := math.Inf(1)
	b := mesh.Box{Min: r3.Vec{X: inf, Y: inf, Z: inf}, Max: r3.Vec{X: -inf, Y: -inf, Z: -inf}}
	for _, f := range faces {
		p, q, r := t.m.Corners(f)
		for _, v := range [3]r3.Vec{p, q, r} {
			b.Min = r3.Vec{X: min(b.Min.X, v.X), Y: min(b.Min.Y, v.Y), Z: min(b.Min.Z, v.Z)}
			b.Max = r3.Vec{X: max(b.Max.X, v.X), Y: max(b.Max.Y, v.Y), Z: max(b.Max.Z, v.Z)}
		}
	}
	return b
}

func distance2(b mesh.Box, p r3.Vec) float64 {
	x := max(0, b.Min.X-p.X, p.X-b.Max.X)
	y := max(0, b.Min.Y-p.Y, p.Y-b.Max.Y)
	z := max(0, b.Min.Z-p.Z, p.Z-b.Max.Z)
	return x*x + y*y + z*z
}

// near visits the faces of every node within the squared distance that visit
// last returned.
func (t *Tree) near(p r3.Vec, bound float64, visit func(face uint32) float64) {
	if len(t.nodes) == 0 {
		return
	}
	type open struct {
		at uint32
		d2 float64
	}
	stack := append(make([]open, 0, 64), open{0, distance2(t.nodes[0].box, p)})
	for len(stack) > 0 {
		top := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if top.d2 > bound {
			continue
		}
		n := &t.nodes[top.at]
		if n.right == 0 {
			for _, f := range t.faces[n.from:n.to] {
				bound = visit(f)
			}
			continue
		}
		l, r := open{top.at + 1, distance2(t.nodes[top.at+1].box, p)}, open{n.right, distance2(t.nodes[n.right].box, p)}
		if l.d2 < r.d2 {
			l, r = r, l
		}
		stack = append(stack, l, r)
	}
}

// Closest returns the closest point of the mesh to p, if there is one no
// farther than within (within <= 0: at any distance).
func (t *Tree) Closest(p r3.Vec, within float64) (Hit, bool) {
	bound := math.Inf(1)
	if within > 0 {
		bound = within * within
	}
	best := onTriangle{d2: bound}
	face := None
	t.near(p, bound, func(f uint32) float64 {
		a, b, c := t.m.Corners(f)
		if on := closestOnTriangle(p, a, b, c); on.d2 < best.d2 || (on.d2 == best.d2 && f < face) {
			best, face = on, f
		}
		return best.d2
	})
	if face == None {
		return Hit{Face: None}, false
	}
	return Hit{face, best.point, best.weights, math.Sqrt(best.d2), best.feature, best.corner}, true
}

// Within visits every face that comes no farther from p than radius, each
// once, in an order that depends only on the mesh and p.
func (t *Tree) Within(p r3.Vec, radius float64, visit func(face uint32)) {
	r2 := radius * radius
	t.near(p, r2, func(f uint32) float64 {
		a, b, c := t.m.Corners(f)
		if closestOnTriangle(p, a, b, c).d2 <= r2 {
			visit(f)
		}
		return r2
	})
}

// queryBlock is the number of queries that one worker takes at a time.
const queryBlock = 4096

// ClosestAll answers Closest for the points at(0) … at(n-1) in parallel and
// puts the answers in out, which must hold n; Face is None where there is
// none. at is called from several goroutines. It stops with ctx's error when
// ctx is done.
func (t *Tree) ClosestAll(ctx context.Context, n int, at func(i int) r3.Vec, within float64, out []Hit) error {
	return mesh.Parallel(ctx, (n+queryBlock-1)/queryBlock, func(b int) {
		for i := b * queryBlock; i < min(n, (b+1)*queryBlock); i++ {
			out[i], _ = t.Closest(at(i), within)
		}
	})
}
