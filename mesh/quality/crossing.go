package quality

import (
	"context"
	"math"
	"slices"

	"rigatino/mesh"
)

// Crossing is where a surface runs through itself.
type Crossing struct {
	Pairs int      // of faces with more in common than a shared corner or side
	Faces []uint32 // that are in such a pair, ascending
	Area  float64  // of those faces, in the square of the mesh's unit
	// AtLeast says that so many faces lie on each other that not every pair was
	// looked at.
	AtLeast bool
}

// crossing finds the pairs of faces that meet elsewhere than in what they share.
//
// Two faces without a shared corner cross where they have any point in common.
// With one shared corner they cross where the side opposite to it, of either,
// meets the other face. With two they cross where they lie folded onto each
// other in one plane. These are the terms of the CGAL package Polygon Mesh
// Processing. Faces without area and repeats of a face take no part: they are
// reported by themselves. Signs are exact (see side), so the count depends on
// nothing but the stored coordinates.
func (s *surface) crossing(ctx context.Context, progress func(float64, string)) (Crossing, error) {
	var out Crossing
	pairs, all, err := s.tree().Pairs(ctx, s.crosses, func(done float64) {
		progress(done, "looking where the surface runs through itself")
	})
	if err != nil {
		return out, err
	}
	out.Pairs, out.AtLeast = len(pairs), !all
	for _, p := range pairs {
		out.Faces = append(out.Faces, p[0], p[1])
	}
	slices.Sort(out.Faces)
	out.Faces = slices.Compact(out.Faces)
	out.Area = mesh.AreaOf(s.m, out.Faces)
	return out, nil
}

// triangle is a face by its stored corners.
type triangle [3]point

func (s *surface) triangle(f uint32) (t triangle) {
	for k, v := range s.m.Triangles[3*f : 3*f+3] {
		copy(t[k][:], s.m.Positions[3*v:3*v+3])
	}
	return t
}

// crosses says whether faces f and g cross.
func (s *surface) crosses(f, g uint32) bool {
	if s.without[f] || s.without[g] {
		return false
	}
	var a, b [3]uint32
	a[0], a[1], a[2] = s.t.Face(f)
	b[0], b[1], b[2] = s.t.Face(g)
	shared, i, j := 0, 0, 0 // corner i of f and j of g are one
	for x := range 3 {
		for y := range 3 {
			if a[x] == b[y] {
				shared, i, j = shared+1, x, y
			}
		}
	}
	p, q := s.triangle(f), s.triangle(g)
	switch shared {
	case 0:
		return meet(&p, &q)
	case 1:
		return sideMeets(&p[(i+1)%3], &p[(i+2)%3], &q) || sideMeets(&q[(j+1)%3], &q[(j+2)%3], &p)
	case 2:
		return folded(a, b, &p, &q)
	}
	return false
}

// folded says whether two faces with a common side lie on each other.
func folded(a, b [3]uint32, p, q *triangle) bool {
	i := slices.IndexFunc(a[:], func(v uint32) bool { return v != b[0] && v != b[1] && v != b[2] })
	j := slices.IndexFunc(b[:], func(v uint32) bool { return v != a[0] && v != a[1] && v != a[2] })
	top, from, to, far := &p[i], &p[(i+1)%3], &p[(i+2)%3], &q[j]
	if side(from, to, top, far) != 0 {
		return false
	}
	u, v := flatAxes(p)
	return turn(from, to, top, u, v) == turn(from, to, far, u, v)
}

// meet says whether two triangles, sides and corners included, have a point in
// common. Each must have area.
func meet(p, q *triangle) bool {
	if apart(p, q) || apart(q, p) {
		return false
	}
	for k := range 3 {
		if sideMeets(&p[k], &p[(k+1)%3], q) || sideMeets(&q[k], &q[(k+1)%3], p) {
			return true
		}
	}
	return false
}

// apart says whether all corners of q lie strictly on one side of p's plane.
func apart(p, q *triangle) bool {
	s := side(&p[0], &p[1], &p[2], &q[0])
	return s != 0 && side(&p[0], &p[1], &p[2], &q[1]) == s && side(&p[0], &p[1], &p[2], &q[2]) == s
}

// sideMeets says whether the segment from a to b has a point in common with the
// triangle, ends, sides and corners included.
func sideMeets(a, b *point, t *triangle) bool {
	sa, sb := side(&t[0], &t[1], &t[2], a), side(&t[0], &t[1], &t[2], b)
	switch {
	case sa == 0 && sb == 0:
		return sideMeetsFlat(a, b, t)
	case sa == sb:
		return false
	}
	low, high := 1, -1
	for k := range 3 {
		s := side(a, b, &t[k], &t[(k+1)%3])
		low, high = min(low, s), max(high, s)
	}
	return low >= 0 || high <= 0
}

// sideMeetsFlat is sideMeets for a segment in the plane of the triangle.
func sideMeetsFlat(a, b *point, t *triangle) bool {
	u, v := flatAxes(t)
	if inside(a, t, u, v) || inside(b, t, u, v) {
		return true
	}
	for k := range 3 {
		c, d := &t[k], &t[(k+1)%3]
		// Ends on the triangle are dealt with, and a segment through a corner
		// crosses both sides there.
		if turn(a, b, c, u, v)*turn(a, b, d, u, v) <= 0 && turn(c, d, a, u, v)*turn(c, d, b, u, v) <= 0 &&
			!(turn(a, b, c, u, v) == 0 && turn(a, b, d, u, v) == 0) {
			return true
		}
	}
	return false
}

// inside says whether a point of the triangle's plane lies in the triangle.
func inside(p *point, t *triangle, u, v int) bool {
	low, high := 1, -1
	for k := range 3 {
		s := turn(&t[k], &t[(k+1)%3], p, u, v)
		low, high = min(low, s), max(high, s)
	}
	return low >= 0 || high <= 0
}

// flatAxes returns the two axes along which the triangle's shadow is largest.
func flatAxes(t *triangle) (u, v int) {
	largest := -1.0
	for k := range 3 {
		i, j := (k+1)%3, (k+2)%3
		area := math.Abs((float64(t[1][i])-float64(t[0][i]))*(float64(t[2][j])-float64(t[0][j])) -
			(float64(t[1][j])-float64(t[0][j]))*(float64(t[2][i])-float64(t[0][i])))
		if area > largest && turn(&t[0], &t[1], &t[2], i, j) != 0 {
			largest, u, v = area, i, j
		}
	}
	return u, v
}

// hasArea says whether the three corners of a face are not on one line.
func (t *triangle) hasArea() bool {
	return turn(&t[0], &t[1], &t[2], 0, 1) != 0 || turn(&t[0], &t[1], &t[2], 1, 2) != 0 || turn(&t[0], &t[1], &t[2], 2, 0) != 0
}
