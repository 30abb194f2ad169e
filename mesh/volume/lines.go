package volume

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
)

// linesAcross is the number of lines along either side of the grid.
const linesAcross = 150

// crossing of a line with a face.
type crossing struct {
	line   uint32
	at     float64 // along the line
	enters bool    // from outside to inside
	before bool    // of the scan before
	masked bool    // the face lies in the area
}

// lineCounter counts along lines of three directions at right angles that
// follow no axis of the scans: on each line of a grid the crossings with both
// scans are put in order, and the pieces that are inside the one scan and
// outside the other, and end at a face of the area, are added up. It shares
// nothing with the shell but the two meshes and the mask. Both scans must be
// closed.
type lineCounter struct {
	sides  [2]*change.Side
	turned [3][2][]float32 // for each direction and scan: coordinates of vertices, the last along the lines
}

func newLineCounter(b, a *change.Side) *lineCounter {
	c := &lineCounter{sides: [2]*change.Side{b, a}}
	// Turned by a radian about (1, 2, 3): no line runs along a plane that
	// people cut or models are built from.
	turn := r3.NewRotation(1, r3.Vec{X: 1, Y: 2, Z: 3})
	axes := [3]r3.Vec{turn.Rotate(r3.Vec{X: 1}), turn.Rotate(r3.Vec{Y: 1}), turn.Rotate(r3.Vec{Z: 1})}
	origin := mesh.Bounds(b.Mesh).Centre()
	_ = mesh.Parallel(context.Background(), 6, func(n int) {
		d, s := n/2, c.sides[n%2]
		out := make([]float32, 3*s.Weld.Count)
		for v := range uint32(s.Weld.Count) {
			p := r3.Sub(s.Vertex(v), origin)
			for k := range 3 {
				out[3*int(v)+k] = float32(r3.Dot(p, axes[(d+k)%3]))
			}
		}
		c.turned[d][n%2] = out
	})
	return c
}

// gridError is the least relative standard uncertainty of a count: what 150²
// lines a direction make of solids known exactly.
const gridError = 0.001

// count returns the matter of the scan before that the scan after lacks, mm³,
// next to the faces marked, and its standard uncertainty from the spread of the
// three directions.
func (c *lineCounter) count(ctx context.Context, masks [2][]bool) (v, u float64, err error) {
	var each [3]float64
	err = mesh.Parallel(ctx, 3, func(d int) { each[d] = c.along(d, masks) })
	v = (each[0] + each[1] + each[2]) / 3
	for _, e := range each {
		u += (e - v) * (e - v) / 6
	}
	return v, max(math.Sqrt(u), gridError*math.Abs(v)), err
}

// along counts on the lines of one direction.
func (c *lineCounter) along(d int, masks [2][]bool) float64 {
	inf := float32(math.Inf(1))
	lo, hi := [2]float32{inf, inf}, [2]float32{-inf, -inf}
	for n, s := range c.sides {
		for f, in := range masks[n] {
			if !in {
				continue
			}
			i, j, k := s.Topology.Face(uint32(f))
			for _, v := range [3]uint32{i, j, k} {
				p := c.turned[d][n][3*v : 3*v+3]
				for x := range 2 {
					lo[x], hi[x] = min(lo[x], p[x]), max(hi[x], p[x])
				}
			}
		}
	}
	g := grid{}
	for x := range 2 {
		if !(lo[x] < hi[x]) {
			return 0
		}
		g.lo[x], g.cell[x] = float64(lo[x]), float64(hi[x]-lo[x])/linesAcross
	}
	var all []crossing
	for n, s := range c.sides {
		p := c.turned[d][n]
		for f, part := range s.Topology.Component {
			if part < 0 {
				continue
			}
			i, j, k := s.Topology.Face(uint32(f))
			a, b, e := p[3*i:3*i+3:3*i+3], p[3*j:3*j+3:3*j+3], p[3*k:3*k+3:3*k+3]
			if min(a[0], b[0], e[0]) > hi[0] || max(a[0], b[0], e[0]) < lo[0] ||
				min(a[1], b[1], e[1]) > hi[1] || max(a[1], b[1], e[1]) < lo[1] {
				continue
			}
			all = g.rasterise(all, a, b, e, crossing{before: n == 0, masked: masks[n][f]})
		}
	}
	var sum mesh.Sum
	for _, line := range byLine(all) {
		sum.Add(onLine(line))
	}
	return sum.Value() * g.cell[0] * g.cell[1]
}

