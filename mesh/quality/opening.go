package quality

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Opening is a border of the surface that runs back into itself.
type Opening struct {
	Edges  int
	Length float64 // along the edges, which zigzag: more than the rim is long
	// Area estimates what the border spans: the length of the vector area of
	// its fan, which is the area of the flat opening a zigzag rim runs about.
	// A rim bent out of its plane spans more than this.
	Area   float64
	Centre r3.Vec // mean of its vertices
}

// openings lists the closed borders, the largest area first.
func (s *surface) openings() []Opening {
	loops := s.t.BorderLoops()
	if len(loops) == 0 {
		return nil
	}
	at := make([]r3.Vec, s.w.Count)
	for v, of := range s.w.Of {
		at[of] = s.m.Vertex(uint32(v))
	}
	var out []Opening
	for _, loop := range loops {
		if len(loop) < 3 {
			continue
		}
		o := Opening{Edges: len(loop)}
		for _, v := range loop {
			o.Centre = r3.Add(o.Centre, r3.Scale(1/float64(len(loop)), at[v]))
		}
		var sum r3.Vec
		for i, v := range loop {
			next := at[loop[(i+1)%len(loop)]]
			o.Length += r3.Norm(r3.Sub(next, at[v]))
			sum = r3.Add(sum, r3.Scale(0.5, r3.Cross(r3.Sub(at[v], o.Centre), r3.Sub(next, o.Centre))))
		}
		o.Area = r3.Norm(sum)
		out = append(out, o)
	}
	slices.SortStableFunc(out, func(a, b Opening) int { return cmp.Compare(b.Area, a.Area) })
	return out
}

// sorted sorts a list of faces.
func sorted(faces []uint32) []uint32 {
	slices.Sort(faces)
	return faces
}
