package quality_test

import (
	"context"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/quality"
	"rigatino/mesh/solid"
)

// A whole look at a scan of 1.3 million triangles with noise.
func BenchmarkInspect(b *testing.B) {
	m := noisy(solid.Ellipsoid(8, 50, 20, 15), 0.01, nil)
	w := mesh.NewWeld(m)
	t := mesh.NewTopology(m, w)
	b.ResetTimer()
	for range b.N {
		if _, err := quality.Inspect(context.Background(), m, w, t, quality.Options{Millimetres: true}); err != nil {
			b.Fatal(err)
		}
	}
}
