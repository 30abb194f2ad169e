package bvh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/solid"
)

func signed(m *mesh.Mesh) (*bvh.Tree, *bvh.Signed) {
	w := mesh.NewWeld(m)
	t := bvh.Build(m)
	return t, bvh.NewSigned(m, w, mesh.NewTopology(m, w), t)
}

// Signed distance to a cube in closed form: the sign agrees at every one of
// 1e5 random points, the distance to rounding.
func TestCubeSign(t *testing.T) {
	tree, sign := signed(solid.Cube(2))
	random := rand.New(rand.NewPCG(1, 2))
	points := make([]r3.Vec, 100_000)
	for i := range points {
		points[i] = r3.Vec{X: 4*random.Float64() - 2, Y: 4*random.Float64() - 2, Z: 4*random.Float64() - 2}
	}
	hits := make([]bvh.Hit, len(points))
	if err := tree.ClosestAll(context.Background(), len(points), func(i int) r3.Vec { return points[i] }, 0, hits); err != nil {
		t.Fatal(err)
	}
	for i, p := range points {
		x, y, z := math.Abs(p.X)-1, math.Abs(p.Y)-1, math.Abs(p.Z)-1
		want := r3.Norm(r3.Vec{X: max(x, 0), Y: max(y, 0), Z: max(z, 0)}) + min(0, max(x, y, z))
		got, defined := sign.Distance(p, hits[i])
		if !defined || math.Abs(got-want) > 1e-12 {
			t.Fatalf("at %v the distance is %g (defined %v), want %g", p, got, defined, want)
		}
	}
}
