package geodesic

import (
	"context"
	"errors"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// ErrApart is returned where no way over the surface joins two places.
var ErrApart = errors.New("the two places lie on parts of the surface that do not hang together")

// Path returns the length in the mesh's unit and the points of the shortest way
// over the surface from one place to another, both ends included; between two
// points the way is straight and lies in one face. w and topo are the weld and
// topology of m. It returns ErrApart where there is none, and ctx.Err() once ctx
// is done.
func Path(ctx context.Context, m *mesh.Mesh, w *mesh.Weld, topo *mesh.Topology, from, to mesh.SurfacePoint) (length float64, points []r3.Vec, err error) {
	start, end := m.At(from), m.At(to)
	if from.Face == to.Face {
		return r3.Norm(r3.Sub(end, start)), []r3.Vec{start, end}, nil
	}
	s := newSearch(m, topo, start, end)
	last := s.run(ctx, from.Face, to.Face)
	if err := ctx.Err(); err != nil {
		return 0, nil, err
	}
	if last < 0 {
		return 0, nil, ErrApart
	}
	points = []r3.Vec{start}
	for _, leg := range s.legs(last, from.Face, to.Face) {
		points = append(points, leg.taut()[1:]...)
	}
	points = slices.Compact(points)
	if len(points) == 1 {
		points = append(points, end)
	}
	for i := 1; i < len(points); i++ {
		length += r3.Norm(r3.Sub(points[i], points[i-1]))
	}
	return length, points, nil
}

// surface is what both the search and the strips ask of a mesh.
type surface struct {
	m    *mesh.Mesh
	topo *mesh.Topology
}

// corner is where corner k of face f stands.
func (s *surface) corner(f uint32, k int) r3.Vec { return s.m.Vertex(s.m.Triangles[3*f+uint32(k)]) }

func (s *surface) corners(f uint32) [3]uint32 {
	a, b, c := s.topo.Face(f)
	return [3]uint32{a, b, c}
}

// cornerOf is the corner of face f at welded vertex v, -1 if none.
func (s *surface) cornerOf(f, v uint32) int { c := s.corners(f); return slices.Index(c[:], v) }

// across is the face on the other side of edge k of face f and the number of
// that edge there.
func (s *surface) across(f uint32, k int) (g uint32, j int, ok bool) {
	n := s.topo.Neighbour[3*f+uint32(k)]
	if n < 0 {
		return 0, 0, false
	}
	c := s.corners(f)
	u, v := c[k], c[(k+1)%3]
	d := s.corners(uint32(n))
	for j := range 3 {
		if x, y := d[j], d[(j+1)%3]; (x == u && y == v) || (x == v && y == u) {
			return uint32(n), j, true
		}
	}
	return 0, 0, false
}

// fan lists the faces that a turn round vertex v passes from face f, left by
// edge k, up to face g, those two not among them. It fails at borders and where
// more than two faces meet.
func (s *surface) fan(v, f uint32, k int, g uint32) (between []uint32, ok bool) {
	for at := f; ; {
		n, j, found := s.across(at, k)
		if !found || n == f {
			return nil, false
		}
		if n == g {
			return between, true
		}
		between = append(between, n)
		// Out again by the other edge at v.
		c := s.cornerOf(n, v)
		at, k = n, c
		if j == c {
			k = (c + 2) % 3
		}
	}
}
