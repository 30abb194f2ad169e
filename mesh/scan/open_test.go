package scan_test

import (
	"context"
	"math"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/scan"
	"rigatino/testdata/shared"
)

func TestOpenScansAgreeWithOtherLibraries(t *testing.T) {
	// Source: reference values of the open scans. Area by vtkMassProperties of
	// VTK 9 and by Open3D 0.16.1; volume by vtkMassProperties, given only where
	// the surface is closed (the fossil's has edges with more than two faces but
	// no border); welded vertices, borders and parts by merging equal
	// coordinates. The bunny's stored vertices are all different.
	rows := []struct {
		file                                     string
		unit                                     scan.Unit
		triangles, stored, welded                int
		border, nonManifold, parts               int
		closed                                   bool
		min, max                                 [3]float64 // file units
		area, volume                             float64    // file units
	}{
		{"bunny/bun_zipper.ply.gz", "", 69451, 35947, 35947, 223, 0, 1, false,
			[3]float64{-0.09469, 0.032987, -0.061874}, [3]float64{0.061009, 0.187321, 0.0588}, 0.0571287835, 0},
		{"bone/krapina-d1-tooth.ply", "", 100000, 50004, 50004, 0, 0, 5, true,
			[3]float64{2.545867, 3.850669, 1.380634}, [3]float64{15.121963, 26.92849, 15.240048}, 1132.55538, 1735.6945},
		{"fossil/usnm-1145291.glb", "m", 100000, 73082, 49198, 0, 31, 1, false,
			[3]float64{-0.242613, -0.431247, 16.78587}, [3]float64{0.133249, 0.009505, 17.072306}, 0.8769063, 0.0077874714},
	}
	for _, want := range rows {
		t.Run(want.file, func(t *testing.T) {
			s, err := scan.Open(context.Background(), shared.Path(t, "data/"+want.file), scan.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if s.Unit != want.unit {
				t.Errorf("unit %q, want %q", s.Unit, want.unit)
			}
			w := mesh.NewWeld(s.Mesh)
			topo := mesh.NewTopology(s.Mesh, w)
			t.Log(s.Mesh.FaceCount(), s.Mesh.VertexCount(), w.Count, topo.Border, topo.NonManifold, topo.Components, topo.Closed(), topo.Degenerate, topo.Duplicate, s.Mesh.Origin)
		})
	}
}
