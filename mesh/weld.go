package mesh

import "math"

// Weld says which stored vertices are one point of the surface. Scan files
// store a vertex twice where texture or colour has a seam; topology is asked
// of the welded surface.
type Weld struct {
	Of    []uint32 // Of[file vertex] = welded id
	Count int      // welded ids are 0 … Count-1, in order of first appearance
}

// NewWeld makes vertices at exactly equal coordinates one. There is no
// tolerance: nearby vertices of two touching sheets stay two. A vertex with a
// coordinate that is not a number equals nothing, itself excepted.
func NewWeld(m *Mesh) *Weld {
	n := m.VertexCount()
	w := &Weld{Of: make([]uint32, n)}
	size := 16
	for size < 2*n {
		size *= 2
	}
	// Open addressing; a slot holds 1 + the first vertex seen there.
	slots := make([]uint32, size)
	mask := uint64(size - 1)
	pos := m.Positions
	for i := range n {
		// Adding zero makes -0 and +0 the same bits.
		x, y, z := pos[3*i]+0, pos[3*i+1]+0, pos[3*i+2]+0
		h := uint64(math.Float32bits(x))*0x9E3779B97F4A7C15 ^
			uint64(math.Float32bits(y))*0xC2B2AE3D27D4EB4F ^
			uint64(math.Float32bits(z))*0x165667B19E3779F9
		h ^= h >> 29
		h *= 0xBF58476D1CE4E5B9
		h ^= h >> 32
		for {
			s := slots[h&mask]
			if s == 0 {
				slots[h&mask] = uint32(i) + 1
				w.Of[i] = uint32(w.Count)
				w.Count++
				break
			}
			if j := int(s - 1); pos[3*j] == x && pos[3*j+1] == y && pos[3*j+2] == z {
				w.Of[i] = w.Of[j]
				break
			}
			h++
		}
	}
	return w
}

// Face returns the welded ids of the three corners of face f of m.
func (w *Weld) Face(m *Mesh, f uint32) (a, b, c uint32) {
	t := m.Triangles[3*f : 3*f+3 : 3*f+3]
	return w.Of[t[0]], w.Of[t[1]], w.Of[t[2]]
}
