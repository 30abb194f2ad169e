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

// cast visits the faces on the ray up to the distance that visit last
// returned.
func (t *Tree) cast(origin, dir r3.Vec, visit func(face uint32, dist float64) (limit float64)) {
	l := r3.Norm(dir)
	if len(t.nodes) == 0 || !(l > 0) || math.IsInf(l, 0) {
		return
	}
	r := newRay(origin, r3.Scale(1/l, dir))
	limit := math.Inf(1)
	stack := append(make([]uint32, 0, 64), 0)
	for len(stack) > 0 {
		at := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		n := &t.nodes[at]
		if !r.meetsBox(n.box.Min, n.box.Max, limit) {
			continue
		}
		if n.right == 0 {
			for _, f := range t.faces[n.from:n.to] {
				a, b, c := t.m.Corners(f)
				if d, ok := r.meets(a, b, c); ok && d <= limit {
					limit = visit(f, d)
				}
			}
			continue
		}
		stack = append(stack, n.right, at+1)
	}
}

// ray is a ray prepared for the watertight triangle test of Woop, Benthin and
// Wald (J. Computer Graphics Techniques 2(1), 2013): the axes are renamed so
// that z is the longest one of the direction, and sheared along it.
type ray struct {
	origin     r3.Vec
	inverse    r3.Vec
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
		origin:  origin,
		inverse: r3.Vec{X: 1 / dir.X, Y: 1 / dir.Y, Z: 1 / dir.Z},
		kx:      kx, ky: ky, kz: kz,
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

// meetsBox is the slab test, widened by a few units of rounding so that no hit
// on a box face is lost (Ize, J. Computer Graphics Techniques 2(2), 2013).
func (r *ray) meetsBox(lo, hi r3.Vec, limit float64) bool {
	from, to := 0.0, limit
	for _, s := range [3][4]float64{
		{lo.X, hi.X, r.origin.X, r.inverse.X}, {lo.Y, hi.Y, r.origin.Y, r.inverse.Y}, {lo.Z, hi.Z, r.origin.Z, r.inverse.Z},
	} {
		if math.IsInf(s[3], 0) {
			if s[2] < s[0] || s[2] > s[1] {
				return false
			}
			continue
		}
		near, far := (s[0]-s[2])*s[3], (s[1]-s[2])*s[3]
		if near > far {
			near, far = far, near
		}
		from, to = max(from, near), min(to, far*(1+4e-16))
	}
	return from <= to*(1+4e-16)
}
