package scan_test

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/ply"
	"rigatino/mesh/scan"
	"rigatino/mesh/solid"
	"rigatino/testdata/shared"
)

// float32Step is half the step of float32 at 8 to 16 units from the origin, by
// which recentring may round a coordinate.
const float32Step = 0x1p-21

func TestCheckAgreesWithOtherLibraries(t *testing.T) {
	// Source: reference values of the open scans. Area by vtkMassProperties of
	// VTK 9 and by Open3D 0.16.1, which agree to all digits given; volume by
	// vtkMassProperties where the surface is closed; merged vertices, border and
	// non-manifold edges and parts after merging equal coordinates. The stored
	// vertices of the fossil are those its accessor states. What is proposed on the
	// tooth: its pulp cavity, which no light reaches; its crumbs are too near to be proposed.
	rows := []struct {
		file                       string
		unit                       scan.Unit
		triangles, stored, welded  int
		border, nonManifold, parts int
		closed                     bool
		min, max                   [3]float64 // file units, six decimals
		area, volume               float64    // file units, nine digits
		textures                   int
		openPoints                 []string
	}{
		{"bunny/bun_zipper.ply.gz", "", 69451, 35947, 35947, 223, 0, 1, false,
			[3]float64{-0.09469, 0.032987, -0.061874}, [3]float64{0.061009, 0.187321, 0.0588},
			0.0571287835, 0, 0, []string{"unit_missing", "stray_vertices", "open_surface"}},
		{"bunny/bun_zipper.ply.gz", "m", 69451, 35947, 35947, 223, 0, 1, false,
			[3]float64{-0.09469, 0.032987, -0.061874}, [3]float64{0.061009, 0.187321, 0.0588},
			0.0571287835, 0, 0, []string{"stray_vertices", "open_surface"}},
		{"bone/krapina-d1-tooth.ply", "mm", 100000, 50004, 50004, 0, 0, 5, true,
			[3]float64{2.545867, 3.850669, 1.380634}, [3]float64{15.121963, 26.92849, 15.240048},
			1132.55538, 1735.6945, 0, []string{"stray_vertices", "several_parts", "self_intersection", "proposed_inner_wall"}},
		{"fossil/usnm-1145291.glb", "", 100000, 73082, 49198, 0, 31, 1, false,
			[3]float64{-0.242613, -0.431247, 16.78587}, [3]float64{0.133249, 0.009505, 17.072306},
			0.8769063, 0, 1, []string{"far_from_zero", "duplicate_faces", "non_manifold_edges", "self_intersection"}},
	}
	for _, want := range rows {
		t.Run(want.file, func(t *testing.T) {
			s, err := scan.Open(context.Background(), shared.Path(t, "data/"+want.file), scan.Options{Unit: want.unit})
			if err != nil {
				t.Fatal(err)
			}
			r := look(t, s)
			if r.Triangles != want.triangles || r.Vertices != want.stored || r.Welded != want.welded {
				t.Errorf("%d triangles, %d vertices, %d welded; want %d, %d, %d", r.Triangles, r.Vertices, r.Welded, want.triangles, want.stored, want.welded)
			}
			if r.BorderEdges != want.border || r.NonManifoldEdges != want.nonManifold || r.Components != want.parts || r.Closed != want.closed {
				t.Errorf("%d border, %d non-manifold, %d parts, closed %v; want %d, %d, %d, %v",
					r.BorderEdges, r.NonManifoldEdges, r.Components, r.Closed, want.border, want.nonManifold, want.parts, want.closed)
			}
			f := r.Unit.Millimetres()
			if got := r.Area / f / f; math.Abs(got-want.area) > 1e-8*want.area {
				t.Errorf("area %.9g, want %.9g", got, want.area)
			}
			if want.closed {
				if r.Volume == nil || math.Abs(*r.Volume/f/f/f-want.volume) > 1e-8*want.volume {
					t.Errorf("volume %v, want %.9g", r.Volume, want.volume)
				}
			} else if r.Volume != nil {
				t.Errorf("volume %g of an open surface", *r.Volume)
			}
			got := [6]float64{r.Bounds.Min.X, r.Bounds.Min.Y, r.Bounds.Min.Z, r.Bounds.Max.X, r.Bounds.Max.Y, r.Bounds.Max.Z}
			for k, w := range [6]float64{want.min[0], want.min[1], want.min[2], want.max[0], want.max[1], want.max[2]} {
				if math.Abs(got[k]/f-w) > 5e-7+float32Step {
					t.Errorf("bound %d is %.7g, want %.7g", k, got[k]/f, w)
				}
			}
			if r.Textures != want.textures {
				t.Errorf("%d textures, want %d", r.Textures, want.textures)
			}
			var ids []string
			for _, p := range r.OpenPoints {
				ids = append(ids, p.ID)
				if p.Reason == "" || p.WayOut == "" || p.Severity == "" {
					t.Errorf("open point %+v lacks reason, way out or severity", p)
				}
			}
			if !slices.Equal(ids, want.openPoints) {
				t.Errorf("open points %v, want %v", ids, want.openPoints)
			}
		})
	}
}

