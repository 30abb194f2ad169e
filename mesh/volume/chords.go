package volume

import "rigatino/mesh"

// chords estimates the volume that the flat faces inside an outline cut off
// the smooth surface through their corners. Over a triangle of area A the
// second-order surface rises above its chord plane by A/24 times the sum, over
// its sides e, of the bend (n₂-n₁)·e between the normals at the two ends
// (integral of the error of linear interpolation). On a sphere this is 0.125
// e²/R per area, as the faceting of icospheres has it.
func chords(z *zone, level []float64) float64 {
	return mesh.SumBlocks(len(z.faces), func(i int) float64 {
		inside := 0.0
		for _, v := range z.corners[i] {
			if level[v] > 0 {
				inside++
			}
		}
		if inside == 0 {
			return 0
		}
		f := z.faces[i]
		bends := z.side.Bends(f)
		return inside / 3 * length(z.side.Mesh.AreaVector(f)) / 24 * (bends[0] + bends[1] + bends[2])
	})
}

// chordsKnown is how well the volume cut off by chords is estimated, as a
// share of it, half-width: 3 % on spheres, 10 % on ellipsoids of uneven faces.
const chordsKnown = 0.5
