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
// Where closed bodies touch along an edge the sum over all its faces is right
// too: seen from a point whose closest feature is that edge the faces lie
// between 90° and 270°, where the sine falls, with turns in and out by turns;
// at a vertex where bodies touch the sum may be wrong. Repeated faces count
// once, faces without area are looked through; a face that lies on its own
// reverse has no side and counts as border. Normals are computed when asked
// for: nothing is stored. A Signed may be asked from any number of goroutines.
type Signed struct {
	m    *mesh.Mesh
	topo *mesh.Topology
	zero float64 // distances up to this are 0
}

// NewSigned prepares the signs for hits of tree t, which was built on m; w and
// topo are the weld and topology of m. Distances up to 1e-9 of the mesh's
// diagonal are taken as 0.
func NewSigned(m *mesh.Mesh, w *mesh.Weld, topo *mesh.Topology, t *Tree) *Signed {
	return &Signed{m: m, topo: topo, zero: 1e-9 * mesh.Bounds(m).Diagonal()}
}

// Normal returns the unit pseudonormal at a hit; the zero vector where there
// is none (nothing hit, no area, a knife edge whose two normals cancel).
func (s *Signed) Normal(h Hit) r3.Vec {
	if h.Face == None {
		return r3.Vec{}
	}
	n, _ := s.look(h)
	return unit(n)
}

// Distance returns the signed distance of p, whose closest point is h:
// positive outside, negative inside, 0 on the surface. defined is false where
// nothing was found or the closest feature is on a border, whose side cannot
// be told; d is then the distance without a sign, or NaN if nothing was found.
func (s *Signed) Distance(p r3.Vec, h Hit) (d float64, defined bool) {
	if h.Face == None {
		return math.NaN(), false
	}
	if h.Distance <= s.zero {
		return 0, true
	}
	n, border := s.look(h)
	if border {
		return h.Distance, false
	}
	switch side := r3.Dot(r3.Sub(p, h.Point), n); {
	case side > 0:
		return h.Distance, true
	case side < 0:
		return -h.Distance, true
	}
	return h.Distance, false
}

// look returns the pseudonormal at a hit, not of unit length, and whether the
// hit is on a border.
func (s *Signed) look(h Hit) (n r3.Vec, border bool) {
	c := s.corners(h.Face)
	switch h.Feature {
	case FeatureEdge:
		u, v := c[h.Corner], c[(h.Corner+1)%3]
		if u != v {
			return s.lookAtEdge(u, v, h.Point)
		}
		return s.lookAtVertex(u)
	case FeatureVertex:
		return s.lookAtVertex(c[h.Corner])
	}
	return unit(s.m.AreaVector(h.Face)), s.topo.Component[h.Face] < 0 && s.isFlap(c)
}

// isFlap says whether no face of these corners takes part: it lies on its own
// reverse, and both sides of it are the same.
func (s *Signed) isFlap(c [3]uint32) bool {
	for _, f := range s.topo.FacesOf(c[0]) {
		if _, ok := s.edge(f, c[0], c[1]); ok {
			if _, ok := s.edge(f, c[0], c[2]); ok {
				return false
			}
		}
	}
	return true
}

// lookAtEdge looks at the edge of welded vertices u and v; it is on the border
// unless two or more faces have it.
func (s *Signed) lookAtEdge(u, v uint32, at r3.Vec) (n r3.Vec, border bool) {
	count := 0
	if len(s.topo.FacesOf(v)) < len(s.topo.FacesOf(u)) {
		u, v = v, u
	}
	for _, f := range s.topo.FacesOf(u) {
		if k, ok := s.edge(f, u, v); ok {
			n = r3.Add(n, s.throughFlat(f, k, at))
			count++
		}
	}
	return n, count < 2
}

// lookAtVertex looks at a welded vertex; it is on the border if one of its
// edges has a single face.
func (s *Signed) lookAtVertex(v uint32) (n r3.Vec, border bool) {
	faces := s.topo.FacesOf(v)
	border = len(faces) == 0
	for _, f := range faces {
		a, b, c := s.m.Corners(f)
		ids := s.corners(f)
		k := 0
		switch v {
		case ids[1]:
			a, b, c, k = b, c, a, 1
		case ids[2]:
			a, b, c, k = c, a, b, 2
		}
		before := s.topo.Neighbour[3*f+uint32(k+2)%3]
		border = border || s.topo.Neighbour[3*f+uint32(k)] == mesh.BorderEdge || before == mesh.BorderEdge
		one := unit(s.m.AreaVector(f))
		if one == (r3.Vec{}) {
			if g, j, ok := s.behind(f, s.longest(f)); ok {
				one = s.throughFlat(g, j, a)
			}
		}
		n = r3.Add(n, r3.Scale(mesh.CornerAngle(a, b, c), one))
	}
	return n, border
}

// throughFlat is the unit normal of face f as seen across its edge k at a
// point: that of f itself, or, where f has no area, that of the face behind it
// across the other edge that runs through the point.
func (s *Signed) throughFlat(f uint32, k int, at r3.Vec) r3.Vec {
	const hops = 8 // flat faces in a row; more are given up
	for range hops {
		if n := unit(s.m.AreaVector(f)); n != (r3.Vec{}) {
			return n
		}
		a, b, c := s.m.Corners(f)
		p := [3]r3.Vec{a, b, c}
		out, least := (k+1)%3, math.Inf(1)
		for _, j := range [2]int{(k + 1) % 3, (k + 2) % 3} {
			// On flat triangles: how much longer the way over the point is
			// than the edge.
			u, v := p[j], p[(j+1)%3]
			d := r3.Norm(r3.Sub(at, u)) + r3.Norm(r3.Sub(at, v)) - r3.Norm(r3.Sub(u, v))
			if d < least {
				out, least = j, d
			}
		}
		g, j, ok := s.behind(f, out)
		if !ok {
			break
		}
		f, k = g, j
	}
	return r3.Vec{}
}

// behind is the face across edge k of face f and the number of that edge in it.
func (s *Signed) behind(f uint32, k int) (g uint32, j int, ok bool) {
	n := s.topo.Neighbour[3*f+uint32(k)]
	if n < 0 {
		return 0, 0, false
	}
	c := s.corners(f)
	j, ok = s.edge(uint32(n), c[k], c[(k+1)%3])
	return uint32(n), j, ok
}

// edge finds the edge of welded vertices u and v in face f.
func (s *Signed) edge(f, u, v uint32) (k int, ok bool) {
	c := s.corners(f)
	for k := range 3 {
		x, y := c[k], c[(k+1)%3]
		if (x == u && y == v) || (x == v && y == u) {
			return k, true
		}
	}
	return 0, false
}

// along is the direction of edge k of face f.
func (s *Signed) along(f uint32, k int) r3.Vec {
	a, b, c := s.m.Corners(f)
	p := [3]r3.Vec{a, b, c}
	return r3.Sub(p[(k+1)%3], p[k])
}

// longest is the longest edge of face f.
func (s *Signed) longest(f uint32) (k int) {
	most := math.Inf(-1)
	for j := range 3 {
		if l := r3.Norm2(s.along(f, j)); l > most {
			k, most = j, l
		}
	}
	return k
}

func (s *Signed) corners(f uint32) [3]uint32 {
	a, b, c := s.topo.Face(f)
	return [3]uint32{a, b, c}
}

func unit(v r3.Vec) r3.Vec {
	if l := math.Sqrt(r3.Norm2(v)); l > 0 {
		return r3.Scale(1/l, v)
	}
	return r3.Vec{}
}
