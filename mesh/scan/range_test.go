package scan_test

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/scan"
	"rigatino/testdata/shared"
)

func TestRangeScansLieOnTheModelMadeOfThem(t *testing.T) {
	// Source: the Stanford bunny, three range scans and the model that was merged
	// from all ten, with the poses of its own file. The points of a scan lie within
	// 0.049 to 0.075 mm (median) and 0.27 mm (nine of ten) of the model under those
	// poses; so must the middles of the triangles made of them, which span what the
	// scanner did not measure, and they must look out of the model as its own do.
	// The counts of points are those of the files' headers.
	var poses struct {
		Poses map[string][4][4]float64 `json:"poses"`
	}
	data, err := os.ReadFile(shared.Path(t, "data/bunny/poses.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &poses); err != nil {
		t.Fatal(err)
	}
	whole, err := scan.Open(context.Background(), shared.Path(t, "data/bunny/bun_zipper.ply.gz"), scan.Options{Unit: scan.Metre})
	if err != nil {
		t.Fatal(err)
	}
	tree := bvh.Build(whole.Mesh)
	for name, count := range map[string]int{"bun000.ply": 40256, "bun045.ply": 40097, "bun090.ply": 30379} {
		s, err := scan.Open(context.Background(), shared.Path(t, "data/bunny/"+name+".gz"), scan.Options{Unit: scan.Metre})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		m := s.Mesh
		if m.VertexCount() != count || len(s.Notes) != 1 || s.Notes[0].ID != "range_grid_joined" {
			t.Errorf("%s: %d vertices, want %d; notes %v", name, m.VertexCount(), count, s.Notes)
		}
		// A grid full of points has two triangles for each.
		if n := m.FaceCount(); n < 18*count/10 || n > 2*count {
			t.Errorf("%s: %d triangles of %d points", name, n, count)
		}
		pose := poses.Poses[name]
		move := func(p r3.Vec, by float64) r3.Vec {
			row := func(k int) float64 { return pose[k][0]*p.X + pose[k][1]*p.Y + pose[k][2]*p.Z + by*1000*pose[k][3] }
			return r3.Vec{X: row(0), Y: row(1), Z: row(2)}
		}
		var distances []float64
		same, all := 0, 0
		for f := 0; f < m.FaceCount(); f += 29 {
			a, b, c := m.Corners(uint32(f))
			hit, _ := tree.Closest(move(r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c))), 1), math.Inf(1))
			distances = append(distances, hit.Distance)
			all++
			if r3.Dot(move(m.AreaVector(uint32(f)), 0), whole.Mesh.AreaVector(hit.Face)) > 0 {
				same++
			}
		}
		slices.Sort(distances)
		median, most := distances[len(distances)/2], distances[len(distances)*9/10]
		t.Logf("checked: %s, %d triangles, middles from the model: median %.3f mm, nine of ten %.3f mm, %d of %d look the same way", name, m.FaceCount(), median, most, same, all)
		if median > 0.075 || most > 0.27 {
			t.Errorf("%s: median %.3f mm and nine of ten %.3f mm, want 0.075 and 0.27", name, median, most)
		}
		if float64(same) < 0.99*float64(all) {
			t.Errorf("%s: %d of %d triangles look the way of the model", name, same, all)
		}
		if r := looked(t, s); r.NonManifoldEdges > 0 || slices.Contains(points(r), "faces_turned") || r.Area != mesh.Area(m) {
			t.Errorf("%s: %d non-manifold edges, open points %v", name, r.NonManifoldEdges, points(r))
		}
	}
}
