package tally

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/geodesic"
)

// Trace lays a line given by points (mm, the scan's frame) on to the surface:
// each point goes to the closest place, and consecutive places are joined by the
// shortest way over the surface. Two places without a way between them, as on
// two parts of a scan, are joined straight.
func Trace(s *facemap.Surface, points [][3]float64) ([]r3.Vec, error) {
	if len(points) < 2 {
		return nil, fmt.Errorf("a line needs at least two points, not %d", len(points))
	}
	places := make([]mesh.SurfacePoint, len(points))
	for i, p := range points {
		at, _, ok := s.Locate(r3.Vec{X: p[0], Y: p[1], Z: p[2]})
		if !ok {
			return nil, fmt.Errorf("point %d of the line has no surface to lie on: the scan has no faces", i+1)
		}
		places[i] = at
	}
	way := []r3.Vec{s.Mesh.At(places[0])}
	for i := 1; i < len(places); i++ {
		_, part, err := geodesic.Path(context.Background(), s.Mesh, s.Weld, s.Topology, places[i-1], places[i])
		if err != nil {
			part = []r3.Vec{s.Mesh.At(places[i-1]), s.Mesh.At(places[i])}
		}
		way = append(way, part[1:]...)
	}
	return way, nil
}
