package bvh

// flat32 is the squared sine of a triangle's largest angle below which the
// float32 test is not trusted.
const flat32 = 1e-3

// sift prepares a triangle for the float32 test and finds a small sphere round
// it: about the middle of the longest side where the angle opposite is blunt,
// else about the centre of the circumcircle.
func sift(c *[3][3]float32) (out sifted, centre [3]float32, radius float32) {
	// Squared sides opposite each corner; the largest angle stands opposite
	// the longest.
	l := [3]float32{between(&c[1], &c[2]), between(&c[2], &c[0]), between(&c[0], &c[1])}
	k := 0
	if l[1] > l[0] {
		k = 1
	}
	if l[2] > l[k] {
		k = 2
	}
	i, j := (k+1)%3, (k+2)%3
	a, b, d := &c[k], &c[i], &c[j]
	u, v := &out.u, &out.v
	for n := range 3 {
		out.a[n], u[n], v[n] = a[n], b[n]-a[n], d[n]-a[n]
	}
	out.uu = u[0]*u[0] + u[1]*u[1] + u[2]*u[2]
	out.uv = u[0]*v[0] + u[1]*v[1] + u[2]*v[2]
	out.vv = v[0]*v[0] + v[1]*v[1] + v[2]*v[2]

	// The circumcentre's weights (Ericson 2005, 3.4), about corner k.
	var p, q float32 = 0.5, 0.5
	wk, wi, wj := l[k]*(l[i]+l[j]-l[k]), l[i]*(l[j]+l[k]-l[i]), l[j]*(l[k]+l[i]-l[j])
	if sum := wk + wi + wj; out.uv > 0 && sum > 1e-30 {
		p, q = wi/sum, wj/sum
	}
	for n := range 3 {
		centre[n] = a[n] + p*u[n] + q*v[n]
	}
	radius = rounded(root(max(between(&centre, a), between(&centre, b), between(&centre, d))))

	// Too flat, or so small that products of products lose their digits.
	if area2 := out.uu*out.vv - out.uv*out.uv; !(area2 > flat32*out.uu*out.vv) || area2 < 1e-30 {
		out.uu = -1
	}
	return out, centre, radius
}

// between is the squared distance of two corners.
func between(a, b *[3]float32) float32 {
	x, y, z := a[0]-b[0], a[1]-b[1], a[2]-b[2]
	return x*x + y*y + z*z
}

// distance2 is the squared distance, in float32, from the corner a to which
// the query's place is given as x y z. It is in error by no more than about
// 1e-6 of the length of x y z (see slack). Regions as in closestOnTriangle.
func (s *sifted) distance2(x, y, z float32) float32 {
	u, v := &s.u, &s.v
	d1 := u[0]*x + u[1]*y + u[2]*z
	d2 := v[0]*x + v[1]*y + v[2]*z
	if d1 <= 0 && d2 <= 0 {
		return x*x + y*y + z*z
	}
	d3, d4 := d1-s.uu, d2-s.uv
	d5, d6 := d1-s.uv, d2-s.vv
	var p, q float32 // weights of u and v
	// Written with the products of the edges, so that nothing cancels where one
	// edge is short and the place far.
	all, vb, vc := s.uu*s.vv-s.uv*s.uv, d1*s.vv-d2*s.uv, d2*s.uu-d1*s.uv
	switch {
	case d3 >= 0 && d4 <= d3:
		p = 1
	case d6 >= 0 && d5 <= d6:
		q = 1
	case vc <= 0 && d1 >= 0 && d3 <= 0:
		p = d1 / s.uu
	case vb <= 0 && d2 >= 0 && d6 <= 0:
		q = d2 / s.vv
	case vb+vc >= all && d4 >= d3 && d5 >= d6:
		q = (d4 - d3) / ((d4 - d3) + (d5 - d6))
		p = 1 - q
	default:
		p, q = vb/all, vc/all
	}
	x -= p*u[0] + q*v[0]
	y -= p*u[1] + q*v[1]
	z -= p*u[2] + q*v[2]
	return x*x + y*y + z*z
}
