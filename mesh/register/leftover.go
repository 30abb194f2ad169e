package register

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/frame"
)

// Leftover is how far, mm, every vertex of after lies off before under a pose:
// along the mean of both normals, positive outside, not a number where before has
// nothing that looks the same way within reach. Progress may be nil.
func Leftover(ctx context.Context, before, after *mesh.Mesh, afterToBefore frame.Rigid, reachMM float64, progress func(done float64, words string)) ([]float32, error) {
	say := progress
	if say == nil {
		say = func(float64, string) {}
	}
	say(0, "Measuring what is left over")
	bw, aw := mesh.NewWeld(before), mesh.NewWeld(after)
	theirs := mesh.VertexNormals(before, bw)
	mine := mesh.VertexNormals(after, aw)
	tree := bvh.Build(before)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	n := after.VertexCount()
	at := func(v int) r3.Vec { return afterToBefore.Apply(after.Vertex(uint32(v))) }
	hits := make([]bvh.Hit, n)
	if err := tree.ClosestAll(ctx, n, at, reachMM, hits); err != nil {
		return nil, err
	}
	// A vertex has the normal of its welded place, looked up by any of its faces.
	normals := make([]r3.Vec, n)
	for f := range uint32(after.FaceCount()) {
		a, b, c := aw.Face(after, f)
		for k, w := range []uint32{a, b, c} {
			normals[after.Triangles[3*f+uint32(k)]] = mine[w]
		}
	}
	out := make([]float32, n)
	for v, h := range hits {
		out[v] = float32(math.NaN())
		if h.Face == bvh.None {
			continue
		}
		a := afterToBefore.Turn(normals[v])
		b := smoothNormal(before, bw, theirs, mesh.SurfacePoint{Face: h.Face, Weights: h.Weights})
		sum := r3.Add(a, b)
		if l := r3.Norm(sum); l > 0 && r3.Dot(a, b) > compatible {
			out[v] = float32(r3.Dot(r3.Sub(at(v), h.Point), sum) / l)
		}
	}
	say(1, "Measured")
	return out, nil
}