// write puts a mesh into a PLY file of its own.
func write(t *testing.T, m *mesh.Mesh) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "scan.ply")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := ply.Write(f, m, ply.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// open opens and checks a scan that must open.
func open(t *testing.T, path string, unit scan.Unit) scan.Report {
	t.Helper()
	s, err := scan.Open(context.Background(), path, scan.Options{Unit: unit})
	if err != nil {
		t.Fatal(err)
	}
	return look(t, s)
}

// look checks an opened scan.
func look(t *testing.T, s *scan.Scan) scan.Report {
	t.Helper()
	r, err := scan.Check(context.Background(), s, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// points returns the ids of open points.
func points(r scan.Report) []string {
	var ids []string
	for _, p := range r.OpenPoints {
		ids = append(ids, p.ID)
	}
	return ids
}

func TestCheckFindsWhatIsWrongWithACube(t *testing.T) {
	// The cube of side 20 has 12 triangles, area 6·20² and volume 20³; the rows
	// damage it in one way each.
	rows := []struct {
		name    string
		damage  func(m *mesh.Mesh)
		want    []string
		volume  float64
		borders int
	}{
		{"whole", func(*mesh.Mesh) {}, nil, 8000, 0},
		{"turned inside out", func(m *mesh.Mesh) {
			for f := range m.FaceCount() {
				m.Triangles[3*f], m.Triangles[3*f+1] = m.Triangles[3*f+1], m.Triangles[3*f]
			}
		}, []string{"inside_out"}, -8000, 0},
		{"one triangle turned", func(m *mesh.Mesh) {
			m.Triangles[0], m.Triangles[1] = m.Triangles[1], m.Triangles[0]
		}, []string{"faces_turned"}, 0, 0},
		{"one triangle missing", func(m *mesh.Mesh) { m.Triangles = m.Triangles[3:] }, []string{"open_surface"}, 0, 3},
		{"one triangle twice", func(m *mesh.Mesh) { m.Triangles = append(m.Triangles, m.Triangles[:3]...) },
			[]string{"duplicate_faces", "non_manifold_edges"}, 0, 0},
		{"a triangle without area", func(m *mesh.Mesh) {
			m.Triangles = append(m.Triangles, m.Triangles[0], m.Triangles[0], m.Triangles[1])
		}, []string{"degenerate_faces"}, 8000, 0},
		{"a stray vertex", func(m *mesh.Mesh) { m.Positions = append(m.Positions, 1e4, 0, 0) }, []string{"stray_vertices"}, 8000, 0},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			m := solid.Cube(20)
			row.damage(m)
			r := open(t, write(t, m), scan.Millimetre)
			if got := points(r); !slices.Equal(got, row.want) {
				t.Errorf("open points %v, want %v", got, row.want)
			}
			if row.volume == 0 != (r.Volume == nil) || r.Volume != nil && math.Abs(*r.Volume-row.volume) > 1e-9*8000 {
				t.Errorf("volume %v, want %g", r.Volume, row.volume)
			}
			if r.BorderEdges != row.borders {
				t.Errorf("%d border edges, want %d", r.BorderEdges, row.borders)
			}
		})
	}
}

func TestCheckDoubtsUnlikelyUnits(t *testing.T) {
	// The bounds 1 mm and 3 m are our own judgement. A cube of side 20 has a
	// diagonal of 34.64.
	rows := []struct {
		unit  scan.Unit
		scale float64
		want  []string
	}{
		{"mm", 1, nil},
		{"in", 1, nil},
		{"m", 1, []string{"unit_doubtful"}},     // 34.6 m
		{"mm", 0.02, []string{"unit_doubtful"}}, // 0.69 mm
		{"", 1, []string{"unit_missing"}},
		{"", 1e6, []string{"unit_missing"}},
	}
	for _, row := range rows {
		m := mesh.Transform(solid.Cube(20), func(p r3.Vec) r3.Vec { return r3.Scale(row.scale, p) })
		if got := points(open(t, write(t, m), row.unit)); !slices.Equal(got, row.want) {
			t.Errorf("unit %q, scale %g: open points %v, want %v", row.unit, row.scale, got, row.want)
		}
	}
}

func TestGeoreferencedCoordinatesKeepTheirDigits(t *testing.T) {
	// A cube of 20 mm at coordinates of a national grid, in metres as double:
	// float32 there has steps of 0.5 m. Area and volume are analytic.
	at := r3.Vec{X: 691234.125, Y: 5334567.25, Z: 512.5}
	m := mesh.Transform(solid.Cube(20), func(p r3.Vec) r3.Vec { return r3.Add(at, r3.Scale(1e-3, p)) })
	r := open(t, write(t, m), scan.Metre)
	if math.Abs(r.Area-2400) > 2400*1e-6 || r.Volume == nil || math.Abs(*r.Volume-8000) > 8000*1e-6 {
		t.Errorf("area %g, volume %v; want 2400, 8000", r.Area, r.Volume)
	}
	if got := points(r); !slices.Equal(got, []string{"far_from_zero"}) {
		t.Errorf("open points %v", got)
	}
}

func TestReportKeysSayTheUnit(t *testing.T) {
	for unit, want := range map[scan.Unit][]string{
		"mm": {"bounds_mm", "area_mm2", "volume_mm3", "mean_edge_mm", "edge_p5_mm", "edge_p95_mm"},
		"":   {"bounds", "area", "volume", "mean_edge", "edge_p5", "edge_p95"},
	} {
		raw, err := json.Marshal(open(t, write(t, solid.Cube(20)), unit))
		if err != nil {
			t.Fatal(err)
		}
		var keys map[string]json.RawMessage
		if err := json.Unmarshal(raw, &keys); err != nil {
			t.Fatal(err)
		}
		for _, key := range append(want, "file", "members", "sha256", "format", "unit", "triangles", "vertices",
			"welded_vertices", "components", "border_edges", "non_manifold_edges", "closed", "textures", "open_points", "degenerate_faces", "duplicate_faces",
			"zero_area_faces", "closure_ratio", "turned_faces", "one_sided_components", "inside_out_components", "self_intersection", "openings", "proposals") {
			if _, ok := keys[key]; !ok {
				t.Errorf("unit %q: no key %q in %s", unit, key, raw)
			}
		}
		if len(keys) != len(want)+24 {
			t.Errorf("unit %q: %d keys in %s", unit, len(keys), raw)
		}
	}
}
