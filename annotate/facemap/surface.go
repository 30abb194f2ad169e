package facemap

import (
	"math"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
)

// Surface is a mesh with what strokes and outlines ask of it. It is safe for
// concurrent use.
type Surface struct {
	Mesh     *mesh.Mesh
	Weld     *mesh.Weld
	Topology *mesh.Topology

	edge float64 // mean edge length

	treeOnce    sync.Once
	tree        *bvh.Tree
	normalsOnce sync.Once
	normals     []uint32  // per welded vertex, packed
	scratch     sync.Pool // *walk
}

// NewSurface welds the mesh and finds its topology; the search tree is built
// when first asked for.
func NewSurface(m *mesh.Mesh) *Surface {
	w := mesh.NewWeld(m)
	return &Surface{Mesh: m, Weld: w, Topology: mesh.NewTopology(m, w), edge: mesh.MeanEdge(m)}
}

// MeanEdge returns the mean edge length in mm.
func (s *Surface) MeanEdge() float64 { return s.edge }

// Tree returns the search tree over the mesh's faces.
func (s *Surface) Tree() *bvh.Tree {
	s.treeOnce.Do(func() { s.tree = bvh.Build(s.Mesh) })
	return s.tree
}

// Locate returns the place on the surface that is closest to a point (mm, the
// mesh's frame) and its distance.
func (s *Surface) Locate(p r3.Vec) (mesh.SurfacePoint, float64, bool) {
	hit, ok := s.Tree().Closest(p, 0)
	if !ok {
		return mesh.SurfacePoint{}, 0, false
	}
	return mesh.SurfacePoint{Face: hit.Face, Weights: hit.Weights}, hit.Distance, true
}

// normalAt returns the smoothed normal of a face: the mean of those of its
// corners, so that a single noisy face does not count.
func (s *Surface) normalAt(face uint32) r3.Vec {
	s.normalsOnce.Do(s.findNormals)
	var n r3.Vec
	a, b, c := s.Topology.Face(face)
	for _, v := range [3]uint32{a, b, c} {
		x, y, z := mesh.UnpackNormal(s.normals[v])
		n = r3.Add(n, r3.Vec{X: float64(x), Y: float64(y), Z: float64(z)})
	}
	if l := r3.Norm(n); l > 0 {
		return r3.Scale(1/l, n)
	}
	return n
}

// findNormals makes the normals of mesh.VertexNormals in a sixth of the memory: what
// they are asked for, whether a face is seen or turns away, needs no more than a
// tenth of a degree.
func (s *Surface) findNormals() {
	sums := make([][3]float32, s.Weld.Count)
	mesh.NormalShares(s.Mesh, s.Weld, func(v uint32, share r3.Vec) {
		n := &sums[v]
		n[0] += float32(share.X)
		n[1] += float32(share.Y)
		n[2] += float32(share.Z)
	})
	s.normals = make([]uint32, len(sums))
	for v, n := range sums {
		s.normals[v] = mesh.PackNormal(float64(n[0]), float64(n[1]), float64(n[2]))
	}
}

// takesPart returns a face of the topology at the place of the given one: a
// repeat of a face has no neighbours, the face it repeats has.
func (s *Surface) takesPart(face uint32) uint32 {
	if s.Topology.Component[face] >= 0 {
		return face
	}
	a, b, c := s.Topology.Face(face)
	for _, f := range s.Topology.FacesOf(a) {
		x, y, z := s.Topology.Face(f)
		if has := func(v uint32) bool { return v == x || v == y || v == z }; has(b) && has(c) {
			return f
		}
	}
	return face
}

// walk is the memory of a search over faces.
type walk struct {
	seen  []uint32
	round uint32
	queue []uint32
}

func (s *Surface) borrow() *walk {
	w, _ := s.scratch.Get().(*walk)
	if w == nil {
		w = &walk{seen: make([]uint32, s.Mesh.FaceCount())}
	}
	w.round++
	if w.round == 0 {
		clear(w.seen)
		w.round = 1
	}
	w.queue = w.queue[:0]
	return w
}

// first says whether the face was not met before in this round.
func (w *walk) first(face uint32) bool {
	if w.seen[face] == w.round {
		return false
	}
	w.seen[face] = w.round
	return true
}

