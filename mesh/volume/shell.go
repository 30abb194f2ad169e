package volume

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// shell is the closed surface of one change: the patch of the scan before, the
// patch of the scan after turned round, and what closes the gap between their
// outlines.
type shell struct {
	before, after *patch

	volume float64 // matter of the scan before that the scan after lacks, mm³; negative for matter added
	// What closing rests on.
	ribbonArea float64
	outline    float64 // length of the paired outlines, on the scan after
	rimLength  float64 // of which along the open rim of either scan
	slant      float64 // volume between the ribbon and one that stands upright, at rims only
	capArea    float64 // surface of loops that had no partner
	capDepth   float64 // ∫ distance of their rim from the flat over the cap
	loops      int
	unpaired   int

	openness float64 // |Σ area vectors| / Σ|area vectors|: 0 when closed
}

// sameCurve is the share of their extent up to which two loops may be apart
// and still be taken for the same outline.
const sameCurve = 0.5

// newShell closes two patches about an origin near them.
func newShell(before, after *patch, origin r3.Vec, edge float64) *shell {
	s := &shell{before: before, after: after}
	var six mesh.Sum
	six.Add(before.sixVolume.Value())
	six.Add(-after.sixVolume.Value())
	open := r3.Sub(before.areaVector, after.areaVector)
	size := before.area + after.area
	triangle := func(p, q, r r3.Vec) float64 {
		a := r3.Scale(0.5, r3.Cross(r3.Sub(q, p), r3.Sub(r, p)))
		six.Add(2 * r3.Dot(r3.Sub(p, origin), a))
		open = r3.Add(open, a)
		l := r3.Norm(a)
		size += l
		return l
	}

	points := func(p *patch) [][]r3.Vec {
		out := make([][]r3.Vec, len(p.loops))
		for i, l := range p.loops {
			for _, n := range l.nodes {
				out[i] = append(out[i], p.nodes[n])
			}
		}
		return out
	}
	lb, la := points(before), points(after)
	pairs := partners(lb, la, edge)
	paired := [2][]bool{make([]bool, len(lb)), make([]bool, len(la))}
	for _, p := range pairs {
		paired[0][p.i], paired[1][p.j] = true, true
		s.loops++
		s.bridge(lb[p.i], la[p.j], &before.loops[p.i], &after.loops[p.j], triangle)
	}
	for i, l := range lb {
		if !paired[0][i] {
			s.cap(l, func(p, q, r r3.Vec) float64 { return triangle(q, p, r) })
		}
	}
	for j, l := range la {
		if !paired[1][j] {
			s.cap(l, triangle)
		}
	}
	s.volume = six.Value() / 6
	if size > 0 {
		s.openness = r3.Norm(open) / size
	}
	return s
}

// partners pairs loops by the smallest mean distance.
func partners(b, a [][]r3.Vec, edge float64) []rung {
	type candidate struct {
		rung
		d float64
	}
	var all []candidate
	for i := range b {
		for j := range a {
			d := apart(b[i], a[j])
			if d < max(3*edge, sameCurve*min(extent(b[i]), extent(a[j]))) {
				all = append(all, candidate{rung{i, j}, d})
			}
		}
	}
	slices.SortFunc(all, func(x, y candidate) int {
		return cmp.Or(cmp.Compare(x.d, y.d), cmp.Compare(x.i, y.i), cmp.Compare(x.j, y.j))
	})
	usedB, usedA := map[int]bool{}, map[int]bool{}
	var out []rung
	for _, c := range all {
		if !usedB[c.i] && !usedA[c.j] {
			usedB[c.i], usedA[c.j] = true, true
			out = append(out, c.rung)
		}
	}
	return out
}

// bridge closes the gap between two outlines with a ribbon.
func (s *shell) bridge(b, a []r3.Vec, lb, la *loop, triangle func(p, q, r r3.Vec) float64) {
	path := ribbon(b, a)
	for n := 1; n < len(path); n++ {
		from, to := path[n-1], path[n]
		rim := false
		if from.i != to.i {
			s.ribbonArea += triangle(b[to.i], b[from.i], a[from.j])
			rim = lb.rim[from.i]
		} else {
			s.ribbonArea += triangle(a[from.j], a[to.j], b[from.i])
			rim = la.rim[from.j]
			l := distance(a[from.j], a[to.j])
			s.outline += l
			if rim {
				s.rimLength += l
			}
		}
		if rim {
			s.slant += slantOf(b[from.i], a[from.j], b[to.i], a[to.j], la.normal[from.j])
		}
	}
}

// slantOf is the volume of the wedge between a piece of ribbon at a rim and
// one that stands upright on the surface after: where one scan ends short of
// the other nobody knows how the matter ended.
func slantOf(b0, a0, b1, a1, normal r3.Vec) float64 {
	across := r3.Scale(0.5, r3.Add(r3.Sub(b0, a0), r3.Sub(b1, a1)))
	along := r3.Add(r3.Sub(a1, a0), r3.Sub(b1, b0))
	l, n := r3.Norm(along), r3.Norm(normal)
	if l == 0 || n == 0 {
		return 0
	}
	side := r3.Scale(1/(l*n), r3.Cross(along, normal))
	up := math.Abs(r3.Dot(across, normal)) / n
	// One of the two loop edges may have no length: the piece is as long as
	// the longer one.
	length := max(distance(a0, a1), distance(b0, b1))
	return length * up * math.Abs(r3.Dot(across, side)) / 2
}

// cap closes a loop without partner with a fan about its middle, on its own
// surface. Such loops bound holes in a patch where the gap is about zero.
func (s *shell) cap(l []r3.Vec, triangle func(p, q, r r3.Vec) float64) {
	s.unpaired++
	var middle r3.Vec
	for _, p := range l {
		middle = r3.Add(middle, r3.Scale(1/float64(len(l)), p))
	}
	var normal r3.Vec
	for i, p := range l {
		q := l[(i+1)%len(l)]
		normal = r3.Add(normal, r3.Cross(r3.Sub(p, middle), r3.Sub(q, middle)))
	}
	if n := r3.Norm(normal); n > 0 {
		normal = r3.Scale(1/n, normal)
	}
	off, area := 0.0, 0.0
	for i, p := range l {
		area += triangle(p, l[(i+1)%len(l)], middle)
		off += math.Abs(r3.Dot(r3.Sub(p, middle), normal)) / float64(len(l))
	}
	s.capArea += area
	s.capDepth += area * off
}
