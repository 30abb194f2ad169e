package bvh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Ray returns the first face that the ray from origin along dir meets, from
// either side, and its distance from origin in the unit of the mesh, whatever
// the length of dir.
func (t *Tree) Ray(origin, dir r3.Vec) (face uint32, dist float64, ok bool) {
	face, dist = None, math.Inf(1)
	t.cast(origin, dir, func(f uint32, d float64) float64 {
		if d < dist || (d == dist && f < face) {
			face, dist = f, d
		}
		return dist
	})
	return face, dist, face != None
}

// RayAll visits every face that the ray meets, in no order of distance. A ray
// through an edge meets the face on one side of it or on both, never none.
func (t *Tree) RayAll(origin, dir r3.Vec, visit func(face uint32, dist float64)) {
	t.cast(origin, dir, func(f uint32, d float64) float64 {
		visit(f, d)
		return math.Inf(1)
	})
}

// Free says whether the ray meets no face at all.
func (t *Tree) Free(origin, dir r3.Vec) bool {
	free := true
	t.cast(origin, dir, func(uint32, float64) float64 {
		free = false
		return math.Inf(-1)
	})
	return free
}

// cast visits the faces on the ray up to the distance that visit last
// returned.
func (t *Tree) cast(origin, dir r3.Vec, visit func(face uint32, dist float64) (limit float64)) {
	l := r3.Norm(dir)
	q := t.inTree(origin)
	reach := max(math.Abs(q.X), math.Abs(q.Y), math.Abs(q.Z))
	if t.root == nowhere || !(l > 0) || math.IsInf(l, 0) || !(reach < farthest) {
		return
	}
	dir = r3.Scale(1/l, dir)
	r := newRay(origin, dir)
	s := newSlabs(q, dir, rounding*(t.largest+float32(reach)))
	limit, limit32 := math.Inf(1), float32(math.MaxFloat32)
	var stack [stackSize]waiting // d2 is here the distance along the ray
	stack[0] = waiting{0, t.root}
	for top := 1; top > 0; {
		top--
		w := stack[top&(stackSize-1)]
		if w.d2 > limit32 {
			continue
		}
		if w.child&isLeaf == 0 {
			n := &t.nodes[w.child]
			base := top
			in := s.stepped(n)
			for k := range width {
				enter, ok := in.meets(n, k, limit32)
				if !ok || n.child[k] == nowhere {
					continue
				}
				j := top
				for j > base && stack[(j-1)&(stackSize-1)].d2 < enter {
					stack[j&(stackSize-1)] = stack[(j-1)&(stackSize-1)]
					j--
				}
				stack[j&(stackSize-1)] = waiting{enter, n.child[k]}
				top++
			}
			continue
		}
		leaf := &t.leaves[w.child&^isLeaf]
		in := s.stepped(leaf)
		for k, f := range leaf.child {
			if _, ok := in.meets(leaf, k, limit32); !ok || f == nowhere {
				continue
			}
			a, b, c := t.m.Corners(f)
			if d, ok := r.meets(a, b, c); ok && d <= limit {
				limit = visit(f, d)
				limit32 = float32(min(limit*t.scale*(1+1e-6), math.MaxFloat32/2)) + s.slack
			}
		}
	}
}

// slabs is a ray in tree coordinates prepared for boxes.
type slabs struct {
	origin, inverse [3]float32
	slack           float32
}

func newSlabs(q, dir r3.Vec, slack float32) slabs {
	s := slabs{origin: [3]float32{float32(q.X), float32(q.Y), float32(q.Z)}, slack: slack}
	for k, d := range [3]float64{dir.X, dir.Y, dir.Z} {
		// A component of nearly zero would make 0·∞ at a box face.
		if math.Abs(d) < 1e-18 {
			d = math.Copysign(1e-18, d)
		}
		s.inverse[k] = float32(1 / d)
	}
	return s
}

// stepped is a ray prepared for the boxes of one node or leaf, which are made a
// little larger for rounding.
type stepped struct{ low, high, step, inverse [3]float32 }

func (s *slabs) stepped(n *eight) (out stepped) {
	for k := range 3 {
		out.low[k] = n.base[k] - s.slack - s.origin[k]
		out.high[k] = n.base[k] + s.slack - s.origin[k]
	}
	out.step, out.inverse = n.step, s.inverse
	return out
}

// meets says whether the ray meets box k before limit, and where it enters.
func (s *stepped) meets(n *eight, k int, limit float32) (enter float32, ok bool) {
	x0 := (s.low[0] + float32(n.lowX[k])*s.step[0]) * s.inverse[0]
	x1 := (s.high[0] + float32(n.highX[k])*s.step[0]) * s.inverse[0]
	y0 := (s.low[1] + float32(n.lowY[k])*s.step[1]) * s.inverse[1]
	y1 := (s.high[1] + float32(n.highY[k])*s.step[1]) * s.inverse[1]
	z0 := (s.low[2] + float32(n.lowZ[k])*s.step[2]) * s.inverse[2]
	z1 := (s.high[2] + float32(n.highZ[k])*s.step[2]) * s.inverse[2]
	enter = max(min(x0, x1), min(y0, y1), min(z0, z1), 0)
	leave := min(max(x0, x1), max(y0, y1), max(z0, z1), limit)
	return enter, enter <= leave*wider
}

// ray is a ray prepared for the watertight triangle test of Woop, Benthin and
// Wald (J. Computer Graphics Techniques 2(1), 2013): the axes are renamed so
// that z is the longest one of the direction, and sheared along it.
type ray struct {
	origin     r3.Vec
	kx, ky, kz int
	sx, sy, sz float64
}

func newRay(origin, dir r3.Vec) ray {
	d := [3]float64{dir.X, dir.Y, dir.Z}
	kz := 0
	for k := 1; k < 3; k++ {
		if math.Abs(d[k]) > math.Abs(d[kz]) {
			kz = k
		}
	}
	kx, ky := (kz+1)%3, (kz+2)%3
	if d[kz] < 0 {
		kx, ky = ky, kx
	}
	return ray{
		origin: origin,
		kx:     kx, ky: ky, kz: kz,
		sx: d[kx] / d[kz], sy: d[ky] / d[kz], sz: 1 / d[kz],
	}
}

// meets returns the distance along the ray to the triangle.
func (r *ray) meets(a, b, c r3.Vec) (float64, bool) {
	var x, y, z [3]float64
	for k, v := range [3]r3.Vec{r3.Sub(a, r.origin), r3.Sub(b, r.origin), r3.Sub(c, r.origin)} {
		p := [3]float64{v.X, v.Y, v.Z}
		x[k], y[k], z[k] = p[r.kx]-r.sx*p[r.kz], p[r.ky]-r.sy*p[r.kz], r.sz*p[r.kz]
	}
	u := x[2]*y[1] - y[2]*x[1]
	v := x[0]*y[2] - y[0]*x[2]
	w := x[1]*y[0] - y[1]*x[0]
	if (u < 0 || v < 0 || w < 0) && (u > 0 || v > 0 || w > 0) {
		return 0, false
	}
	det := u + v + w
	if det == 0 {
		return 0, false
	}
	d := (u*z[0] + v*z[1] + w*z[2]) / det
	return d, d >= 0
}
