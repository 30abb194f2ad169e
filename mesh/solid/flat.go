package solid

import "rigatino/mesh"

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
