package bvh

import "gonum.org/v1/gonum/spatial/r3"

const (
	// siftWider, siftFloor and siftEdges allow for the error of sift, which is
	// e = 1e-7·l + 2e-8·u at a place l from the triangle's first corner, with
	// edges of length u: from (d+e)² ≤ d²(1+k) + e²(1+1/k) with k = 1e-5.
	siftWider, siftFloor, siftEdges = 1e-5, 1e-8, 1e-9
)

// sift is the squared distance from q (about the mesh's Origin) to face f,
// measured in a cheap way: exact to doubt, more or less. Where the triangle is
// too flat for that, ok is false. Regions as in closestOnTriangle.
func (t *Tree) sift(f uint32, q *r3.Vec) (d2, doubt float64, ok bool) {
	m := t.m
	i := m.Triangles[3*f : 3*f+3 : 3*f+3]
	a := m.Positions[3*i[0] : 3*i[0]+3 : 3*i[0]+3]
	b := m.Positions[3*i[1] : 3*i[1]+3 : 3*i[1]+3]
	c := m.Positions[3*i[2] : 3*i[2]+3 : 3*i[2]+3]
	ax, ay, az := float64(a[0]), float64(a[1]), float64(a[2])
	ux, uy, uz := float64(b[0])-ax, float64(b[1])-ay, float64(b[2])-az
	vx, vy, vz := float64(c[0])-ax, float64(c[1])-ay, float64(c[2])-az
	x, y, z := q.X-ax, q.Y-ay, q.Z-az
	uu, uv, vv := ux*ux+uy*uy+uz*uz, ux*vx+uy*vy+uz*vz, vx*vx+vy*vy+vz*vz
	d1, d2u := ux*x+uy*y+uz*z, vx*x+vy*y+vz*z
	l2 := x*x + y*y + z*z
	all := uu*vv - uv*uv
	if !(all > flat*uu*vv) {
		return 0, 0, false
	}
	d4, d5 := d2u-uv, d1-uv
	d3, d6 := d1-uu, d2u-vv
	vb, vc := d1*vv-d2u*uv, d2u*uu-d1*uv
	var r, s float64 // weights of u and v
	switch {
	case vb > 0 && vc > 0 && vb+vc < all:
		k := 1 / all
		r, s = vb*k, vc*k
	case d1 <= 0 && d2u <= 0:
	case d3 >= 0 && d4 <= d3:
		r = 1
	case d6 >= 0 && d5 <= d6:
		s = 1
	case vc <= 0 && d1 >= 0 && d3 <= 0:
		r = d1 / uu
	case vb <= 0 && d2u >= 0 && d6 <= 0:
		s = d2u / vv
	default:
		s = (d4 - d3) / ((d4 - d3) + (d5 - d6))
		r = 1 - s
	}
	x -= r*ux + s*vx
	y -= r*uy + s*vy
	z -= r*uz + s*vz
	d2 = x*x + y*y + z*z
	return d2, siftWider*d2 + siftFloor*l2 + siftEdges*(uu+vv), true
}
