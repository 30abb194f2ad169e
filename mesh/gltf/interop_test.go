package gltf_test

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/solid"
	"rigatino/testdata/interop"
)

func TestWhatWeWriteIsValidAndReadByOthers(t *testing.T) {
	// Sources: Khronos glTF validator 2.0.0-dev.3.10 (0 errors, 0 warnings) and
	// glTF-Transform 4.5.1, which must find what the mesh holds.
	coloured := solid.Icosphere(4, 25)
	coloured.Colours = bytes.Repeat([]byte{10, 128, 250, 255}, coloured.VertexCount())
	flat := solid.Cube(20)
	flat.Normals = make([]float32, len(flat.Positions)) // no direction at all
	interleaved := dressed(t, 5)
	for f := range interleaved.MaterialOf {
		interleaved.MaterialOf[f] = uint16(f % 3) // more runs than primitives are wanted
	}
	meshes := map[string]*mesh.Mesh{
		"plain": solid.Cube(20), "coloured": coloured, "textured u16": dressed(t, 3), "textured u32": dressed(t, 7),
		"normals without direction": flat, "materials in turn": interleaved,
	}
	dir := t.TempDir()
	var files []string
	var kept []*mesh.Mesh
	for name, m := range meshes {
		path := filepath.Join(dir, name+".glb")
		if err := os.WriteFile(path, written(t, m, 0.001), 0o666); err != nil {
			t.Fatal(err)
		}
		files, kept = append(files, path), append(kept, m)
	}
	interop.ValidateClean(t, files...)
	for i, got := range interop.Measure(t, files...) {
		m := kept[i]
		name := filepath.Base(files[i])
		box, area := mesh.Bounds(m), mesh.Area(m)*1e-6
		if got.Triangles != m.FaceCount() || math.Abs(got.Area-area) > 1e-6*area {
			t.Errorf("%s: %d triangles, %.9g m²; want %d, %.9g", name, got.Triangles, got.Area, m.FaceCount(), area)
		}
		volume := mesh.SumBlocks(m.FaceCount(), func(f int) float64 {
			a, b, c := m.Corners(uint32(f))
			return r3.Dot(a, r3.Cross(b, c)) / 6e9
		})
		size := r3.Norm(box.Max) * 1e-3
		if math.Abs(got.Volume-volume) > 1e-6*size*size*size {
			t.Errorf("%s: volume %.9g m³, want %.9g", name, got.Volume, volume)
		}
		for k, want := range [6]float64{box.Min.X, box.Min.Y, box.Min.Z, box.Max.X, box.Max.Y, box.Max.Z} {
			if have := [6]float64{got.Min[0], got.Min[1], got.Min[2], got.Max[0], got.Max[1], got.Max[2]}[k]; math.Abs(have-want*1e-3) > 1e-7*size {
				t.Errorf("%s: bound %d is %.9g m, want %.9g", name, k, have, want*1e-3)
			}
		}
		if len(got.Materials) != len(m.Materials) || len(got.Images) != len(m.Images) {
			t.Errorf("%s: materials %v, images %v", name, got.Materials, got.Images)
		}
		for k, n := range got.Images {
			if n != len(m.Images[k].Data) {
				t.Errorf("%s: image %d has %d bytes, want %d", name, k, n, len(m.Images[k].Data))
			}
		}
		if (got.Colours > 0) != (m.Colours != nil) {
			t.Errorf("%s: %d coloured vertices", name, got.Colours)
		}
	}
}

func TestAnnotatedModelIsValid(t *testing.T) {
	// Infos are allowed of two codes only: extensions that the validator does not
	// know, and buffer views that only those extensions use.
	dir := t.TempDir()
	glb, separate := filepath.Join(dir, "annotated.glb"), filepath.Join(dir, "annotated.gltf")
	var one, text, bin bytes.Buffer
	if err := annotated(t).WriteGLB(&one); err != nil {
		t.Fatal(err)
	}
	if err := annotated(t).WriteGLTF(&text, &bin, "some data.bin"); err != nil {
		t.Fatal(err)
	}
	for path, data := range map[string][]byte{glb: one.Bytes(), separate: text.Bytes(), filepath.Join(dir, "some data.bin"): bin.Bytes()} {
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, v := range interop.ValidateClean(t, glb, separate) {
		for _, m := range v.Messages {
			if m.Code != "UNSUPPORTED_EXTENSION" && m.Code != "UNUSED_OBJECT" {
				t.Errorf("%s: %s at %s: %s", filepath.Base(v.File), m.Code, m.Pointer, m.Message)
			}
		}
	}
	// Four triangles of the squares, two of the ribbon, two pieces of line.
	for _, got := range interop.Measure(t, glb, separate) {
		if got.Triangles != 6 || got.Segments != 2 || math.Abs(got.Area-3e-4) > 1e-9 {
			t.Errorf("%s: %d triangles, %d segments, %g m²", filepath.Base(got.File), got.Triangles, got.Segments, got.Area)
		}
	}
}

func TestRewrittenSamplesAreValid(t *testing.T) {
	// Every sample that is read is written again plain; the validator and the
	// other reader must find the same surface.
	paths, err := filepath.Glob(filepath.Join(ours, "*.gl*"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	var files []string
	var kept []*gltf.Scene
	for _, path := range paths {
		s, err := read(t, path)
		if err != nil || s.Mesh.FaceCount() == 0 {
			continue
		}
		out := filepath.Join(dir, filepath.Base(path)+".glb")
		if err := os.WriteFile(out, written(t, s.Mesh, 1), 0o666); err != nil {
			t.Fatal(err)
		}
		files, kept = append(files, out), append(kept, s)
	}
	if len(files) < 18 {
		t.Fatalf("only %d samples could be read", len(files))
	}
	interop.ValidateClean(t, files...)
	for i, got := range interop.Measure(t, files...) {
		if want := mesh.Area(kept[i].Mesh); got.Triangles != kept[i].Mesh.FaceCount() || math.Abs(got.Area-want) > 1e-6*want {
			t.Errorf("%s: %d triangles, %.9g m²; want %d, %.9g", filepath.Base(files[i]), got.Triangles, got.Area, kept[i].Mesh.FaceCount(), want)
		}
	}
}

func TestTheValidatorSeesBadFiles(t *testing.T) {
	// The control: a check that passed these would prove nothing.
	for _, v := range interop.Validate(t, filepath.Join(ours, "bad-nan-position.glb"), filepath.Join(ours, "bad-index-out-of-range.glb")) {
		if v.Errors == 0 {
			t.Errorf("%s: no errors", filepath.Base(v.File))
		}
	}
}
