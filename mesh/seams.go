package mesh

// A Look is all by which two corners at one point of a file can differ: numbers
// of the file's tables, or bits of its values. What it means is the reader's.
type Look struct{ A, B uint64 }

// Seams numbers the vertices of a mesh whose file keeps points apart from what
// they look like (texture coordinates, normals, colours of faces). The vertex
// of a point keeps the point's number for the first look that it is seen with;
// every other look makes a new vertex behind the last point. So a file without
// seams keeps its numbers, and the same file gives the same numbers.
type Seams struct {
	seen  []bool
	first []Look

	// Vertices behind the points, and where they are found: open addressing, a
	// slot holds 1 + the place in extra.
	extra []pointLook
	slots []uint32
}

type pointLook struct {
	point uint32
	look  Look
}

// NewSeams is for a file with so many points.
func NewSeams(points int) *Seams {
	return &Seams{seen: make([]bool, points), first: make([]Look, points)}
}

// Vertex returns the vertex for a point and a look.
func (s *Seams) Vertex(point uint32, look Look) uint32 {
	switch {
	case !s.seen[point]:
		s.seen[point], s.first[point] = true, look
		return point
	case s.first[point] == look:
		return point
	}
	if 2*len(s.extra) >= len(s.slots) {
		s.grow()
	}
	key := pointLook{point, look}
	mask := uint64(len(s.slots) - 1)
	for h := key.hash(); ; h++ {
		slot := s.slots[h&mask]
		if slot == 0 {
			s.extra = append(s.extra, key)
			s.slots[h&mask] = uint32(len(s.extra))
			return uint32(len(s.first) + len(s.extra) - 1)
		}
		if s.extra[slot-1] == key {
			return uint32(len(s.first)) + slot - 1
		}
	}
}

// grow doubles the slots and puts all extra vertices in again.
func (s *Seams) grow() {
	s.slots = make([]uint32, max(64, 2*len(s.slots)))
	mask := uint64(len(s.slots) - 1)
	for i := range s.extra {
		h := s.extra[i].hash()
		for s.slots[h&mask] != 0 {
			h++
		}
		s.slots[h&mask] = uint32(i) + 1
	}
}

// hash mixes a key (the steps of splitmix64; Steele, Lea and Flood, OOPSLA 2014).
func (k *pointLook) hash() uint64 {
	h := k.look.A*0x9E3779B97F4A7C15 ^ uint64(k.point)
	h = (h ^ h>>30) * 0xBF58476D1CE4E5B9
	h ^= k.look.B
	h = (h ^ h>>27) * 0x94D049BB133111EB
	return h ^ h>>31
}

// Count is the number of vertices so far, points without a corner included.
func (s *Seams) Count() int { return len(s.first) + len(s.extra) }

// Of returns the point of a vertex and its look; seen is false for a point
// without any corner.
func (s *Seams) Of(vertex uint32) (point uint32, look Look, seen bool) {
	if n := len(s.first); int(vertex) >= n {
		e := &s.extra[int(vertex)-n]
		return e.point, e.look, true
	}
	return vertex, s.first[vertex], s.seen[vertex]
}
