package tally

import (
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
)

// loopArea is the area that a closed border spans, in mm² of the scan: the length
// of the vector area of its fan, which is the area of the flat opening a zigzag
// rim runs about. A rim bent out of its plane spans more than this.
func loopArea(s *facemap.Surface, loop []uint32) float64 {
	at := make([]r3.Vec, len(loop))
	var mid r3.Vec
	for i, v := range loop {
		at[i] = vertexOf(s, v)
		mid = r3.Add(mid, r3.Scale(1/float64(len(loop)), at[i]))
	}
	var sum r3.Vec
	for i := range at {
		a, b := r3.Sub(at[i], mid), r3.Sub(at[(i+1)%len(at)], mid)
		sum = r3.Add(sum, r3.Scale(0.5, r3.Cross(a, b)))
	}
	return r3.Norm(sum)
}

// vertexOf returns where a welded vertex is.
func vertexOf(s *facemap.Surface, v uint32) r3.Vec {
	for _, f := range s.Topology.FacesOf(v) {
		a, b, c := s.Weld.Face(s.Mesh, f)
		pa, pb, pc := s.Mesh.Corners(f)
		switch v {
		case a:
			return pa
		case b:
			return pb
		case c:
			return pc
		}
	}
	return s.Mesh.Origin
}
