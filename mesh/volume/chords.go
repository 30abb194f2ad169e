package volume

import (
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
)

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
		inside := 0.0
		for _, v := range [3]uint32{a, b, c} {
			if level(v) > 0 {
				inside++
			}
		}
		if inside == 0 {
			return 0
		}
		bends := s.Bends(f)
		return inside / 3 * r3.Norm(s.Mesh.AreaVector(f)) / 24 * (bends[0] + bends[1] + bends[2])
	})
}

// chordsKnown is how well the volume cut off by chords is estimated, as a
// share of it, half-width: 3 % on spheres, 10 % on ellipsoids of uneven faces.
const chordsKnown = 0.5
