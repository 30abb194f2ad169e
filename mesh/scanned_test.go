package mesh_test

import (
	"context"
	"os"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/ply"
	"rigatino/testdata/shared"
)

// Volumes of real scans by vtkMassProperties of VTK 9 and by a divergence sum
// in numpy, which agree to the digits given. The fossil has 31 edges of four
// faces but no border, so its volume means something all the same.
func TestVolumeOfScansAgreesWithOtherLibraries(t *testing.T) {
	for _, row := range []struct {
		file   string
		volume float64 // file units
	}{
		{"data/bone/krapina-d1-tooth.ply", 1735.6945},
		{"data/fossil/usnm-1145291.glb", 0.0077874714},
	} {
		t.Run(row.file, func(t *testing.T) {
			path := shared.Path(t, row.file)
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			var m *mesh.Mesh
			if gltf.IsGLB(data) {
				scene, err := gltf.Read(path, data, gltf.Options{Factor: 1})
				if err != nil {
					t.Fatal(err)
				}
				m = scene.Mesh
			} else {
				file, err := ply.Read(context.Background(), path, data, ply.Options{})
				if err != nil {
					t.Fatal(err)
				}
				m = file.Mesh
			}
			_, topo := topologyOf(m)
			if topo.Border != 0 || !topo.Oriented() {
				t.Errorf("%d border edges, %d turned", topo.Border, topo.Turned)
			}
			near(t, "volume", mesh.Volume(m), row.volume, 1e-8*row.volume)
			near(t, "volume by moments", mesh.Moments(m).Volume, row.volume, 1e-8*row.volume)
			near(t, "closure ratio", mesh.ClosureRatio(m), 0, 1e-6)

			// Parts and the faces that take no part add up to the whole.
			parts := make([][]uint32, topo.Components+1)
			for f, c := range topo.Component {
				if c < 0 {
					c = int32(topo.Components)
				}
				parts[c] = append(parts[c], uint32(f))
			}
			var sum float64
			for _, faces := range parts {
				sum += mesh.AreaOf(m, faces)
			}
			near(t, "sum of parts", sum, mesh.Area(m), 1e-12*mesh.Area(m))
		})
	}
}
