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
	turned [2][]float32 // of each scan: coordinates of vertices along the three directions
	strips [2][]strip
}

// strip is the box round so many faces that follow each other in a scan.
type strip struct{ low, high [3]float32 }

// stripFaces is the number of faces of a strip.
const stripFaces = 256

func newLineCounter(b, a *change.Side) *lineCounter {
	c := &lineCounter{sides: [2]*change.Side{b, a}}
	// Turned by a radian about (1, 2, 3): no line runs along a plane that
	// people cut or models are built from.
	turn := r3.NewRotation(1, r3.Vec{X: 1, Y: 2, Z: 3})
	axes := [3]r3.Vec{turn.Rotate(r3.Vec{X: 1}), turn.Rotate(r3.Vec{Y: 1}), turn.Rotate(r3.Vec{Z: 1})}
	origin := mesh.Bounds(b.Mesh).Centre()
	for n, s := range c.sides {
		out := make([]float32, 3*s.Weld.Count)
		_ = mesh.Parallel(context.Background(), (s.Weld.Count+zoneBlock-1)/zoneBlock, func(b int) {
			for v := b * zoneBlock; v < min(s.Weld.Count, (b+1)*zoneBlock); v++ {
				p := r3.Sub(s.Vertex(uint32(v)), origin)
				for k := range 3 {
					out[3*v+k] = float32(r3.Dot(p, axes[k]))
				}
			}
		})
		c.turned[n] = out
		faces := len(s.Topology.Component)
		c.strips[n] = make([]strip, (faces+stripFaces-1)/stripFaces)
		_ = mesh.Parallel(context.Background(), len(c.strips[n]), func(b int) {
			inf := float32(math.Inf(1))
			box := strip{[3]float32{inf, inf, inf}, [3]float32{-inf, -inf, -inf}}
			for f := b * stripFaces; f < min(faces, (b+1)*stripFaces); f++ {
				i, j, k := s.Topology.Face(uint32(f))
				for _, v := range [3]uint32{i, j, k} {
					for x, p := range out[3*v : 3*v+3] {
						box.low[x], box.high[x] = min(box.low[x], p), max(box.high[x], p)
					}
				}
			}
			c.strips[n][b] = box
		})
	}
	return c
}

// gridError is the least relative standard uncertainty of a count: what 150²
// lines a direction make of solids known exactly.
const gridError = 0.001

// lineCount is the matter of the scan before that the scan after lacks, mm³,
// next to the faces of a mask, and its standard uncertainty from the spread of
// the three directions.
type lineCount struct {
	mm3, u float64
	done   bool // there was a mask
}

// together is the number of areas counted in one pass over the scans.
const together = 16

// count counts for every mask: the faces of an area on the scan before and on
// the scan after, ascending.
func (c *lineCounter) count(ctx context.Context, masks [][2][]uint32, progress func(float64)) ([]lineCount, error) {
	out := make([]lineCount, len(masks))
	for from := 0; from < len(masks); from += together {
		part := masks[from:min(len(masks), from+together)]
		var each [3][]float64
		if err := mesh.Parallel(ctx, 3, func(d int) { each[d] = c.along(ctx, d, part) }); err != nil {
			return nil, err
		}
		for k := range part {
			x := &out[from+k]
			x.done = part[k][0] != nil || part[k][1] != nil
			for d := range 3 {
				x.mm3 += each[d][k] / 3
			}
			for d := range 3 {
				x.u += (each[d][k] - x.mm3) * (each[d][k] - x.mm3) / 6
			}
			x.u = max(math.Sqrt(x.u), gridError*math.Abs(x.mm3))
		}
		progress(float64(from+len(part)) / float64(len(masks)))
	}
	return out, nil
}

// lineBlock is the number of strips that one worker rasterises at a time.
const lineBlock = 128