// across calls visit for every face on the other side of edge k of face f.
func (s *Surface) across(f uint32, k int, visit func(face uint32)) {
	switch g := s.Topology.Neighbour[3*f+uint32(k)]; {
	case g >= 0:
		visit(uint32(g))
	case g == mesh.NonManifoldEdge:
		c := [3]uint32{}
		c[0], c[1], c[2] = s.Topology.Face(f)
		end := c[(k+1)%3]
		for _, o := range s.Topology.FacesOf(c[k]) {
			if x, y, z := s.Topology.Face(o); o != f && (x == end || y == end || z == end) {
				visit(o)
			}
		}
	}
}

// reach visits the faces connected with start inside the capsule: a face is
// entered over an edge that the capsule meets. With a turn limit, faces that
// look away from the start by more than it (its cosine) are not entered.
func (s *Surface) reach(start uint32, c capsule, cosTurn float64, visit func(face uint32)) {
	w := s.borrow()
	defer s.scratch.Put(w)
	start = s.takesPart(start)
	var ahead r3.Vec
	if cosTurn > -1 {
		ahead = s.normalAt(start)
	}
	w.first(start)
	w.queue = append(w.queue, start)
	for len(w.queue) > 0 {
		f := w.queue[len(w.queue)-1]
		w.queue = w.queue[:len(w.queue)-1]
		visit(f)
		var p [3]r3.Vec
		p[0], p[1], p[2] = s.Mesh.Corners(f)
		for k := range 3 {
			if !c.meets(p[k], p[(k+1)%3]) {
				continue
			}
			s.across(f, k, func(g uint32) {
				if w.seen[g] == w.round || (cosTurn > -1 && r3.Dot(ahead, s.normalAt(g)) < cosTurn) {
					return
				}
				w.first(g)
				w.queue = append(w.queue, g)
			})
		}
	}
}

// capsule is the places within Radius of the segment from A to B.
type capsule struct {
	a, b   r3.Vec
	radius float64
}

func (c capsule) holds(p r3.Vec) bool {
	_, q := onSegment(p, c.a, c.b)
	return r3.Norm2(r3.Sub(p, q)) <= c.radius*c.radius
}

// meets says whether the segment from p to q comes within the capsule.
func (c capsule) meets(p, q r3.Vec) bool {
	if c.holds(p) || c.holds(q) {
		return true
	}
	return segmentsApart2(p, q, c.a, c.b) <= c.radius*c.radius
}

// onSegment returns the place on the segment from a to b closest to p, as a
// share of the way and as a point.
func onSegment(p, a, b r3.Vec) (float64, r3.Vec) {
	d := r3.Sub(b, a)
	l := r3.Norm2(d)
	if l == 0 {
		return 0, a
	}
	t := min(max(r3.Dot(r3.Sub(p, a), d)/l, 0), 1)
	return t, r3.Add(a, r3.Scale(t, d))
}

// segmentsApart2 is the squared distance of two segments: closest points of
// the two lines, clamped to the segments in turn (Ericson, Real-Time Collision
// Detection, 2005, section 5.1.9).
func segmentsApart2(p1, q1, p2, q2 r3.Vec) float64 {
	d1, d2, r := r3.Sub(q1, p1), r3.Sub(q2, p2), r3.Sub(p1, p2)
	a, e, f := r3.Norm2(d1), r3.Norm2(d2), r3.Dot(d2, r)
	var s, t float64
	switch {
	case a == 0 && e == 0:
	case a == 0:
		t = clamp01(f / e)
	case e == 0:
		s = clamp01(-r3.Dot(d1, r) / a)
	default:
		b, c := r3.Dot(d1, d2), r3.Dot(d1, r)
		if den := a*e - b*b; den > 0 {
			s = clamp01((b*f - c*e) / den)
		}
		t = (b*s + f) / e
		if t < 0 {
			t, s = 0, clamp01(-c/a)
		} else if t > 1 {
			t, s = 1, clamp01((b-c)/a)
		}
	}
	return r3.Norm2(r3.Sub(r3.Add(p1, r3.Scale(s, d1)), r3.Add(p2, r3.Scale(t, d2))))
}

func clamp01(x float64) float64 { return math.Min(math.Max(x, 0), 1) }

// Ready works out beforehand what the tools would else work out when they are
// first used, about a third of a second for each million faces. Made before a large
// mesh is prepared for drawing it needs no memory that the drawing does not need
// afterwards.
func (s *Surface) Ready() {
	// What was needed before, and to build the tree, is used again instead of
	// more memory; without pointers in it a large mesh costs some milliseconds.
	collect := func() {
		if s.Mesh.FaceCount() > 500_000 {
			runtime.GC()
		}
	}
	if s.Mesh.FaceCount() > 0 {
		collect()
		s.normalAt(0)
	}
	collect()
	s.Tree()
	collect()
}
