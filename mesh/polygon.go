package mesh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// mostEars is the most corners of a polygon that SplitPolygon cuts by ears.
const mostEars = 256

// SplitPolygon cuts a polygon of a scan file into len(p)-2 triangles and
// appends their corners, as places in p, to out. Corner 0 begins a fan, as in
// every simple reader, as long as all its triangles look to the side that the
// polygon as a whole does (Newell's normal; Sutherland and others, ACM
// Computing Surveys 6, 1974). A polygon with a dent, for which the fan would
// fold over, is cut by ears (Meisters, American Mathematical Monthly 82, 1975)
// in the plane of that normal, the first ear from corner 0 on first. What is no
// simple polygon (crossing itself, flat, or with corners that are no place) and
// what has more than 256 corners stays a fan. The triangles keep the turning
// sense of the polygon; no corner is added or dropped.
func SplitPolygon(p []r3.Vec, out []int) []int {
	if len(p) < 4 || len(p) > mostEars {
		return fan(len(p), out)
	}
	normal := newell(p)
	if l := r3.Norm(normal); !(l > 0) || math.IsInf(l, 0) {
		return fan(len(p), out)
	}
	folds := false
	for k := 2; k < len(p) && !folds; k++ {
		folds = turn(normal, p[0], p[k-1], p[k]) < 0
	}
	if !folds {
		return fan(len(p), out)
	}
	before := len(out)
	if cut, ok := ears(p, normal, out); ok {
		return cut
	}
	return fan(len(p), out[:before])
}

func fan(n int, out []int) []int {
	for k := 2; k < n; k++ {
		out = append(out, 0, k-1, k)
	}
	return out
}

// newell is twice the area vector of a polygon, taken about its first corner.
func newell(p []r3.Vec) r3.Vec {
	var sum r3.Vec
	for k := 2; k < len(p); k++ {
		sum = r3.Add(sum, r3.Cross(r3.Sub(p[k-1], p[0]), r3.Sub(p[k], p[0])))
	}
	return sum
}

// turn is positive where a, b, c turn left seen against the normal.
func turn(normal, a, b, c r3.Vec) float64 {
	return r3.Dot(normal, r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
}

// ears cuts corner after corner whose triangle looks the right way and holds no
// other corner. ok is false where none is left to cut.
func ears(p []r3.Vec, normal r3.Vec, out []int) (cut []int, ok bool) {
	left := make([]int, len(p))
	for i := range left {
		left[i] = i
	}
	for len(left) > 3 {
		found := false
		for k := range left {
			a, b, c := left[(k+len(left)-1)%len(left)], left[k], left[(k+1)%len(left)]
			if !(turn(normal, p[a], p[b], p[c]) > 0) || covers(p, normal, left, a, b, c) {
				continue
			}
			out = append(out, a, b, c)
			left = append(left[:k], left[k+1:]...)
			found = true
			break
		}
		if !found {
			return out, false
		}
	}
	return append(out, left[0], left[1], left[2]), true
}

// covers says whether the triangle a, b, c holds another of the corners left,
// its edges included. A corner at the place of a, b or c does not count.
func covers(p []r3.Vec, normal r3.Vec, left []int, a, b, c int) bool {
	for _, q := range left {
		if p[q] == p[a] || p[q] == p[b] || p[q] == p[c] {
			continue
		}
		if turn(normal, p[a], p[b], p[q]) >= 0 && turn(normal, p[b], p[c], p[q]) >= 0 && turn(normal, p[c], p[a], p[q]) >= 0 {
			return true
		}
	}
	return false
}
