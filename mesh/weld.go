package mesh

import (
	"context"
	"math"
	"sync/atomic"
)

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
	// Open addressing; a slot holds 1 + the first vertex at its place. Several
	// workers fill it at once: which slot a place gets depends on who comes first,
	// which vertex it holds in the end does not.
	slots := make([]uint32, size)
	blocks := (n + topologyBlock - 1) / topologyBlock
	_ = Parallel(context.Background(), blocks, func(b int) {
		for i := b * topologyBlock; i < min(n, (b+1)*topologyBlock); i++ {
			w.Of[i] = slotOf(slots, m.Positions, i)
		}
	})
	_ = Parallel(context.Background(), blocks, func(b int) {
		for i := b * topologyBlock; i < min(n, (b+1)*topologyBlock); i++ {
			w.Of[i] = slots[w.Of[i]] - 1
		}
	})
	// Now each vertex knows the first one at its place, which comes no later than
	// itself.
	for i, first := range w.Of {
		if int(first) == i {
			w.Of[i] = uint32(w.Count)
			w.Count++
		} else {
			w.Of[i] = w.Of[first]
		}
	}
	return w
}

// slotOf finds the slot of the place of vertex i, and puts i there unless an
// earlier vertex is.
func slotOf(slots []uint32, pos []float32, i int) uint32 {
	// Adding zero makes -0 and +0 the same bits.
	x, y, z := pos[3*i]+0, pos[3*i+1]+0, pos[3*i+2]+0
	h := uint64(math.Float32bits(x))*0x9E3779B97F4A7C15 ^
		uint64(math.Float32bits(y))*0xC2B2AE3D27D4EB4F ^
		uint64(math.Float32bits(z))*0x165667B19E3779F9
	h ^= h >> 29
	h *= 0xBF58476D1CE4E5B9
	h ^= h >> 32
	mask := uint64(len(slots) - 1)
	me := uint32(i) + 1
	for {
		slot := &slots[h&mask]
		s := atomic.LoadUint32(slot)
		if s == 0 {
			if atomic.CompareAndSwapUint32(slot, 0, me) {
				return uint32(h & mask)
			}
			continue
		}
		if j := int(s - 1); pos[3*j] == x && pos[3*j+1] == y && pos[3*j+2] == z {
			for s > me && !atomic.CompareAndSwapUint32(slot, s, me) {
				s = atomic.LoadUint32(slot)
			}
			return uint32(h & mask)
		}
		h++
	}
}

// Face returns the welded ids of the three corners of face f of m.
func (w *Weld) Face(m *Mesh, f uint32) (a, b, c uint32) {
	t := m.Triangles[3*f : 3*f+3 : 3*f+3]
	return w.Of[t[0]], w.Of[t[1]], w.Of[t[2]]
}