// byLine sorts crossings into lines and each line along itself; where two
// scans touch, the scan after comes first and leaving before entering.
func byLine(all []crossing) [][]crossing {
	start := make([]int, linesAcross*linesAcross+1)
	for _, x := range all {
		start[x.line+1]++
	}
	for l := range linesAcross * linesAcross {
		start[l+1] += start[l]
	}
	sorted := make([]crossing, len(all))
	next := slices.Clone(start)
	for _, x := range all {
		sorted[next[x.line]] = x
		next[x.line]++
	}
	lines := make([][]crossing, linesAcross*linesAcross)
	for l := range lines {
		lines[l] = sorted[start[l]:start[l+1]]
		slices.SortFunc(lines[l], func(p, q crossing) int {
			return cmp.Or(cmp.Compare(p.at, q.at), boolCompare(p.before, q.before), boolCompare(p.enters, q.enters))
		})
	}
	return lines
}

func boolCompare(p, q bool) int {
	switch {
	case p == q:
		return 0
	case p:
		return 1
	}
	return -1
}

// onLine is the length of matter lost along one line less that of matter
// gained, next to faces of the area.
func onLine(c []crossing) float64 {
	// Whether a scan is inside before its first crossing follows from it.
	var inside [2]bool
	for n := range 2 {
		for _, x := range c {
			if x.before == (n == 0) {
				inside[n] = !x.enters
				break
			}
		}
	}
	sum := 0.0
	for i, x := range c {
		if i > 0 && inside[0] != inside[1] && (c[i-1].masked || x.masked) {
			if inside[0] {
				sum += x.at - c[i-1].at
			} else {
				sum -= x.at - c[i-1].at
			}
		}
		if x.before {
			inside[0] = x.enters
		} else {
			inside[1] = x.enters
		}
	}
	return sum
}

// grid holds the lines of one direction: they stand in the middle of cells.
type grid struct{ lo, cell [2]float64 }

// rasterise appends the crossings of a face with the lines. A line exactly
// through an edge belongs to one of its two faces.
func (g *grid) rasterise(out []crossing, a, b, c []float32, what crossing) []crossing {
	var u, v, w [3]float64
	for n, p := range [3][]float32{a, b, c} {
		u[n] = (float64(p[0])-g.lo[0])/g.cell[0] - 0.5
		v[n] = (float64(p[1])-g.lo[1])/g.cell[1] - 0.5
		w[n] = float64(p[2])
	}
	u0, u1 := max(0, math.Ceil(min(u[0], u[1], u[2]))), min(linesAcross-1, math.Floor(max(u[0], u[1], u[2])))
	v0, v1 := max(0, math.Ceil(min(v[0], v[1], v[2]))), min(linesAcross-1, math.Floor(max(v[0], v[1], v[2])))
	if !(u0 <= u1) || !(v0 <= v1) {
		return out
	}
	turn := edgeSide(u[0], v[0], u[1], v[1], u[2], v[2])
	if turn == 0 {
		return out
	}
	// A face that looks back along the lines is where they enter.
	what.enters = turn < 0
	for i := u0; i <= u1; i++ {
		for j := v0; j <= v1; j++ {
			var e [3]float64
			in := true
			for n := range 3 {
				k := (n + 1) % 3
				e[n] = edgeSide(u[n], v[n], u[k], v[k], i, j)
				if turn < 0 {
					e[n] = -e[n]
				}
				if e[n] < 0 || (e[n] == 0 && !owns(u[n], v[n], u[k], v[k], turn < 0)) {
					in = false
					break
				}
			}
			if s := e[0] + e[1] + e[2]; in && s > 0 {
				what.line = uint32(i)*linesAcross + uint32(j)
				what.at = (e[1]*w[0] + e[2]*w[1] + e[0]*w[2]) / s
				out = append(out, what)
			}
		}
	}
	return out
}

// edgeSide is twice the area of the triangle a b p, positive to the left of
// a→b, with the same rounding for both directions of the edge.
func edgeSide(ax, ay, bx, by, px, py float64) float64 {
	if ax > bx || (ax == bx && ay > by) {
		return -edgeSide(bx, by, ax, ay, px, py)
	}
	return (bx-ax)*(py-ay) - (by-ay)*(px-ax)
}

// owns decides for a line exactly through an edge: one direction of the edge
// has it, the opposite one has not.
func owns(ax, ay, bx, by float64, turned bool) bool {
	if turned {
		ax, ay, bx, by = bx, by, ax, ay
	}
	return ay < by || (ay == by && ax > bx)
}
