package bvh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// flatter is the squared sine of a triangle's first angle below which sift
	// leaves it alone.
	flatter = 1e-10
	// siftDoubt allows for the rounding of sift. Sums and products of squared
	// lengths are right to some 1e-16 of them; the foot's place in the triangle
	// to 1e-16 / flatter of its sides, by whose square the distance errs where
	// a side is taken for the inside. placeDoubt is the part of it that is left
	// for an error e of the place, from (d+e)² ≤ d²(1+k) + e²(1+1/k).
	siftDoubt, placeDoubt = 2e-8, 1e-8
)

// sift is the squared distance from q (about the mesh's Origin) to face f,
// measured in a cheap way with hardly a branch: right to doubt, more or less.
// Where the triangle is too flat for that, ok is false.
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
	xu, xv, xx := ux*x+uy*y+uz*z, vx*x+vy*y+vz*z, x*x+y*y+z*z
	nx, ny, nz := uy*vz-uz*vy, uz*vx-ux*vz, ux*vy-uy*vx
	nn := nx*nx + ny*ny + nz*nz
	if !(nn > flatter*uu*vv) {
		return 0, 0, false
	}
	doubt = siftDoubt * (xx + uu + vv)
	// The foot of the perpendicular is a + (r·u + s·v) / nn.
	r, s := xu*vv-xv*uv, xv*uu-xu*uv
	if (math.Float64bits(r)|math.Float64bits(s)|math.Float64bits(nn-r-s))>>63 == 0 {
		h := nx*x + ny*y + nz*z
		return h * h / nn, doubt, true
	}
	// The nearest of the sides u, v and v-u.
	w, xw := uu-2*uv+vv, xv-xu-uv+uu
	ofU, ofV, ofW := min(max(xu/uu, 0), 1), min(max(xv/vv, 0), 1), min(max(xw/w, 0), 1)
	toU, toV := ofU*(2*xu-ofU*uu), ofV*(2*xv-ofV*vv)
	toW := 2*xu - uu + ofW*(2*xw-ofW*w)
	return xx - max(toU, toV, toW), doubt, true
}
