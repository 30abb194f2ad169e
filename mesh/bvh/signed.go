package bvh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Signed gives the side of the surface that a point is on, by the pseudonormal
// of the closest feature: the normal of a face, the sum of the two normals of
// an edge, the angle-weighted sum round a vertex. For a closed, oriented
// surface this is the right side for every point (Bærentzen and Aanæs, IEEE
// Trans. Visualization and Computer Graphics 11:243, 2005); sums weighted by
// area or not at all are wrong at sharp vertices. On an open surface the side
// is undefined where the closest feature is on a border.
//
// It may be asked from any number of goroutines.
type Signed struct {
	m    *mesh.Mesh
	topo *mesh.Topology
	zero float64 // distances below this are 0
}

// NewSigned prepares the signs for the surface of tree t, which was built on m.
func NewSigned(m *mesh.Mesh, w *mesh.Weld, topo *mesh.Topology, t *Tree) *Signed {
	return &Signed{m: m, topo: topo, zero: 1e-9 * mesh.Bounds(m).Diagonal()}
}

// Normal returns the unit pseudonormal at a hit; the zero vector where there
// is none (a face without area, a knife edge whose two normals cancel).
func (s *Signed) Normal(h Hit) r3.Vec {
	if h.Face == None {
		return r3.Vec{}
	}
	return unit(s.pseudonormal(h))
}

// Distance returns the signed distance of p, whose closest point is h:
// positive outside, negative inside, 0 on the surface. defined is false where
// nothing was found or the closest feature is on a border, whose side cannot
// be told; d is then the distance without a sign.
func (s *Signed) Distance(p r3.Vec, h Hit) (d float64, defined bool) {
	if h.Face == None {
		return math.NaN(), false
	}
	if h.Distance <= s.zero {
		return 0, true
	}
	if s.onBorder(h) {
		return h.Distance, false
	}
	side := r3.Dot(r3.Sub(p, h.Point), s.pseudonormal(h))
	switch {
	case side > 0:
		return h.Distance, true
	case side < 0:
		return -h.Distance, true
	}
	return h.Distance, false
}

func (s *Signed) pseudonormal(h Hit) r3.Vec {
	switch h.Feature {
	case FeatureEdge:
		n := s.faceNormal(h.Face)
		switch g := s.topo.Neighbour[3*h.Face+uint32(h.Corner)]; {
		case g >= 0:
			n = r3.Add(n, s.faceNormal(uint32(g)))
		}
		return n
	case FeatureVertex:
		v := s.corner(h.Face, h.Corner)
		var n r3.Vec
		for _, f := range s.topo.FacesOf(v) {
			a, b, c := s.m.Corners(f)
			i, j, _ := s.topo.Face(f)
			switch v {
			case i:
			case j:
				a, b, c = b, c, a
			default:
				a, b, c = c, a, b
			}
			n = r3.Add(n, r3.Scale(mesh.CornerAngle(a, b, c), s.faceNormal(f)))
		}
		return n
	}
	return s.faceNormal(h.Face)
}

// onBorder says whether the feature is an open edge or an end of one.
func (s *Signed) onBorder(h Hit) bool {
	switch h.Feature {
	case FeatureEdge:
		return s.topo.Neighbour[3*h.Face+uint32(h.Corner)] == mesh.BorderEdge
	case FeatureVertex:
		v := s.corner(h.Face, h.Corner)
		for _, f := range s.topo.FacesOf(v) {
			c := [3]uint32{}
			c[0], c[1], c[2] = s.topo.Face(f)
			for k := range 3 {
				if (c[k] == v || c[(k+1)%3] == v) && s.topo.Neighbour[3*f+uint32(k)] == mesh.BorderEdge {
					return true
				}
			}
		}
		return len(s.topo.FacesOf(v)) == 0
	}
	return false
}

func (s *Signed) corner(f uint32, k uint8) uint32 {
	a, b, c := s.topo.Face(f)
	return [3]uint32{a, b, c}[k]
}

func (s *Signed) faceNormal(f uint32) r3.Vec { return unit(s.m.AreaVector(f)) }

func unit(v r3.Vec) r3.Vec {
	if l := r3.Norm(v); l > 0 {
		return r3.Scale(1/l, v)
	}
	return r3.Vec{}
}
