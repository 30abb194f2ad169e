package bvh_test

import (
	"context"
	"math/rand/v2"
	"slices"
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

// A million small faces beside two thousand large ones, as on a table: the
// large ones must not blow up the tree.
func BenchmarkClosestAllMixedSizes(b *testing.B) {
	before, after := million()
	m := *before
	m.Positions, m.Triangles = slices.Clone(m.Positions), slices.Clone(m.Triangles)
	random := rand.New(rand.NewPCG(2, 2))
	for range 2000 {
		at := before.Vertex(uint32(random.IntN(before.VertexCount())))
		for range 3 {
			m.Triangles = append(m.Triangles, uint32(m.VertexCount()))
			m.Positions = append(m.Positions,
				float32(at.X+60*random.Float64()-30), float32(at.Y+60*random.Float64()-30), float32(at.Z+60*random.Float64()-30))
		}
	}
	tree := bvh.Build(&m)
	n := after.VertexCount()
	out := make([]bvh.Hit, n)
	for b.Loop() {
		if err := tree.ClosestAll(context.Background(), n, func(i int) r3.Vec { return after.Vertex(uint32(i)) }, 0, out); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/query")
}

// All faces within 5 mm of a point of the surface, as a brush asks for.
func BenchmarkWithin(b *testing.B) {
	before, after := million()
	tree := bvh.Build(before)
	faces, i := 0, 0
	for b.Loop() {
		tree.Within(after.Vertex(uint32(i*7919%after.VertexCount())), 5, func(uint32) { faces++ })
		i++
	}
	b.ReportMetric(float64(faces)/float64(b.N), "faces")
}

// Single rays from outside, as a pick or a view of rays asks for.
func BenchmarkRay(b *testing.B) {
	before, _ := million()
	tree := bvh.Build(before)
	i := 0
	for b.Loop() {
		tree.Ray(r3.Vec{X: 500, Y: float64(i%40) - 20, Z: float64(i/40%120) - 60}, r3.Vec{X: -1, Y: 0.01})
		i++
	}
}

// One closest point at a time, in no order.
func BenchmarkClosest(b *testing.B) {
	before, after := million()
	tree := bvh.Build(before)
	i := 0
	for b.Loop() {
		tree.Closest(after.Vertex(uint32(i*7919%after.VertexCount())), 0)
		i++
	}
}
