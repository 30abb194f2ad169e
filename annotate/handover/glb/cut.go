package glb

import (
	"rigatino/annotate/facemap"
	"rigatino/mesh"
)

// triangle is one piece of surface as it is written out: a whole scan face, or
// a part of a face that an outline crosses or that touches such a face.
type triangle struct {
	source    uint32    // scan face
	corners   [3]corner // counter-clockwise
	substance uint16    // region number in layer A, 0 for unassigned
	overlays  []uint16  // region numbers in layers B and C, ascending
}

// corner is a vertex of a cut face: a stored vertex where one weight is 1, else
// a point between the face's corners.
type corner struct{ weights [3]float64 }

func (c corner) vertex() (k int, ok bool) {
	for k, w := range c.weights {
		if w == 1 {
			return k, true
		}
	}
	return 0, false
}

// cut calls emit for every triangle of the surface, in scan order. Faces counted
// in another part are left out. A face that is not split but shares an edge with
// a split one gets the split edge's points too, fanned so that no T-junction
// stays and the surface remains closed where it was.
func cut(m *mesh.Mesh, w *mesh.Weld, labels *facemap.Map, emit func(triangle)) {
	levels := edgeLevels(m, w, labels)
	var over []uint16
	for f := range uint32(m.FaceCount()) {
		if labels.Elsewhere(f) {
			continue
		}
		var edges [3]uint8
		if len(levels.at) > 0 {
			edges = levels.of(m, w, f)
		}
		s := labels.Sub(f)
		if s == nil {
			over = labels.Overlays(f, over[:0])
			whole := triangle{source: f, substance: labels.Substance(f), overlays: append([]uint16(nil), over...)}
			fan(facemap.CellCorners(0, 0), edges, 0, whole, emit)
			continue
		}
		for cell := range facemap.Cells(s.Level) {
			t := triangle{source: f, substance: s.Substance[cell]}
			for _, o := range s.Over {
				if o.Cells>>cell&1 == 1 {
					t.overlays = append(t.overlays, o.Region)
				}
			}
			fan(facemap.CellCorners(s.Level, cell), edges, s.Level, t, emit)
		}
	}
}

// fan emits a cell, given by the weights of its corners, with the extra points
// that its sides get from finer neighbours across the face's edges.
func fan(c [3][3]float64, edges [3]uint8, level uint8, t triangle, emit func(triangle)) {
	ring := make([]corner, 0, 8)
	sides, last := 0, 0
	for k := range 3 {
		a, b := c[k], c[(k+1)%3]
		ring = append(ring, corner{a})
		edge := alongEdge(a, b)
		if edge < 0 || edges[edge] <= level {
			continue
		}
		sides, last = sides+1, k
		n := 1 << (edges[edge] - level)
		for i := 1; i < n; i++ {
			s := float64(i) / float64(n)
			var p [3]float64
			for j := range 3 {
				p[j] = a[j] + (b[j]-a[j])*s
			}
			ring = append(ring, corner{p})
		}
	}
	out := func(a, b, c corner) {
		t.corners = [3]corner{a, b, c}
		emit(t)
	}
	switch sides {
	case 0:
		out(ring[0], ring[1], ring[2])
	case 1:
		// From the corner opposite the one side that has points.
		apex := corner{c[(last+2)%3]}
		for i := range ring {
			a, b := ring[i], ring[(i+1)%len(ring)]
			if a != apex && b != apex {
				out(apex, a, b)
			}
		}
	default:
		var mid corner
		for k := range 3 {
			for j := range 3 {
				mid.weights[j] += c[k][j] / 3
			}
		}
		for i := range ring {
			out(mid, ring[i], ring[(i+1)%len(ring)])
		}
	}
}

// alongEdge returns the face edge (corner k to k+1) that both places lie on, or
// -1. Weights of cell corners are exact, so zero is zero.
func alongEdge(a, b [3]float64) int {
	for k := range 3 {
		opposite := (k + 2) % 3
		if a[opposite] == 0 && b[opposite] == 0 {
			return k
		}
	}
	return -1
}

// edges holds how finely the edges of split faces are cut, by welded ends.
type edges struct {
	at      map[[2]uint32]uint8
	touched []bool // welded vertices that are ends of such an edge
}

func edgeLevels(m *mesh.Mesh, w *mesh.Weld, labels *facemap.Map) edges {
	split := labels.SplitFaces()
	if len(split) == 0 {
		return edges{}
	}
	e := edges{at: make(map[[2]uint32]uint8, 3*len(split)), touched: make([]bool, w.Count)}
	for _, f := range split {
		level := labels.Sub(f).Level
		for k := range 3 {
			key := edgeKey(m, w, f, k)
			e.touched[key[0]], e.touched[key[1]] = true, true
			if level > e.at[key] {
				e.at[key] = level
			}
		}
	}
	return e
}

func (e edges) of(m *mesh.Mesh, w *mesh.Weld, f uint32) (out [3]uint8) {
	for k := range 3 {
		key := edgeKey(m, w, f, k)
		if e.touched[key[0]] && e.touched[key[1]] {
			out[k] = e.at[key]
		}
	}
	return out
}

func edgeKey(m *mesh.Mesh, w *mesh.Weld, f uint32, k int) [2]uint32 {
	a, b := w.Of[m.Triangles[3*f+uint32(k)]], w.Of[m.Triangles[3*f+uint32(k+1)%3]]
	if a > b {
		a, b = b, a
	}
	return [2]uint32{a, b}
}

// position returns the coordinates of a corner about the mesh's origin. A point
// on an edge comes out the same from both faces: its weights are multiples of
// 1/8, so every product is exact and the order of the sum does not matter.
func position(m *mesh.Mesh, face uint32, c corner) (p [3]float64) {
	for k := range 3 {
		v := m.Triangles[3*face+uint32(k)]
		for j := range 3 {
			p[j] += c.weights[k] * float64(m.Positions[3*v+uint32(j)])
		}
	}
	return p
}
