package volume

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// rung is a step of a ribbon: node i of the one loop is joined to node j of
// the other.
type rung struct{ i, j int }

// fullTable is the number of cells up to which a ribbon is found by looking at
// every pair of nodes. Longer loops are solved coarsely first and then within
// a band about that path.
const fullTable = 1 << 22

// ribbon joins two closed loops of points that run the same way by the strip
// of triangles whose cross edges have the least sum of squares (dynamic
// programming over the table of pairs; Fuchs, Kedem and Uselton, Comm. ACM
// 20:693, 1977), begun at the closest pair. It returns the rungs in order; the
// last is the first again, one turn on.
func ribbon(a, b []r3.Vec) []rung {
	si, sj := closestPair(a, b)
	turn := func(l []r3.Vec, start int) []r3.Vec {
		out := make([]r3.Vec, 0, len(l)+1)
		out = append(append(append(out, l[start:]...), l[:start]...), l[start])
		return out
	}
	path := align(turn(a, si), turn(b, sj))
	for n := range path {
		path[n].i = (path[n].i + si) % len(a)
		path[n].j = (path[n].j + sj) % len(b)
	}
	return path
}

// closestPair returns the indices of the closest points of two loops, the
// first such pair in order. Long loops are thinned, which moves the start of a
// ribbon by a few nodes only.
func closestPair(a, b []r3.Vec) (int, int) {
	step := 1
	for (len(a)/step+1)*(len(b)/step+1) > fullTable {
		step *= 2
	}
	bi, bj, best := 0, 0, math.Inf(1)
	for i := 0; i < len(a); i += step {
		for j := 0; j < len(b); j += step {
			if d := r3.Norm2(r3.Sub(a[i], b[j])); d < best {
				bi, bj, best = i, j, d
			}
		}
	}
	return bi, bj
}

// align joins the chains a and b from their first to their last points.
func align(a, b []r3.Vec) []rung {
	n, m := len(a), len(b)
	lo, hi := make([]int, n), make([]int, n)
	for i := range hi {
		hi[i] = m - 1
	}
	if n*m > fullTable && n > 8 && m > 8 {
		// Halve both chains, solve, and stay near that path.
		const margin = 4
		for i := range lo {
			lo[i], hi[i] = m-1, 0
		}
		for _, r := range align(halved(a), halved(b)) {
			for i := max(0, 2*r.i-margin); i <= min(n-1, 2*r.i+margin); i++ {
				lo[i] = min(lo[i], max(0, 2*r.j-margin))
				hi[i] = max(hi[i], min(m-1, 2*r.j+margin))
			}
		}
		lo[0], hi[n-1] = 0, m-1
	}
	return within(a, b, lo, hi)
}

// halved keeps every second point and the last.
func halved(l []r3.Vec) []r3.Vec {
	out := make([]r3.Vec, 0, len(l)/2+2)
	for i := 0; i < len(l); i += 2 {
		out = append(out, l[i])
	}
	if len(l)%2 == 0 {
		out = append(out, l[len(l)-1])
	}
	return out
}

// within is the dynamic programme over the cells lo[i] ≤ j ≤ hi[i].
func within(a, b []r3.Vec, lo, hi []int) []rung {
	n, m := len(a), len(b)
	const fromA, fromB = 1, 2 // the step that led here went along a or along b
	inf := math.Inf(1)
	steps := make([][]uint8, n)
	last := make([]float64, m)
	for j := range last {
		last[j] = inf
	}
	row := make([]float64, m)
	for i := range n {
		steps[i] = make([]uint8, hi[i]-lo[i]+1)
		for j := range row {
			row[j] = inf
		}
		for j := lo[i]; j <= hi[i]; j++ {
			cost, step := inf, uint8(0)
			if i == 0 && j == 0 {
				cost = 0
			}
			if i > 0 && last[j] < cost {
				cost, step = last[j], fromA
			}
			if j > lo[i] && row[j-1] < cost {
				cost, step = row[j-1], fromB
			}
			row[j] = cost + r3.Norm2(r3.Sub(a[i], b[j]))
			steps[i][j-lo[i]] = step
		}
		last, row = row, last
	}
	var path []rung
	for i, j := n-1, m-1; ; {
		path = append(path, rung{i, j})
		if i == 0 && j == 0 {
			break
		}
		if steps[i][j-lo[i]] == fromA {
			i--
		} else {
			j--
		}
	}
	for x, y := 0, len(path)-1; x < y; x, y = x+1, y-1 {
		path[x], path[y] = path[y], path[x]
	}
	return path
}
