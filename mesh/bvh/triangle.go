package bvh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// onTriangle is the point of a triangle closest to p, as weights of its
// corners, with the feature it lies on.
type onTriangle struct {
	point   r3.Vec
	weights [3]float64
	d2      float64
	feature Feature
	corner  uint8
}

// flat is the squared sine of a triangle's angle at its first corner below
// which its plane is not trusted alone.
const flat = 1e-8

// closestOnTriangle finds the closest point by the Voronoi regions of corners,
// sides and inside (Ericson, Real-Time Collision Detection, 2005, 5.1.5).
// Products of float32 corners are exact in float64, so the normal of a needle
// is as good as that of any other triangle; the weights then lose 1/sin of
// their digits. A very flat triangle is therefore searched side by side too,
// which is right to its width.
func closestOnTriangle(p, a, b, c r3.Vec) onTriangle {
	ab, ac, ap := r3.Sub(b, a), r3.Sub(c, a), r3.Sub(p, a)
	bp, cp := r3.Sub(p, b), r3.Sub(p, c)
	n := r3.Cross(ab, ac)
	if !(r3.Norm2(n) > flat*r3.Norm2(ab)*r3.Norm2(ac)) {
		out := closestOnSides(p, a, b, c)
		va, vb, vc := r3.Dot(n, r3.Cross(bp, cp)), r3.Dot(n, r3.Cross(cp, ap)), r3.Dot(n, r3.Cross(ap, bp))
		if va > 0 && vb > 0 && vc > 0 {
			if in := inside(p, a, ab, ac, va, vb, vc); in.d2 < out.d2 {
				return in
			}
		}
		return out
	}
	d1, d2 := r3.Dot(ab, ap), r3.Dot(ac, ap)
	if d1 <= 0 && d2 <= 0 {
		return atCorner(p, a, 0)
	}
	d3, d4 := r3.Dot(ab, bp), r3.Dot(ac, bp)
	if d3 >= 0 && d4 <= d3 {
		return atCorner(p, b, 1)
	}
	d5, d6 := r3.Dot(ab, cp), r3.Dot(ac, cp)
	if d6 >= 0 && d5 <= d6 {
		return atCorner(p, c, 2)
	}
	vc := r3.Dot(n, r3.Cross(ap, bp))
	if vc <= 0 && d1 >= 0 && d3 <= 0 {
		return atSide(p, a, b, c, 0, d1/(d1-d3))
	}
	va := r3.Dot(n, r3.Cross(bp, cp))
	if va <= 0 && d4-d3 >= 0 && d5-d6 >= 0 {
		return atSide(p, a, b, c, 1, (d4-d3)/((d4-d3)+(d5-d6)))
	}
	vb := r3.Dot(n, r3.Cross(cp, ap))
	if vb <= 0 && d2 >= 0 && d6 <= 0 {
		return atSide(p, a, b, c, 2, -d6/(d2-d6))
	}
	if !(va >= 0 && vb >= 0 && vc >= 0 && va+vb+vc > 0) {
		return closestOnSides(p, a, b, c)
	}
	return inside(p, a, ab, ac, va, vb, vc)
}

// inside is the foot of the perpendicular, from the products of the normal
// with the three parts of the triangle.
func inside(p, a, ab, ac r3.Vec, va, vb, vc float64) onTriangle {
	s := 1 / (va + vb + vc)
	v, w := vb*s, vc*s
	q := r3.Add(a, r3.Add(r3.Scale(v, ab), r3.Scale(w, ac)))
	return onTriangle{q, [3]float64{1 - v - w, v, w}, r3.Norm2(r3.Sub(p, q)), FeatureFace, 0}
}

func atCorner(p, q r3.Vec, k uint8) onTriangle {
	out := onTriangle{point: q, d2: r3.Norm2(r3.Sub(p, q)), feature: FeatureVertex, corner: k}
	out.weights[k] = 1
	return out
}

// atSide is the point at share t of the way from corner k to the next.
func atSide(p, a, b, c r3.Vec, k uint8, t float64) onTriangle {
	from, to := a, b
	switch k {
	case 1:
		from, to = b, c
	case 2:
		from, to = c, a
	}
	q := r3.Add(from, r3.Scale(t, r3.Sub(to, from)))
	out := onTriangle{point: q, d2: r3.Norm2(r3.Sub(p, q)), feature: FeatureEdge, corner: k}
	out.weights[k], out.weights[(k+1)%3] = 1-t, t
	return out
}

func closestOnSides(p, a, b, c r3.Vec) onTriangle {
	best := onTriangle{d2: math.Inf(1)}
	corners := [3]r3.Vec{a, b, c}
	for k := range uint8(3) {
		from := corners[k]
		along := r3.Sub(corners[(k+1)%3], from)
		l2 := r3.Norm2(along)
		t := r3.Dot(r3.Sub(p, from), along) / l2
		var here onTriangle
		switch {
		case !(t > 0): // NaN where the two corners coincide
			here = atCorner(p, from, k)
		case t >= 1:
			here = atCorner(p, corners[(k+1)%3], (k+1)%3)
		default:
			here = atSide(p, a, b, c, k, t)
		}
		if here.d2 < best.d2 {
			best = here
		}
	}
	return best
}
