package change

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/bvh"
)

// Edges bent by more than a crease are edges of the specimen, not chords of
// something round. Where a crease begins depends on how much the faces of a
// scan bend against each other anyway, for the curves they follow and for
// noise: a few times what nine of ten edges do, within these bounds.
const (
	leastCrease = math.Pi / 36
	mostCrease  = math.Pi / 6
	creaseTimes = 3
)

// crease is the angle between faces, rad, from which on an edge is a crease.
func (s *Side) crease() float64 {
	const wanted = 20000 // faces looked at
	n := s.Mesh.FaceCount()
	stride := max(1, n/wanted)
	var bends []float64
	for f := 0; f < n; f += stride {
		own := s.Mesh.AreaVector(uint32(f))
		for k := range 3 {
			g := s.Topology.Neighbour[3*f+k]
			if g < 0 {
				continue
			}
			other := s.Mesh.AreaVector(uint32(g))
			if l := r3.Norm(own) * r3.Norm(other); l > 0 {
				bends = append(bends, math.Acos(max(-1, min(1, r3.Dot(own, other)/l))))
			}
		}
	}
	if len(bends) == 0 {
		return mostCrease
	}
	slices.Sort(bends)
	return max(leastCrease, min(mostCrease, creaseTimes*bends[len(bends)*9/10]))
}

// Bends returns, for the sides of a face from corner k to corner k+1, the
// bend (n₂-n₁)·e between the normals of the smooth surface at their ends, mm.
// Corner normals are those of the faces round the corner that no crease parts
// from this face.
func (s *Side) Bends(f uint32) [3]float64 {
	a, b, c := s.Topology.Face(f)
	corner := [3]uint32{a, b, c}
	var own r3.Vec
	if !s.Stars[a].Even || !s.Stars[b].Even || !s.Stars[c].Even {
		own = s.Mesh.AreaVector(f)
	}
	var normal, at [3]r3.Vec
	for k, v := range corner {
		normal[k], at[k] = s.normalWithin(v, own), s.Vertex(v)
	}
	var out [3]float64
	for k := range 3 {
		n := (k + 1) % 3
		out[k] = r3.Dot(r3.Sub(normal[n], normal[k]), r3.Sub(at[n], at[k]))
	}
	return out
}

// normalWithin is the unit normal at a vertex of the faces that no crease
// parts from a face round it with the given area vector.
func (s *Side) normalWithin(v uint32, own r3.Vec) r3.Vec {
	var sum r3.Vec
	if star := &s.Stars[v]; star.Even {
		sum = star.Sum()
	} else {
		size := length(own)
		for _, f := range s.Topology.FacesOf(v) {
			a := s.Mesh.AreaVector(f)
			if r3.Dot(a, own) > s.cosCrease*size*length(a) {
				sum = r3.Add(sum, a)
			}
		}
	}
	if l := length(sum); l > 0 {
		return r3.Scale(1/l, sum)
	}
	return r3.Vec{}
}

// bulge is how far the smooth surface through the corners of a face lies
// outside the flat face at a point of it, mm, to second order: for weights w of
// the corners half the sum, over sides, of w₁w₂ times the bend. In the middle
// of a chord e of a circle it is the rise e²/8R.
//
// On an edge the two faces may take it for a crease or not: the mean of both
// keeps the answer from depending on which of them was found.
func (s *Side) bulge(h *bvh.Hit) float64 {
	if h.Feature == bvh.FeatureVertex || s.Topology.Component[h.Face] < 0 {
		return 0
	}
	w, bends := h.Weights, s.Bends(h.Face)
	if h.Feature == bvh.FeatureEdge {
		k := int(h.Corner)
		bend := bends[k]
		if g := s.Topology.Neighbour[3*int(h.Face)+k]; g >= 0 {
			for n, back := range s.Topology.Neighbour[3*g : 3*g+3] {
				if back == int32(h.Face) {
					bend = (bend + s.Bends(uint32(g))[n]) / 2
				}
			}
		}
		return w[k] * w[(k+1)%3] * bend / 2
	}
	return (w[0]*w[1]*bends[0] + w[1]*w[2]*bends[1] + w[2]*w[0]*bends[2]) / 2
}
