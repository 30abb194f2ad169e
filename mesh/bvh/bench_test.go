package bvh_test

import (
	"context"
	"math/rand/v2"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/solid/bentbody"
)

// million is a body of about a million faces before a change and the same
// after it, with the noise of a scan; no vertex is shared.
var million = sync.OnceValues(func() (before, after *mesh.Mesh) {
	body := bentbody.New(7)
	s := bentbody.Scanning{Triangles: 1_000_000, NoiseMM: 0.01}
	return body.Before(s), body.After(s)
})

func BenchmarkBuild(b *testing.B) {
	m, _ := million()
	for b.Loop() {
		bvh.Build(m)
	}
	b.ReportMetric(float64(m.FaceCount()), "faces")
}

// Every vertex of "after" asks for the closest point of "before", in the
// order of the file and shuffled.
func BenchmarkClosestAll(b *testing.B) {
	before, after := million()
	tree := bvh.Build(before)
	n := after.VertexCount()
	out := make([]bvh.Hit, n)
	shuffled := rand.New(rand.NewPCG(1, 1)).Perm(n)
	for name, at := range map[string]func(i int) r3.Vec{
		"file order": func(i int) r3.Vec { return after.Vertex(uint32(i)) },
		"shuffled":   func(i int) r3.Vec { return after.Vertex(uint32(shuffled[i])) },
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if err := tree.ClosestAll(context.Background(), n, at, 0, out); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/query")
		})
	}
}
