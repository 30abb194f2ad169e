package propose

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
)

// An area's core ends where the gap falls below what the pair can claim, which
// is inside the true edge of anything that fades out. Its faces are looked for
// farther out, as long as the gap keeps its sign by one standard deviation or
// the colour changed with it.
const (
	growSteps = 6   // how far at least, in steps of the change
	growShare = 0.3 // and for large areas, as a share of the radius of a disc of their size
	growMost  = 8.0 // mm
)

// findNear averages the gap over less than the change does, and finds its spread
// where nothing changed.
func (w *work) findNear() {
	s := w.Change.After
	w.near = mesh.SmoothField(s.Topology, s.Gap, nearRounds)
	var list []float64
	for v, g := range w.near {
		if w.unchanged(v) && !math.IsNaN(g) {
			list = append(list, math.Abs(g))
		}
	}
	w.nearSpread = max(madToSigma*median(list), w.Change.LimitMM/6)
}

// nearRounds is the number of rounds of that averaging.
const nearRounds = 2

// grow gives every vertex of the scan after the change area it belongs to. All
// areas grow at once, vertex by vertex, nearest first by rounds over edges, so
// that two that touch share what lies between.
func (w *work) grow() {
	s, c := w.Change.After, w.Change
	w.owner = append([]int32(nil), s.Core...)
	far := make([]float64, len(w.owner))
	reach := make([]float64, len(c.Areas))
	for k, a := range c.Areas {
		reach[k] = min(growMost, max(growSteps*c.StepMM, growShare*math.Sqrt(a.Surface.Value/math.Pi)))
	}
	var front, next, ring []uint32
	for v, k := range w.owner {
		if k >= 0 {
			front = append(front, uint32(v))
		}
	}
	for len(front) > 0 {
		next = next[:0]
		for _, v := range front {
			k := w.owner[v]
			ring = s.Topology.Ring(v, ring[:0])
			for _, u := range ring {
				d := far[v] + r3.Norm(r3.Sub(s.Vertex(u), s.Vertex(v)))
				if w.owner[u] >= 0 || d > reach[k] || !w.continues(c.Areas[k].Kind, u) {
					continue
				}
				w.owner[u], far[u] = k, d
				next = append(next, u)
			}
		}
		front, next = next, front
	}
}

// continues says whether a vertex goes on where an area's core ends.
func (w *work) continues(kind change.Kind, v uint32) bool {
	g, near := w.Change.After.Smooth[v], w.near[v]
	if kind == change.Removed {
		g, near = -g, -near
	}
	if w.difference != nil && w.difference[v] > w.clear && g > -w.Change.LimitMM {
		return true // colour sees the edge of a film that the gap cannot
	}
	// Wide averaging smears a steep edge outward: the gap close by must say so
	// too. The limit is three standard deviations; where colour saw nothing, the
	// gap must be plainer.
	least := w.Change.LimitMM / 3
	if w.difference != nil {
		least *= 2
	}
	return g > least && near > w.nearSpread
}

// border returns the longest closed line round the faces whose vertices belong
// to an area, in the scan's own frame, about spacing mm from point to point and
// smoothed over twice that; nil where there is none.
func (w *work) border(belongs func(v uint32) bool, spacing float64) [][3]float64 {
	s := w.Change.After
	inside := func(f int32) bool {
		if f < 0 {
			return false
		}
		i, j, k := s.Topology.Face(uint32(f))
		return count(belongs, i, j, k) >= 2
	}
	// Edges with the area on their left, by the vertex they start from.
	from := map[uint32][]uint32{}
	var starts []uint32
	for f, part := range s.Topology.Component {
		if part < 0 || !inside(int32(f)) {
			continue
		}
		var t [3]uint32
		t[0], t[1], t[2] = s.Topology.Face(uint32(f))
		for k := range 3 {
			if !inside(s.Topology.Neighbour[3*f+k]) {
				from[t[k]] = append(from[t[k]], t[(k+1)%3])
				starts = append(starts, t[k])
			}
		}
	}
	var best []uint32
	length := 0.0
	for _, start := range starts {
		if len(from[start]) == 0 {
			continue
		}
		loop, l := []uint32{start}, 0.0
		for at := start; ; {
			out := from[at]
			if len(out) == 0 {
				break // the walk ran into a line that was used up
			}
			next := out[len(out)-1]
			from[at] = out[:len(out)-1]
			l += r3.Norm(r3.Sub(s.Vertex(next), s.Vertex(at)))
			if at = next; at == start {
				break
			}
			loop = append(loop, at)
		}
		if l > length {
			best, length = loop, l
		}
	}
	if len(best) < 8 {
		return nil
	}
	m := w.After.Surface.Mesh
	// A line of edges runs zigzag: two rounds of averaging over a few edges to
	// either side leave the way it takes.
	line := make([]r3.Vec, len(best))
	for i, v := range best {
		line[i] = m.Vertex(s.First[v])
	}
	n := int(max(8, math.Round(length/spacing)))
	width := max(borderEdges, len(best)/n)
	for range 2 {
		line = averagedRound(line, width)
	}
	out := make([][3]float64, 0, n+1)
	for i := range n {
		if place, _, ok := w.After.Surface.Locate(line[i*len(line)/n]); ok {
			p := m.At(place)
			out = append(out, [3]float64{p.X, p.Y, p.Z})
		}
	}
	if len(out) > 0 {
		out = append(out, out[0])
	}
	return out
}

// borderEdges is over how many edges to either side a border is averaged.
const borderEdges = 3

// averagedRound averages every point of a closed line with its neighbours.
func averagedRound(line []r3.Vec, width int) []r3.Vec {
	n := len(line)
	out := make([]r3.Vec, n)
	for i := range line {
		var sum r3.Vec
		for d := -width; d <= width; d++ {
			sum = r3.Add(sum, line[((i+d)%n+n)%n])
		}
		out[i] = r3.Scale(1/float64(2*width+1), sum)
	}
	return out
}
