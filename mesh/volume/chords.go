package volume

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
)

// crease is the angle between faces from which on an edge is a crease of the
// specimen, not a chord of something round.
const crease = math.Pi / 6

// chords estimates the volume that the flat faces inside an outline cut off
// the smooth surface through their corners. Over a triangle of area A the
// second-order surface rises above its chord plane by A/24 times the sum, over
// its sides e, of the bend (n₂-n₁)·e between the normals at the two ends
// (integral of the error of linear interpolation). On a sphere this is 0.125
// e²/R per area, as the faceting of icospheres has it.
func chords(s *change.Side, faces []uint32, level func(v uint32) float64) float64 {
	return mesh.SumBlocks(len(faces), func(i int) float64 {
		f := faces[i]
		a, b, c := s.Topology.Face(f)
		corner := [3]uint32{a, b, c}
		inside := 0.0
		for _, v := range corner {
			if level(v) > 0 {
				inside++
			}
		}
		if inside == 0 {
			return 0
		}
		own := s.Mesh.AreaVector(f)
		var normal [3]r3.Vec
		for k, v := range corner {
			normal[k] = normalWithin(s, v, own)
		}
		bend := 0.0
		for k := range 3 {
			n := (k + 1) % 3
			bend += r3.Dot(r3.Sub(normal[n], normal[k]), r3.Sub(s.Vertex(corner[n]), s.Vertex(corner[k])))
		}
		return inside / 3 * r3.Norm(own) / 24 * bend
	})
}

// normalWithin is the unit normal at a vertex of the faces that no crease
// parts from the given face.
func normalWithin(s *change.Side, v uint32, own r3.Vec) r3.Vec {
	var sum r3.Vec
	size := r3.Norm(own)
	for _, f := range s.Topology.FacesOf(v) {
		a := s.Mesh.AreaVector(f)
		if r3.Dot(a, own) > math.Cos(crease)*size*r3.Norm(a) {
			sum = r3.Add(sum, a)
		}
	}
	if l := r3.Norm(sum); l > 0 {
		return r3.Scale(1/l, sum)
	}
	return r3.Vec{}
}
