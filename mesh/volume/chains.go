package volume

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// chain is a loop of a patch, or several bridged to one, with its places.
type chain struct {
	points []r3.Vec
	rim    []bool   // of the edge to the next point
	normal []r3.Vec // area vector of the face at that edge
}

func chainsOf(p *patch) []*chain {
	out := make([]*chain, len(p.loops))
	for i, l := range p.loops {
		c := &chain{rim: l.rim, normal: l.normal}
		for _, n := range l.nodes {
			c.points = append(c.points, p.nodes[n])
		}
		out[i] = c
	}
	return out
}

// sameCurve is the share of their extent up to which two loops may be apart
// and still be taken for the same outline.
const sameCurve = 0.25

// match pairs the loops of the two patches that are the same curve, by the
// smallest mean distance. Where one patch has two lobes that hang together on
// the other, a loop is left over that runs along a loop already paired: it is
// bridged to that one's partner. What still has no partner is returned in
// loose, for either side.
func match(b, a []*chain, edge float64) (pairs [][2]*chain, loose [2][]*chain) {
	sides := [2][]*chain{b, a}
	type candidate struct {
		i, j int
		d    float64
	}
	var all []candidate
	reach := func(c *chain) float64 { return max(edge, sameCurve*extent(c.points)) }
	// along[0][i][j]: how far loop i of b lies from loop j of a; along[1] the
	// other way.
	var along [2][][]float64
	for s := range 2 {
		along[s] = make([][]float64, len(sides[s]))
		for i, c := range sides[s] {
			for _, o := range sides[1-s] {
				along[s][i] = append(along[s][i], toNearest(c.points, o.points))
			}
		}
	}
	for i := range b {
		for j := range a {
			d := (along[0][i][j] + along[1][j][i]) / 2
			if d < min(reach(b[i]), reach(a[j])) {
				all = append(all, candidate{i, j, d})
			}
		}
	}
	slices.SortFunc(all, func(x, y candidate) int {
		return cmp.Or(cmp.Compare(x.d, y.d), cmp.Compare(x.i, y.i), cmp.Compare(x.j, y.j))
	})
	partner := [2][]int{filled(len(b), -1), filled(len(a), -1)}
	for _, c := range all {
		if partner[0][c.i] < 0 && partner[1][c.j] < 0 {
			partner[0][c.i], partner[1][c.j] = c.j, c.i
		}
	}
	joined := [2][]*chain{slices.Clone(b), slices.Clone(a)}
	for s := range 2 {
		for i, c := range sides[s] {
			if partner[s][i] >= 0 {
				continue
			}
			best := -1
			for j, d := range along[s][i] {
				if partner[1-s][j] >= 0 && d < reach(c) && (best < 0 || d < along[s][i][best]) {
					best = j
				}
			}
			if best < 0 {
				loose[s] = append(loose[s], c)
				continue
			}
			main := partner[1-s][best]
			joined[s][main] = joined[s][main].bridgedTo(c)
		}
	}
	for i, j := range partner[0] {
		if j >= 0 {
			pairs = append(pairs, [2]*chain{joined[0][i], joined[1][j]})
		}
	}
	return pairs, loose
}

func filled(n, value int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = value
	}
	return out
}

// bridgedTo makes one chain of two by an edge there and back between their
// closest points.
func (c *chain) bridgedTo(o *chain) *chain {
	i, j := closestPair(c.points, o.points)
	out := &chain{}
	add := func(l *chain, start int) {
		n := len(l.points)
		for k := range n + 1 {
			at := (start + k) % n
			out.points = append(out.points, l.points[at])
			// The last one leads over the bridge.
			out.rim = append(out.rim, k < n && l.rim[at])
			out.normal = append(out.normal, l.normal[at])
		}
	}
	add(c, i)
	add(o, j)
	return out
}

// toNearest is the mean distance from the points of one loop (or of 512 of
// them, evenly) to the nearest point of another.
func toNearest(from, to []r3.Vec) float64 {
	step := max(1, len(from)/512)
	sum, n := 0.0, 0
	for i := 0; i < len(from); i += step {
		best := math.Inf(1)
		for _, q := range to {
			best = min(best, r3.Norm2(r3.Sub(from[i], q)))
		}
		sum += math.Sqrt(best)
		n++
	}
	return sum / float64(n)
}

// extent is the diagonal of the box round a loop.
func extent(l []r3.Vec) float64 {
	lo, hi := l[0], l[0]
	for _, p := range l {
		lo = r3.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y), Z: min(lo.Z, p.Z)}
		hi = r3.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y), Z: max(hi.Z, p.Z)}
	}
	return r3.Norm(r3.Sub(hi, lo))
}
