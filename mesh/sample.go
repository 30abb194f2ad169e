package mesh

import (
	"math"
	"math/rand/v2"
	"sort"
)

// Sample returns n points spread evenly over the surface: the area is cut into
// n equal strata in the order of the faces, one random point in each. The same
// mesh, n and seed give the same points. A mesh without area gives none.
func Sample(m *Mesh, n int, seed uint64) []SurfacePoint {
	areas := FaceAreas(m)
	upTo := make([]float64, len(areas)+1)
	var sum Sum
	for f, a := range areas {
		if !math.IsNaN(a) {
			sum.Add(a)
		}
		upTo[f+1] = max(upTo[f], sum.Value())
	}
	total := upTo[len(areas)]
	if n <= 0 || !(total > 0) || math.IsInf(total, 0) {
		return nil
	}
	random := rand.New(rand.NewPCG(seed, 0x5AFE_5A3D1E))
	points := make([]SurfacePoint, n)
	for i := range points {
		at := total * (float64(i) + random.Float64()) / float64(n)
		// The last face that begins at or before `at` and has area.
		f := sort.Search(len(areas), func(f int) bool { return upTo[f+1] > at })
		for f == len(areas) || areas[f] == 0 {
			f--
		}
		// Uniform in a triangle by the square root of one of two uniform
		// numbers (Turk, Graphics Gems, 1990).
		r, s := math.Sqrt(random.Float64()), random.Float64()
		points[i] = SurfacePoint{Face: uint32(f), Weights: [3]float64{1 - r, r * (1 - s), r * s}}
	}
	return points
}
