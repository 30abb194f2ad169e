package bvh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/ply"
	"rigatino/testdata/shared"
)

// On a real closed scan of 100 000 faces the sign agrees with counting the
// crossings of a ray (Jordan), near the surface and far, at every point.
func TestSignOnScanAgreesWithRays(t *testing.T) {
	path := shared.Path(t, "data/bone/krapina-d1-tooth.ply")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	file, err := ply.Read(context.Background(), path, data, ply.Options{})
	if err != nil {
		t.Fatal(err)
	}
	m := file.Mesh
	tree, sign := signed(m)
	random := rand.New(rand.NewPCG(9, 9))
	samples := mesh.Sample(m, 5_000, 9)
	points := make([]r3.Vec, len(samples))
	for i, s := range samples {
		step := r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}
		points[i] = r3.Add(m.At(s), r3.Scale(math.Pow(10, -3+4*random.Float64()), step))
	}
	inside := 0
	for i, h := range closestAll(t, tree, points) {
		d, defined := sign.Distance(points[i], h)
		crossings := 0
		tree.RayAll(points[i], r3.Vec{X: 0.31, Y: 0.77, Z: 0.53}, func(f uint32, _ float64) {
			if r3.Dot(m.AreaVector(f), r3.Vec{X: 0.31, Y: 0.77, Z: 0.53}) > 0 {
				crossings++
			} else {
				crossings--
			}
		})
		if !defined || (d < 0) != (crossings > 0) {
			t.Errorf("at %v the distance is %g (defined %v), a ray leaves %d times more than it enters", points[i], d, defined, crossings)
		}
		if d < 0 {
			inside++
		}
	}
	if inside < 500 {
		t.Errorf("only %d points were inside", inside)
	}
}
