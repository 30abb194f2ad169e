package mesh

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Section cuts the surface with the plane through a place with a normal and
// returns the lines of the cut, in the order of their first face; a line that
// closes ends where it began. Corners on the plane count as before it, so that
// every cut face has exactly two cut edges and no line branches there. Faces
// that take no part in the topology are left out; lines end at borders and where
// more than two faces meet.
func Section(m *Mesh, t *Topology, at, normal r3.Vec) [][]r3.Vec {
	side := func(p r3.Vec) float64 { return r3.Dot(r3.Sub(p, at), normal) }
	var cut cuts
	for f := range uint32(m.FaceCount()) {
		if t.Component[f] < 0 {
			continue
		}
		a, b, c := m.Corners(f)
		x, y, z := side(a) >= 0, side(b) >= 0, side(c) >= 0
		if x != y || y != z {
			cut = append(cut, f)
		}
	}
	met := make([]bool, len(cut))
	var lines [][]r3.Vec
	for i, f := range cut {
		if met[i] {
			continue
		}
		met[i] = true
		k, l := cutEdges(m, f, side)
		line := []r3.Vec{onPlane(m, f, k, side), onPlane(m, f, l, side)}
		line, closed := cut.follow(m, t, f, l, line, met, side)
		if !closed {
			slices.Reverse(line)
			line, _ = cut.follow(m, t, f, k, line, met, side)
		}
		lines = append(lines, line)
	}
	return lines
}

// cuts is the faces that a plane cuts, ascending.
type cuts []uint32

// follow goes on from face f over its edge k and appends where each next face
// is left, until the line closes or ends.
func (c cuts) follow(m *Mesh, t *Topology, f uint32, k int, line []r3.Vec, met []bool, side func(r3.Vec) float64) (out []r3.Vec, closed bool) {
	first := f
	for {
		n := t.Neighbour[3*f+uint32(k)]
		if n < 0 {
			return line, false
		}
		g := uint32(n)
		if g == first {
			return line, true
		}
		i, ok := slices.BinarySearch(c, g)
		if !ok || met[i] {
			return line, false
		}
		met[i] = true
		// Out again by the cut edge that does not lead back.
		a, b := cutEdges(m, g, side)
		if t.Neighbour[3*g+uint32(a)] == int32(f) && sameEdge(t, f, k, g, a) {
			a = b
		}
		line = append(line, onPlane(m, g, a, side))
		f, k = g, a
	}
}

func sameEdge(t *Topology, f uint32, k int, g uint32, l int) bool {
	var p, q [3]uint32
	p[0], p[1], p[2] = t.Face(f)
	q[0], q[1], q[2] = t.Face(g)
	a, b, c, d := p[k], p[(k+1)%3], q[l], q[(l+1)%3]
	return (a == c && b == d) || (a == d && b == c)
}

// cutEdges are the two edges of a cut face that the plane crosses.
func cutEdges(m *Mesh, f uint32, side func(r3.Vec) float64) (k, l int) {
	a, b, c := m.Corners(f)
	x, y, z := side(a) >= 0, side(b) >= 0, side(c) >= 0
	switch {
	case x == y:
		return 1, 2
	case y == z:
		return 0, 2
	default:
		return 0, 1
	}
}

// onPlane is where an edge of a face meets the plane; it is worked out from the
// same end on both sides of the edge.
func onPlane(m *Mesh, f uint32, k int, side func(r3.Vec) float64) r3.Vec {
	var p [3]r3.Vec
	p[0], p[1], p[2] = m.Corners(f)
	a, b := p[k], p[(k+1)%3]
	if side(a) < 0 {
		a, b = b, a
	}
	d, e := side(a), side(b)
	return r3.Add(a, r3.Scale(d/(d-e), r3.Sub(b, a)))
}
