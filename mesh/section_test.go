package mesh_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

func lengthOf(line []r3.Vec) (sum float64) {
	for i := 1; i < len(line); i++ {
		sum += r3.Norm(r3.Sub(line[i], line[i-1]))
	}
	return sum
}

// Cuts of a sphere (a circle of radius √(R²-d²)), of a torus along its ring's
// plane (two circles) and across it (two circles of the tube), of a cube (a
// square), of an open plane (a straight line that does not close).
func TestSection(t *testing.T) {
	for _, c := range []struct {
		name       string
		mesh       *mesh.Mesh
		at, normal r3.Vec
		lines      int
		length     float64
		within     float64
		closed     bool
	}{
		{"sphere", solid.Icosphere(6, 30), r3.Vec{Z: 18}, r3.Vec{Z: 2}, 1, 2 * math.Pi * 24, 0.001, true},
		{"sphere, slanting", solid.Icosphere(6, 30), r3.Vec{}, r3.Vec{X: 1, Y: 2, Z: -1}, 1, 2 * math.Pi * 30, 0.001, true},
		{"torus, along", solid.Torus(30, 10, 200, 100), r3.Vec{Z: 0.01}, r3.Vec{Z: 1}, 2, 2 * math.Pi * 60, 0.002, true},
		{"torus, across", solid.Torus(30, 10, 200, 100), r3.Vec{X: 0.01}, r3.Vec{X: 1}, 2, 4 * math.Pi * 10, 0.002, true},
		{"cube", solid.Cube(20), r3.Add(mesh.Bounds(solid.Cube(20)).Centre(), r3.Vec{Z: 3}), r3.Vec{Z: 1}, 1, 80, 1e-6, true},
		{"corners on the plane", solid.Plane(60, 60), r3.Vec{}, r3.Vec{X: 1}, 1, 60, 1e-6, false},
		{"beside", solid.Icosphere(3, 30), r3.Vec{Z: 31}, r3.Vec{Z: 1}, 0, 0, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := mesh.NewWeld(c.mesh)
			lines := mesh.Section(c.mesh, mesh.NewTopology(c.mesh, w), c.at, c.normal)
			if len(lines) != c.lines {
				t.Fatalf("%d lines, wanted %d", len(lines), c.lines)
			}
			sum := 0.0
			for _, l := range lines {
				sum += lengthOf(l)
				if closes := r3.Norm(r3.Sub(l[0], l[len(l)-1])) < 1e-4; closes != c.closed {
					t.Errorf("a line closes: %v", closes)
				}
				for _, p := range l {
					if off := math.Abs(r3.Dot(r3.Sub(p, c.at), r3.Unit(c.normal))); off > 1e-4 {
						t.Fatalf("a point lies %g mm off the plane", off)
					}
				}
			}
			if math.Abs(sum-c.length) > c.within*c.length {
				t.Errorf("length %.5g mm, wanted %.5g", sum, c.length)
			}
		})
	}
}
