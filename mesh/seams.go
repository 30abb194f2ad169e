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
	looks []Look   // of each vertex
	next  []uint32 // of each vertex the next one at its point, unseen, or last
	point []uint32 // of each vertex behind the points

	// Points with many looks, as no scan has them, are looked up here beyond the
	// first few.
	many map[seamKey]uint32
}

type seamKey struct {
	point uint32
	look  Look
}

const (
	unseen = ^uint32(0)     // a point without a corner so far
	last   = ^uint32(0) - 1 // no further vertex at this point
	few    = 16             // looks of a point that are kept in a chain
)

// NewSeams is for a file with so many points.
func NewSeams(points int) *Seams {
	s := &Seams{looks: make([]Look, points), next: make([]uint32, points)}
	for i := range s.next {
		s.next[i] = unseen
	}
	return s
}

// Vertex returns the vertex for a point and a look.
func (s *Seams) Vertex(point uint32, look Look) uint32 {
	if s.next[point] == unseen {
		s.next[point], s.looks[point] = last, look
		return point
	}
	at := point
	for i := range few {
		if s.looks[at] == look {
			return at
		}
		if i == few-1 {
			break
		}
		if s.next[at] == last {
			v := s.add(point, look)
			s.next[at] = v
			return v
		}
		at = s.next[at]
	}
	key := seamKey{point, look}
	v, ok := s.many[key]
	if !ok {
		if s.many == nil {
			s.many = map[seamKey]uint32{}
		}
		v = s.add(point, look)
		s.many[key] = v
	}
	return v
}

func (s *Seams) add(point uint32, look Look) uint32 {
	v := uint32(len(s.looks))
	s.looks = append(s.looks, look)
	s.next = append(s.next, last)
	s.point = append(s.point, point)
	return v
}

// Count is the number of vertices so far, points without a corner included.
func (s *Seams) Count() int { return len(s.looks) }

// Of returns the point of a vertex and its look; seen is false for a point
// without any corner.
func (s *Seams) Of(vertex uint32) (point uint32, look Look, seen bool) {
	point = vertex
	if n := len(s.looks) - len(s.point); int(vertex) >= n {
		point = s.point[int(vertex)-n]
	}
	return point, s.looks[vertex], s.next[vertex] != unseen
}
