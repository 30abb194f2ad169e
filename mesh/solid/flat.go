package solid

import (
	"math"

	"rigatino/mesh"
)

// Cube has the given side and stands about zero, in 12 triangles.
func Cube(side float64) *mesh.Mesh { return Box(side, side, side) }

// Box has the given sides and stands about zero, in 12 triangles.
func Box(x, y, z float64) *mesh.Mesh {
	g := &build{}
	for i := range 8 {
		s := func(bit int, l float64) float64 {
			if i>>bit&1 == 1 {
				return l / 2
			}
			return -l / 2
		}
		g.vertex(s(0, x), s(1, y), s(2, z))
	}
	g.quad(0, 2, 3, 1) // below
	g.quad(4, 5, 7, 6) // above
	g.quad(0, 1, 5, 4) // front
	g.quad(2, 6, 7, 3) // back
	g.quad(0, 4, 6, 2) // left
	g.quad(1, 3, 7, 5) // right
	return g.mesh()
}

// Tetrahedron is the corner of a box: zero and one vertex on each axis.
func Tetrahedron(x, y, z float64) *mesh.Mesh {
	g := &build{}
	o, a, b, c := g.vertex(0, 0, 0), g.vertex(x, 0, 0), g.vertex(0, y, 0), g.vertex(0, 0, z)
	g.face(o, b, a)
	g.face(o, a, c)
	g.face(o, c, b)
	g.face(a, b, c)
	return g.mesh()
}

// Plane is a square of the given side about zero in z = 0, seen from above, in
// n × n cells of two triangles each: an open surface.
func Plane(side float64, n int) *mesh.Mesh {
	g := &build{}
	for j := range n + 1 {
		for i := range n + 1 {
			g.vertex(side*(float64(i)/float64(n)-0.5), side*(float64(j)/float64(n)-0.5), 0)
		}
	}
	at := func(i, j int) uint32 { return uint32(j*(n+1) + i) }
	for j := range n {
		for i := range n {
			g.quad(at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1))
		}
	}
	return g.mesh()
}

// BrokenFace is a broken face of 20 × 16 mm on a grid of n × n, wavy by a height, seen
// from above or from below; depth lowers it in the middle, as a chip does.
func BrokenFace(height, depth float64, n int, above bool) *mesh.Mesh {
	m := &mesh.Mesh{}
	for k := range n + 1 {
		for i := range n + 1 {
			x, y := 20*(float64(i)/float64(n)-0.5), 16*(float64(k)/float64(n)-0.5)
			z := height * (math.Sin(0.7*x+0.3)*math.Cos(0.5*y) + 0.6*math.Sin(0.9*y+0.25*x) + 0.5*math.Cos(0.9*x-0.7*y))
			if math.Hypot(x, y) < 4 {
				z += depth
			}
			m.Positions = append(m.Positions, float32(x), float32(y), float32(z))
		}
	}
	at := func(i, k int) uint32 { return uint32(k*(n+1) + i) }
	for k := range n {
		for i := range n {
			a, b, c, d := at(i, k), at(i+1, k), at(i+1, k+1), at(i, k+1)
			if !above {
				b, d = d, b
			}
			m.Triangles = append(m.Triangles, a, b, c, a, c, d)
		}
	}
	return m
}
