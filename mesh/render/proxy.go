package render

import (
	"context"
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
// target faces stay. Cells are found in a hash table, never in a dense grid, whose
// memory would grow with the cube of the resolution. Vertices need not be welded:
// those at one place are in one cell.
func cluster(m *mesh.Mesh, box mesh.Box, target int) *proxyMesh {
	// A surface of area A crosses about 1.4 A/c² cells of side c, each with two
	// faces (2.5 to 3 faces measured on bumpy bodies).
	// One face of step tells the area well enough.
	step := max(1, m.FaceCount()/target)
	area := float64(step) * mesh.SumBlocks(m.FaceCount()/step, func(i int) float64 { return r3.Norm(m.AreaVector(uint32(i * step))) })
	cell := math.Sqrt(2.8 * area / float64(target))
	side := max(box.Max.X-box.Min.X, box.Max.Y-box.Min.Y, box.Max.Z-box.Min.Z)
	if cell = max(cell, side/(1<<20)); math.IsNaN(cell) || math.IsInf(cell, 0) {
		cell = side / math.Sqrt(float64(target))
	}
	o := r3.Sub(m.Origin, box.Min)

	// Everything is counted before it is set aside: a body of a million triangles
	// would else need as much again for what appending leaves behind.
	of, first := cellsOf(m, o, cell, target)
	p := &proxyMesh{mesh: &mesh.Mesh{Origin: m.Origin, Positions: make([]float32, 3*len(first))}, vertex: first}
	given := len(m.Normals) == len(m.Positions)
	p.means(m, of, given)
	p.keepFaces(m, of)
	if !given {
		same := &mesh.Weld{Of: make([]uint32, len(first)), Count: len(first)}
		for i := range same.Of {
			same.Of[i] = uint32(i)
		}
		p.normals = cornerNormals(p.mesh, same)
	}
	return p
}

// means puts every vertex of the copy at the mean of those in its cell, with
// their mean normal where the scan has normals.
func (p *proxyMesh) means(m *mesh.Mesh, of []uint32, normals bool) {
	type mean struct {
		x, y, z    float64
		nx, ny, nz float32
		count      uint32
	}
	sums := make([]mean, len(p.vertex))
	for i, c := range of {
		if c == noCell {
			continue
		}
		q := m.Positions[3*i : 3*i+3 : 3*i+3]
		s := &sums[c]
		s.x += float64(q[0])
		s.y += float64(q[1])
		s.z += float64(q[2])
		s.count++
		if normals {
			n := m.Normals[3*i : 3*i+3 : 3*i+3]
			s.nx += n[0]
			s.ny += n[1]
			s.nz += n[2]
		}
	}
	for c, s := range sums {
		n := float64(s.count)
		p.mesh.Positions[3*c], p.mesh.Positions[3*c+1], p.mesh.Positions[3*c+2] = float32(s.x/n), float32(s.y/n), float32(s.z/n)
	}
	if !normals {
		return
	}
	p.normals = make([]uint32, len(sums))
	for c, s := range sums {
		p.normals[c] = mesh.PackNormal(float64(s.nx), float64(s.ny), float64(s.nz))
	}
}

// keepFaces keeps the faces whose corners fall into three cells, in their order.
func (p *proxyMesh) keepFaces(m *mesh.Mesh, of []uint32) {
	stays := func(f int) (a, b, c uint32, ok bool) {
		t := m.Triangles[3*f : 3*f+3 : 3*f+3]
		a, b, c = of[t[0]], of[t[1]], of[t[2]]
		return a, b, c, a != b && b != c && c != a && max(a, b, c) != noCell
	}
	n := m.FaceCount()
	at := make([]int, (n+sortBlock-1)/sortBlock) // where the faces of a block begin
	blocks := func(do func(b, from, to int)) {
		_ = mesh.Parallel(context.Background(), len(at), func(b int) { do(b, b*sortBlock, min(n, (b+1)*sortBlock)) })
	}
	blocks(func(b, from, to int) {
		for f := from; f < to; f++ {
			if _, _, _, ok := stays(f); ok {
				at[b]++
			}
		}
	})
	kept := 0
	for b, k := range at {
		at[b] = kept
		kept += k
	}
	p.mesh.Triangles = make([]uint32, 3*kept)
	p.face = make([]uint32, kept)
	blocks(func(b, from, to int) {
		i := at[b]
		for f := from; f < to; f++ {
			a, b, c, ok := stays(f)
			if !ok {
				continue
			}
			// Clustering may turn a face over; it keeps the side of the face it stands
			// for, so that faces that look away can be left out.
			if turned(p.mesh.Positions, [3]uint32{a, b, c}, m.Positions, [3]uint32(m.Triangles[3*f:3*f+3])) {
				b, c = c, b
			}
			p.mesh.Triangles[3*i], p.mesh.Triangles[3*i+1], p.mesh.Triangles[3*i+2] = a, b, c
			p.face[i] = uint32(f)
			i++
		}
	})
}

// noCell marks vertices in no cell.
const noCell = math.MaxUint32

// cellsOf numbers the cells that hold vertices, in order of first appearance, and
// returns the cell of every vertex and the first vertex of every cell. o is the
// mesh's origin seen from the corner of the grid.
func cellsOf(m *mesh.Mesh, o r3.Vec, cell float64, target int) (of, first []uint32) {
	n := m.VertexCount()
	// Hash table; a slot holds 1 + the cell.
	size := 1024
	for size < target {
		size *= 2
	}
	table := make([]uint32, size)
	of = make([]uint32, n)
	first = make([]uint32, 0, target*5/8) // a closed surface has half as many vertices as faces
	keys := make([]uint64, 0, target*5/8)
	for i := range n {
		p := m.Positions[3*i : 3*i+3 : 3*i+3]
		cx, cy, cz := (float64(p[0])+o.X)/cell, (float64(p[1])+o.Y)/cell, (float64(p[2])+o.Z)/cell
		if !(cx >= 0 && cy >= 0 && cz >= 0 && cx < 1<<21 && cy < 1<<21 && cz < 1<<21) {
			of[i] = noCell // not a number, or a stray vertex outside the box
			continue
		}
		key := uint64(cx) | uint64(cy)<<21 | uint64(cz)<<42
		h := key * 0x9E3779B97F4A7C15
		h ^= h >> 29
		slot := int(h) & (len(table) - 1)
		for table[slot] != 0 && keys[table[slot]-1] != key {
			slot = (slot + 1) & (len(table) - 1)
		}
		if table[slot] != 0 {
			of[i] = table[slot] - 1
			continue
		}
		of[i] = uint32(len(keys))
		keys = append(keys, key)
		first = append(first, uint32(i))
		table[slot] = uint32(len(keys))
		if 2*len(keys) > len(table) {
			table = rehash(keys, 2*len(table))
		}
	}
	return of, first
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
