// Package solid makes meshes of bodies whose area, volume and moments are
// known in closed form. Tests measure against them, the demo specimen is built
// from some of them.
//
// All lengths are in one unit, millimetres where a unit matters; bodies stand
// about zero with z upwards, faces look outward, vertices are shared. Closed
// bodies are closed to the last edge. The sizes are not checked: a negative
// radius turns a body inside out, and counts below three make no body.
package solid

import (
	"math"

	"rigatino/mesh"
)

// build collects vertices in float64 and triangles.
type build struct {
	points    [][3]float64
	triangles []uint32
}

func (b *build) vertex(x, y, z float64) uint32 {
	b.points = append(b.points, [3]float64{x, y, z})
	return uint32(len(b.points) - 1)
}

func (b *build) face(i, j, k uint32) { b.triangles = append(b.triangles, i, j, k) }

// quad cuts the quadrangle i j k l along i–k.
func (b *build) quad(i, j, k, l uint32) {
	b.face(i, j, k)
	b.face(i, k, l)
}

func (b *build) mesh() *mesh.Mesh {
	m := &mesh.Mesh{Positions: make([]float32, 0, 3*len(b.points)), Triangles: b.triangles}
	for _, p := range b.points {
		m.Positions = append(m.Positions, float32(p[0]), float32(p[1]), float32(p[2]))
	}
	return m
}

// ring adds n vertices on a circle of radius r at height z, the first at angle
// `turn` from x, and returns the first of them.
func (b *build) ring(r, z float64, n int, turn float64) uint32 {
	first := uint32(len(b.points))
	for i := range n {
		s, c := math.Sincos(turn + 2*math.Pi*float64(i)/float64(n))
		b.vertex(r*c, r*s, z)
	}
	return first
}

// band joins two rings of n vertices, the second one above or outside the
// first as seen from outside.
func (b *build) band(low, high uint32, n int) {
	for i := range uint32(n) {
		j := (i + 1) % uint32(n)
		b.quad(low+i, low+j, high+j, high+i)
	}
}

// fan closes a ring with a middle vertex; up says on which side it is seen.
func (b *build) fan(middle, ring uint32, n int, up bool) {
	for i := range uint32(n) {
		j := (i + 1) % uint32(n)
		if up {
			b.face(middle, ring+i, ring+j)
		} else {
			b.face(middle, ring+j, ring+i)
		}
	}
}
