package shell

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
)

// layer is the matrix on a body: how far each vertex of its base moves.
type layer struct {
	body  *body
	faces []uint32 // of the body, with at least one corner that moves
	move  []r3.Vec // per vertex
}

// put lays a layer of a thickness on a place.
func (b *body) put(p place, thick float64) *layer {
	normal := b.smoothNormals(p)
	l := &layer{body: b, move: make([]r3.Vec, len(b.at))}
	for v, n := range normal {
		if x := p.off(b.at[v]) / p.radius; x < 1 {
			l.move[v] = r3.Scale(thick*(1-x*x)*(1-x*x), n)
		}
	}
	for _, f := range p.faces {
		for _, v := range b.tri[f] {
			if l.move[v] != (r3.Vec{}) {
				l.faces = append(l.faces, f)
				break
			}
		}
	}
	return l
}

// smoothNormals are unit normals at the vertices of a place, averaged over
// their neighbours many times so that neighbouring ones hardly differ.
func (b *body) smoothNormals(p place) map[uint32]r3.Vec {
	n := map[uint32]r3.Vec{}
	next := map[uint32][]uint32{}
	var order []uint32
	for _, f := range p.faces {
		for k, v := range b.tri[f] {
			if _, ok := n[v]; !ok {
				order = append(order, v)
			}
			n[v] = r3.Add(n[v], b.area(f))
			next[v] = append(next[v], b.tri[f][(k+1)%3], b.tri[f][(k+2)%3])
		}
	}
	for v := range n {
		n[v] = r3.Unit(n[v])
	}
	for range 60 {
		smooth := make(map[uint32]r3.Vec, len(n))
		for _, v := range order {
			sum := n[v]
			for _, w := range next[v] {
				sum = r3.Add(sum, n[w])
			}
			smooth[v] = r3.Unit(sum)
		}
		n = smooth
	}
	return n
}

// top is where a vertex lies on the layer.
func (l *layer) top(v uint32) r3.Vec { return r3.Add(l.body.at[v], l.move[v]) }

// covered is the body with the layer on it.
func (l *layer) covered() *body {
	out := *l.body
	out.at = make([]r3.Vec, len(l.body.at))
	for v := range out.at {
		out.at[v] = l.top(uint32(v))
	}
	return &out
}

// sweep is the area vector of face f moved by a share s of the layer.
func (l *layer) sweep(f uint32, s float64) r3.Vec {
	var p [3]r3.Vec
	for k, v := range l.body.tri[f] {
		p[k] = r3.Add(l.body.at[v], r3.Scale(s, l.move[v]))
	}
	return r3.Scale(0.5, r3.Cross(r3.Sub(p[1], p[0]), r3.Sub(p[2], p[0])))
}

// prisms adds the volumes of the swept faces: the area vector is quadratic in
// the share of the way, so Simpson's rule is exact. It fails if the sweep turns
// back anywhere. Inside a prism the density is a(s)·D with D linear over the
// face, so its least value over the face is at a corner; a(s)·D there is a
// quadratic in s.
func (l *layer) prisms() (float64, error) {
	var sum mesh.Sum
	for _, f := range l.faces {
		a0, a1, a2 := l.sweep(f, 0), l.sweep(f, 0.5), l.sweep(f, 1)
		var mean r3.Vec
		for _, v := range l.body.tri[f] {
			d := l.move[v]
			mean = r3.Add(mean, r3.Scale(1.0/3, d))
			if d == (r3.Vec{}) {
				continue
			}
			g0, g1, g2 := r3.Dot(a0, d), r3.Dot(a1, d), r3.Dot(a2, d)
			if low := leastOnUnit(g0, g1, g2); low <= 0 {
				return 0, fmt.Errorf("the layer folds over face %d", f)
			}
		}
		sum.Add(r3.Dot(mean, r3.Add(a0, r3.Add(r3.Scale(4, a1), a2))) / 6)
	}
	return sum.Value(), nil
}

// leastOnUnit is the least value on [0, 1] of the quadratic through g0, g1, g2
// at 0, 1/2, 1.
func leastOnUnit(g0, g1, g2 float64) float64 {
	low := min(g0, g1, g2)
	a, b := 2*(g0-2*g1+g2), -3*g0+4*g1-g2
	if a > 0 {
		if s := -b / (2 * a); s > 0 && s < 1 {
			low = min(low, g0+b*s+a*s*s)
		}
	}
	return low
}

