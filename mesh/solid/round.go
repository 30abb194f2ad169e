package solid

import (
	"math"

	"rigatino/mesh"
)

// Icosphere is a sphere of the given radius: an icosahedron whose triangles
// are cut in four `level` times, new vertices pushed out to the sphere. It has
// 20·4^level faces.
func Icosphere(level int, radius float64) *mesh.Mesh { return Ellipsoid(level, radius, radius, radius) }

// Ellipsoid is an icosphere stretched to the half axes a, b, c along x, y, z.
func Ellipsoid(level int, a, b, c float64) *mesh.Mesh {
	g := icosahedron()
	for range level {
		g.subdivide()
	}
	for i, p := range g.points {
		g.points[i] = [3]float64{a * p[0], b * p[1], c * p[2]}
	}
	return g.mesh()
}

func icosahedron() *build {
	g := &build{}
	t := (1 + math.Sqrt(5)) / 2
	l := math.Hypot(1, t)
	u, v := 1/l, t/l
	g.points = [][3]float64{
		{-u, v, 0}, {u, v, 0}, {-u, -v, 0}, {u, -v, 0},
		{0, -u, v}, {0, u, v}, {0, -u, -v}, {0, u, -v},
		{v, 0, -u}, {v, 0, u}, {-v, 0, -u}, {-v, 0, u},
	}
	g.triangles = []uint32{
		0, 11, 5, 0, 5, 1, 0, 1, 7, 0, 7, 10, 0, 10, 11,
		1, 5, 9, 5, 11, 4, 11, 10, 2, 10, 7, 6, 7, 1, 8,
		3, 9, 4, 3, 4, 2, 3, 2, 6, 3, 6, 8, 3, 8, 9,
		4, 9, 5, 2, 4, 11, 6, 2, 10, 8, 6, 7, 9, 8, 1,
	}
	return g
}

// subdivide cuts every triangle in four with new vertices on the unit sphere.
func (b *build) subdivide() {
	middle := make(map[[2]uint32]uint32, len(b.triangles)/2)
	half := func(i, j uint32) uint32 {
		key := [2]uint32{min(i, j), max(i, j)}
		if v, ok := middle[key]; ok {
			return v
		}
		p, q := b.points[i], b.points[j]
		x, y, z := p[0]+q[0], p[1]+q[1], p[2]+q[2]
		l := math.Sqrt(x*x + y*y + z*z)
		v := b.vertex(x/l, y/l, z/l)
		middle[key] = v
		return v
	}
	old := b.triangles
	b.triangles = make([]uint32, 0, 4*len(old))
	for f := 0; f < len(old); f += 3 {
		i, j, k := old[f], old[f+1], old[f+2]
		ij, jk, ki := half(i, j), half(j, k), half(k, i)
		b.face(i, ij, ki)
		b.face(ij, j, jk)
		b.face(ki, jk, k)
		b.face(ij, jk, ki)
	}
}

// Torus is a ring of radius `ring` to the middle of a tube of radius `tube`,
// in nu steps round the axis (z) and nv round the tube.
func Torus(ring, tube float64, nu, nv int) *mesh.Mesh {
	g := &build{}
	for i := range nu {
		su, cu := math.Sincos(2 * math.Pi * float64(i) / float64(nu))
		for j := range nv {
			sv, cv := math.Sincos(2 * math.Pi * float64(j) / float64(nv))
			g.vertex((ring+tube*cv)*cu, (ring+tube*cv)*su, tube*sv)
		}
	}
	at := func(i, j int) uint32 { return uint32(i%nu*nv + j%nv) }
	for i := range nu {
		for j := range nv {
			g.quad(at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1))
		}
	}
	return g.mesh()
}

// Cone has its base of the given radius in z = 0 and its tip at z = height,
// with n sides.
func Cone(radius, height float64, n int) *mesh.Mesh {
	g := &build{}
	rim := g.ring(radius, 0, n, 0)
	g.fan(g.vertex(0, 0, height), rim, n, true)
	g.fan(g.vertex(0, 0, 0), rim, n, false)
	return g.mesh()
}

// Cylinder stands on z = 0 with n sides in `rows` bands, closed at both ends.
func Cylinder(radius, height float64, n, rows int) *mesh.Mesh {
	g := &build{}
	low := g.ring(radius, 0, n, 0)
	g.fan(g.vertex(0, 0, 0), low, n, false)
	for r := range rows {
		high := g.ring(radius, height*float64(r+1)/float64(rows), n, 0)
		g.band(low, high, n)
		low = high
	}
	g.fan(g.vertex(0, 0, height), low, n, true)
	return g.mesh()
}

// Dome is the part of a sphere of the given radius above the plane that lies
// `height` under its top: an open surface, its rim in z = 0, with n sides and
// `rows` bands of equal angle.
func Dome(radius, height float64, n, rows int) *mesh.Mesh {
	g := &build{}
	g.dome(radius, height, n, rows)
	return g.mesh()
}

// Cap is the body between a Dome and the disc under it.
func Cap(radius, height float64, n, rows int) *mesh.Mesh {
	g := &build{}
	rim := g.dome(radius, height, n, rows)
	g.fan(g.vertex(0, 0, 0), rim, n, false)
	return g.mesh()
}

func (b *build) dome(radius, height float64, n, rows int) (rim uint32) {
	half := math.Acos((radius - height) / radius)
	drop := radius - height
	at := func(row int) uint32 {
		s, c := math.Sincos(half * float64(rows-row) / float64(rows))
		return b.ring(radius*s, radius*c-drop, n, 0)
	}
	rim = at(0)
	low := rim
	for row := 1; row < rows; row++ {
		high := at(row)
		b.band(low, high, n)
		low = high
	}
	b.fan(b.vertex(0, 0, height), low, n, true)
	return rim
}

// Lantern is Schwarz's open cylinder: `rows` bands of n vertices each, every
// second ring turned by half a step. Its area need not tend to that of the
// cylinder however fine it is (H. A. Schwarz, 1880).
func Lantern(radius, height float64, n, rows int) *mesh.Mesh {
	g := &build{}
	step := math.Pi / float64(n)
	low := g.ring(radius, 0, n, 0)
	for r := range rows {
		high := g.ring(radius, height*float64(r+1)/float64(rows), n, step*float64((r+1)%2))
		for i := range uint32(n) {
			j := (i + 1) % uint32(n)
			if r%2 == 0 {
				g.face(low+i, low+j, high+i)
				g.face(high+i, low+j, high+j)
			} else {
				g.face(low+i, high+j, high+i)
				g.face(low+i, low+j, high+j)
			}
		}
		low = high
	}
	return g.mesh()
}