// along counts on the lines of one direction. What it returns is of no use once
// ctx is done.
func (c *lineCounter) along(ctx context.Context, d int, masks [][2][]uint32) []float64 {
	inf := float32(math.Inf(1))
	// Coordinates across the lines, and along them.
	x, y, z := d, (d+1)%3, (d+2)%3
	nowhere := grid{low: [2]float32{inf, inf}, high: [2]float32{-inf, -inf}}
	grids := make([]grid, len(masks))
	for k, mask := range masks {
		g := &grids[k]
		*g = nowhere
		for n, s := range c.sides {
			for _, f := range mask[n] {
				i, j, k := s.Topology.Face(f)
				for _, v := range [3]uint32{i, j, k} {
					p := c.turned[n][3*v : 3*v+3]
					g.low[0], g.high[0] = min(g.low[0], p[x]), max(g.high[0], p[x])
					g.low[1], g.high[1] = min(g.low[1], p[y]), max(g.high[1], p[y])
				}
			}
		}
		for n := range 2 {
			g.cell[n] = (float64(g.high[n]) - float64(g.low[n])) / linesAcross
		}
	}
	// Per block of strips, then per area.
	var parts [2][][][]crossing
	for n, s := range c.sides {
		p, faces, strips := c.turned[n], len(s.Topology.Component), c.strips[n]
		parts[n] = make([][][]crossing, (len(strips)+lineBlock-1)/lineBlock)
		_ = mesh.Parallel(ctx, len(parts[n]), func(b int) {
			all := make([][]crossing, len(masks))
			for m := b * lineBlock; m < min(len(strips), (b+1)*lineBlock); m++ {
				box := &strips[m]
				for k := range grids {
					g := &grids[k]
					if !g.meets(box.low[x], box.high[x], box.low[y], box.high[y]) {
						continue
					}
					mask := masks[k][n]
					next, _ := slices.BinarySearch(mask, uint32(m*stripFaces))
					for f := m * stripFaces; f < min(faces, (m+1)*stripFaces); f++ {
						masked := next < len(mask) && mask[next] == uint32(f)
						if masked {
							next++
						}
						if s.Topology.Component[f] < 0 {
							continue
						}
						i, j, l := s.Topology.Face(uint32(f))
						u, v, w := p[3*i:3*i+3:3*i+3], p[3*j:3*j+3:3*j+3], p[3*l:3*l+3:3*l+3]
						if g.meets(min(u[x], v[x], w[x]), max(u[x], v[x], w[x]), min(u[y], v[y], w[y]), max(u[y], v[y], w[y])) {
							corner := [3][3]float32{{u[x], u[y], u[z]}, {v[x], v[y], v[z]}, {w[x], w[y], w[z]}}
							all[k] = g.rasterise(all[k], &corner, crossing{before: n == 0, masked: masked})
						}
					}
				}
			}
			parts[n][b] = all
		})
	}
	out := make([]float64, len(masks))
	if ctx.Err() != nil {
		return out
	}
	for k, g := range grids {
		var all []crossing
		for n := range parts {
			for _, part := range parts[n] {
				all = append(all, part[k]...)
			}
		}
		if len(all) == 0 {
			continue
		}
		var sum mesh.Sum
		for _, line := range byLine(all) {
			sum.Add(onLine(line))
		}
		out[k] = sum.Value() * g.cell[0] * g.cell[1]
	}
	return out
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

// grid holds the lines of one direction round one area: they stand in the
// middle of cells.
type grid struct {
	low, high [2]float32
	cell      [2]float64
}

// meets says whether what reaches so far across the lines may have lines of the
// grid.
func (g *grid) meets(lowX, highX, lowY, highY float32) bool {
	return lowX <= g.high[0] && highX >= g.low[0] && lowY <= g.high[1] && highY >= g.low[1]
}

// rasterise appends the crossings of a face with the lines. A line exactly
// through an edge belongs to one of its two faces.
func (g *grid) rasterise(out []crossing, corner *[3][3]float32, what crossing) []crossing {
	if !(g.cell[0] > 0) || !(g.cell[1] > 0) {
		return out
	}
	// Most faces of a fine scan stand between two lines.
	var u, v, w [3]float64
	across := 1 / g.cell[0]
	for n := range corner {
		u[n] = (float64(corner[n][0])-float64(g.low[0]))*across - 0.5
	}
	u0, u1 := max(0, math.Ceil(min(u[0], u[1], u[2]))), min(linesAcross-1, math.Floor(max(u[0], u[1], u[2])))
	if !(u0 <= u1) {
		return out
	}
	across = 1 / g.cell[1]
	for n := range corner {
		v[n] = (float64(corner[n][1])-float64(g.low[1]))*across - 0.5
		w[n] = float64(corner[n][2])
	}
	v0, v1 := max(0, math.Ceil(min(v[0], v[1], v[2]))), min(linesAcross-1, math.Floor(max(v[0], v[1], v[2])))
	if !(v0 <= v1) {
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