// closedShell is the volume inside the layer's two sides, which meet at its
// rim, by the divergence theorem.
func (l *layer) closedShell() float64 {
	var sum mesh.Sum
	o := l.body.middle(l.faces[0])
	six := func(at func(uint32) r3.Vec, c [3]uint32) float64 {
		p, q, r := r3.Sub(at(c[0]), o), r3.Sub(at(c[1]), o), r3.Sub(at(c[2]), o)
		return r3.Dot(p, r3.Cross(q, r)) / 6
	}
	for _, f := range l.faces {
		c := l.body.tri[f]
		sum.Add(six(l.top, c) - six(func(v uint32) r3.Vec { return l.body.at[v] }, c))
	}
	return sum.Value()
}

// lines counts the layer's volume along n by n lines across the place: each
// has the sum of its crossings with the top less that with the base.
func (l *layer) lines(p place, n int) float64 {
	part := func(at func(uint32) r3.Vec) *bvh.Tree {
		b := &body{}
		for _, f := range l.faces {
			k := uint32(len(b.at))
			for _, v := range l.body.tri[f] {
				b.at = append(b.at, at(v))
			}
			b.tri = append(b.tri, [3]uint32{k, k + 1, k + 2})
		}
		return bvh.Build(b.mesh())
	}
	top, base := part(l.top), part(func(v uint32) r3.Vec { return l.body.at[v] })
	e1 := r3.Unit(r3.Cross(p.normal, r3.Vec{X: 0.3, Y: 0.5, Z: 0.81}))
	e2 := r3.Cross(p.normal, e1)
	reach := 1.2 * p.radius
	step := 2 * reach / float64(n)
	from := 3 * p.radius
	// The first and only crossing along the axis: the place is not folded.
	depth := func(t *bvh.Tree, o r3.Vec) (float64, bool) {
		_, d, ok := t.Ray(o, r3.Scale(-1, p.normal))
		return d, ok
	}
	return step * step * mesh.SumBlocks(n*n, func(i int) float64 {
		x, y := (float64(i%n)+0.5)*step-reach, (float64(i/n)+0.5)*step-reach
		o := r3.Add(p.middle, r3.Add(r3.Scale(from, p.normal), r3.Add(r3.Scale(x, e1), r3.Scale(y, e2))))
		a, okA := depth(top, o)
		b, okB := depth(base, o)
		if !okA || !okB {
			return 0
		}
		return b - a
	})
}

// clear looks for faces of the layer's top that meet another face of the
// covered body.
func (l *layer) clear(covered *body) error {
	m := covered.mesh()
	tree := bvh.Build(m)
	for _, f := range l.faces {
		a, b, c := m.Corners(f)
		middle := r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))
		reach := max(r3.Norm(r3.Sub(a, middle)), r3.Norm(r3.Sub(b, middle)), r3.Norm(r3.Sub(c, middle)))
		var hit error
		tree.Within(middle, reach, func(g uint32) {
			if hit == nil && !touch(covered.tri[f], covered.tri[g]) && crosses(m, f, g) {
				hit = fmt.Errorf("the layer meets the scan: faces %d and %d", f, g)
			}
		})
		if hit != nil {
			return hit
		}
	}
	return nil
}

func touch(a, b [3]uint32) bool {
	for _, v := range a {
		if v == b[0] || v == b[1] || v == b[2] {
			return true
		}
	}
	return false
}

// crosses says whether an edge of one face passes through the other.
func crosses(m *mesh.Mesh, f, g uint32) bool {
	pierces := func(f, g uint32) bool {
		var p, q [3]r3.Vec
		p[0], p[1], p[2] = m.Corners(f)
		q[0], q[1], q[2] = m.Corners(g)
		n := r3.Cross(r3.Sub(q[1], q[0]), r3.Sub(q[2], q[0]))
		for k := range 3 {
			u, v := p[k], p[(k+1)%3]
			du, dv := r3.Dot(n, r3.Sub(u, q[0])), r3.Dot(n, r3.Sub(v, q[0]))
			if du*dv >= 0 {
				continue
			}
			x := r3.Add(u, r3.Scale(du/(du-dv), r3.Sub(v, u)))
			in := true
			for j := range 3 {
				in = in && r3.Dot(n, r3.Cross(r3.Sub(q[(j+1)%3], q[j]), r3.Sub(x, q[j]))) >= 0
			}
			if in {
				return true
			}
		}
		return false
	}
	return pierces(f, g) || pierces(g, f)
}

var errNoPlace = errors.New("the scan has no smooth broad place of this size")
