package gltf_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/testdata/shared"
)

// ours is the folder of the sample files that are kept with the program.
const ours = "../../testdata/gltf"

// fromFolder serves the files beside a .gltf.
func fromFolder(dir string) func(string) ([]byte, error) {
	return func(name string) ([]byte, error) { return os.ReadFile(filepath.Join(dir, filepath.FromSlash(name))) }
}

// read reads a file in metres.
func read(t testing.TB, path string) (*gltf.Scene, error) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return gltf.Read(filepath.Base(path), data, gltf.Options{Resource: fromFolder(filepath.Dir(path))})
}

// figures are what glTF-Transform 4.5.1 found in a sample (expected.json).
type figures struct {
	Triangles         int        `json:"triangles"`
	ZeroAreaTriangles int        `json:"zeroAreaTriangles"`
	LineSegments      int        `json:"lineSegments"`
	Area              float64    `json:"area_m2"`
	SignedVolume      float64    `json:"signedVolume_m3"`
	Min               [3]float64 `json:"min"`
	Max               [3]float64 `json:"max"`
	Surface           *struct {
		Triangles    int                `json:"triangles"`
		Area         float64            `json:"area_m2"`
		SignedVolume float64            `json:"signedVolume_m3"`
		ByRegion     map[string]float64 `json:"areaByRegion_m2"`
	} `json:"surfaceOnly"`
}

// volumeAboutZero is the signed sum that expected.json holds: about the world's
// zero, which matters for open surfaces.
func volumeAboutZero(m *mesh.Mesh) float64 {
	return mesh.SumBlocks(m.FaceCount(), func(f int) float64 {
		a, b, c := m.Corners(uint32(f))
		return r3.Dot(a, r3.Cross(b, c)) / 6
	})
}

// near says whether got is want to the digits of expected.json (float32 data,
// 8 or 9 digits printed), with an allowance of the size of the whole.
func near(got, want, whole float64) bool {
	return math.Abs(got-want) <= 2e-7*max(math.Abs(want), whole)
}

func TestSamplesAgreeWithAnotherReader(t *testing.T) {
	// Source: expected.json of the sample models, computed by glTF-Transform
	// 4.5.1, not by this project.
	raw, err := os.ReadFile(shared.Path(t, "samples/expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string]figures
	if err := json.Unmarshal(raw, &expected); err != nil {
		t.Fatal(err)
	}
	read3 := 0
	for name, want := range expected {
		t.Run(name, func(t *testing.T) {
			path := shared.Path(t, "samples/"+name)
			s, err := read(t, path)
			if strings.Contains(name, "draco") {
				if err == nil || !strings.Contains(err.Error(), "save the scan again with mesh compression switched off") {
					t.Fatalf("error %v does not say how to save the scan again", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			read3++
			box, area, volume := mesh.Bounds(s.Mesh), mesh.Area(s.Mesh), volumeAboutZero(s.Mesh)
			triangles, zero, segments := s.Mesh.FaceCount(), 0, 0
			for _, a := range mesh.FaceAreas(s.Mesh) {
				if a == 0 {
					zero++
				}
			}
			if o := want.Surface; o != nil {
				if triangles != o.Triangles || !near(area, o.Area, 0) || !near(volume, o.SignedVolume, 0) {
					t.Errorf("surface alone: %d triangles, %.9g m², %.9g m³; want %d, %.9g, %.9g",
						triangles, area, volume, o.Triangles, o.Area, o.SignedVolume)
				}
			}
			for _, a := range s.Aside {
				b := mesh.Bounds(a.Mesh)
				triangles += a.Mesh.FaceCount()
				area += mesh.Area(a.Mesh)
				volume += volumeAboutZero(a.Mesh)
				box.Min = r3.Vec{X: min(box.Min.X, b.Min.X), Y: min(box.Min.Y, b.Min.Y), Z: min(box.Min.Z, b.Min.Z)}
				box.Max = r3.Vec{X: max(box.Max.X, b.Max.X), Y: max(box.Max.Y, b.Max.Y), Z: max(box.Max.Z, b.Max.Z)}
			}
			for _, l := range s.Lines {
				segments += l.Segments()
				for _, p := range l.Points {
					box.Min = r3.Vec{X: min(box.Min.X, p.X), Y: min(box.Min.Y, p.Y), Z: min(box.Min.Z, p.Z)}
					box.Max = r3.Vec{X: max(box.Max.X, p.X), Y: max(box.Max.Y, p.Y), Z: max(box.Max.Z, p.Z)}
				}
			}
			if triangles != want.Triangles || zero != want.ZeroAreaTriangles || segments != want.LineSegments {
				t.Errorf("%d triangles, %d without area, %d segments; want %d, %d, %d",
					triangles, zero, segments, want.Triangles, want.ZeroAreaTriangles, want.LineSegments)
			}
			d := box.Diagonal()
			if !near(area, want.Area, 0) || !near(volume, want.SignedVolume, d*d*d) {
				t.Errorf("area %.9g m², volume %.9g m³; want %.9g, %.9g", area, volume, want.Area, want.SignedVolume)
			}
			for k, got := range [6]float64{box.Min.X, box.Min.Y, box.Min.Z, box.Max.X, box.Max.Y, box.Max.Z} {
				if w := [6]float64{want.Min[0], want.Min[1], want.Min[2], want.Max[0], want.Max[1], want.Max[2]}[k]; !near(got, w, d) {
					t.Errorf("bound %d is %.9g, want %.9g", k, got, w)
				}
			}
		})
	}
}
