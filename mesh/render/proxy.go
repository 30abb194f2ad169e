package render

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// proxyMesh is a coarse copy of a mesh.
type proxyMesh struct {
	mesh    *mesh.Mesh
	normals []uint32
	vertex  []uint32 // per proxy vertex, a mesh vertex that stands for its values
	face    []uint32 // per proxy face, the mesh face it came from
}

// cluster makes a coarse copy by vertex clustering (Rossignac and Borrel 1993):
// vertices in one cell of a grid become one, at their mean; a face whose
// corners fall into three cells is kept. The cell is chosen so that about
// target faces stay. Cells are found by sorting, never by a dense grid, whose
// memory would grow with the cube of the resolution.
func cluster(m *mesh.Mesh, box mesh.Box, normals []uint32, target int) *proxyMesh {
	n := m.VertexCount()
	// A surface of area A crosses about 1.4 A/c² cells of side c, each with two
	// faces (2.5 to 3 faces measured on bumpy bodies).
	cell := math.Sqrt(2.8 * mesh.Area(m) / float64(target))
	side := max(box.Max.X-box.Min.X, box.Max.Y-box.Min.Y, box.Max.Z-box.Min.Z)
	if cell = max(cell, side/(1<<20)); math.IsNaN(cell) || math.IsInf(cell, 0) {
		cell = side / math.Sqrt(float64(target))
	}
	o := r3.Sub(m.Origin, box.Min)

	// Hash table of cells; a slot holds 1 + the proxy vertex.
	size := 1024
	for size < 4*target {
		size *= 2
	}
	table := make([]uint32, size)
	var keys []uint64
	type mean struct{ x, y, z, nx, ny, nz, count float64 }
	var sums []mean
	of := make([]uint32, n)
	var first []uint32
	for i := range n {
		p := m.Positions[3*i : 3*i+3 : 3*i+3]
		x, y, z := float64(p[0]), float64(p[1]), float64(p[2])
		cx, cy, cz := (x+o.X)/cell, (y+o.Y)/cell, (z+o.Z)/cell
		if !(cx >= 0 && cy >= 0 && cz >= 0 && cx < 1<<21 && cy < 1<<21 && cz < 1<<21) {
			of[i] = math.MaxUint32 // not a number, or a stray vertex outside the box
			continue
		}
		key := uint64(cx) | uint64(cy)<<21 | uint64(cz)<<42
		h := key * 0x9E3779B97F4A7C15
		h ^= h >> 29
		slot := int(h) & (len(table) - 1)
		for table[slot] != 0 && keys[table[slot]-1] != key {
			slot = (slot + 1) & (len(table) - 1)
		}
		if table[slot] == 0 {
			keys = append(keys, key)
			sums = append(sums, mean{})
			first = append(first, uint32(i))
			table[slot] = uint32(len(keys))
			if 2*len(keys) > len(table) {
				table = rehash(keys, 2*len(table))
				// The place just used may have moved.
			}
			of[i] = uint32(len(keys)) - 1
		} else {
			of[i] = table[slot] - 1
		}
		s := &sums[of[i]]
		nx, ny, nz := unpackNormal(normals[i])
		s.x += x
		s.y += y
		s.z += z
		s.nx += float64(nx)
		s.ny += float64(ny)
		s.nz += float64(nz)
		s.count++
	}
	p := &proxyMesh{
		mesh:    &mesh.Mesh{Origin: m.Origin, Positions: make([]float32, 0, 3*len(sums))},
		normals: make([]uint32, 0, len(sums)), vertex: first,
	}
	for _, s := range sums {
		p.mesh.Positions = append(p.mesh.Positions, float32(s.x/s.count), float32(s.y/s.count), float32(s.z/s.count))
		p.normals = append(p.normals, packNormal(s.nx, s.ny, s.nz))
	}
	for f := range m.FaceCount() {
		t := m.Triangles[3*f : 3*f+3 : 3*f+3]
		a, b, c := of[t[0]], of[t[1]], of[t[2]]
		if a == b || b == c || c == a || max(a, b, c) == math.MaxUint32 {
			continue
		}
		// Clustering may turn a face over; it keeps the side of the face it stands
		// for, so that faces that look away can be left out.
		if turned(p.mesh.Positions, [3]uint32{a, b, c}, m.Positions, [3]uint32(t)) {
			b, c = c, b
		}
		p.mesh.Triangles = append(p.mesh.Triangles, a, b, c)
		p.face = append(p.face, uint32(f))
	}
	return p
}

// turned says whether two triangles look to opposite sides.
func turned(p []float32, a [3]uint32, q []float32, b [3]uint32) bool {
	cross := func(p []float32, t [3]uint32) (x, y, z float32) {
		a, b, c := p[3*t[0]:3*t[0]+3], p[3*t[1]:3*t[1]+3], p[3*t[2]:3*t[2]+3]
		ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
		vx, vy, vz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
		return uy*vz - uz*vy, uz*vx - ux*vz, ux*vy - uy*vx
	}
	x, y, z := cross(p, a)
	u, v, w := cross(q, b)
	return x*u+y*v+z*w < 0
}

// rehash puts every key into a larger table.
func rehash(keys []uint64, size int) []uint32 {
	table := make([]uint32, size)
	for i, key := range keys {
		h := key * 0x9E3779B97F4A7C15
		h ^= h >> 29
		slot := int(h) & (size - 1)
		for table[slot] != 0 {
			slot = (slot + 1) & (size - 1)
		}
		table[slot] = uint32(i) + 1
	}
	return table
}

// fromProxy makes the level speak of the scan's vertices and faces.
func (l *level) fromProxy(p *proxyMesh) {
	l.proxy = true
	for i, v := range l.vertex {
		l.vertex[i] = p.vertex[v]
	}
	for c, info := range l.clusters {
		for s := range int(info.used) {
			id := c*slots + s
			l.face[id] = p.face[l.face[id]]
		}
	}
}
