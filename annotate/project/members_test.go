package project

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/ply"
	"rigatino/mesh/solid"
)

// A .gltf with its buffer, a picture in a folder below and a picture that is not
// there is one scan of three files: it is stored whole, byte for byte, and comes
// back with its picture although the files it came from are gone.
func TestScanWithPicturesComesBackWhole(t *testing.T) {
	dir := t.TempDir()
	var corners []byte
	for _, x := range []float32{0, 0, 0, 0.02, 0, 0, 0, 0.01, 0, 0, 0, 1, 0, 0, 1} {
		corners = binary.LittleEndian.AppendUint32(corners, math.Float32bits(x))
	}
	var skin bytes.Buffer
	if err := png.Encode(&skin, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		t.Fatal(err)
	}
	text := `{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[{"mesh":0}],
		"meshes":[{"primitives":[{"attributes":{"POSITION":0,"TEXCOORD_0":1},"material":0},{"attributes":{"POSITION":0,"TEXCOORD_0":1},"material":1}]}],
		"materials":[{"pbrMetallicRoughness":{"baseColorTexture":{"index":0}}},{"pbrMetallicRoughness":{"baseColorTexture":{"index":1}}}],
		"textures":[{"source":0},{"source":1}],"images":[{"uri":"pictures/skin%201.png"},{"uri":"gone.png"}],
		"accessors":[{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3","min":[0,0,0],"max":[0.02,0.01,0]},
			{"bufferView":0,"byteOffset":36,"componentType":5126,"count":3,"type":"VEC2"}],
		"bufferViews":[{"buffer":0,"byteLength":60}],"buffers":[{"byteLength":60,"uri":"the%20body.bin"}]}`
	files := map[string][]byte{"scan.gltf": []byte(text), "the body.bin": corners, "pictures/skin 1.png": skin.Bytes()}
	for name, data := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p := fresh(t)
	if len(corners) != 60 {
		t.Fatalf("%d bytes", len(corners))
	}
	out, err := p.AddScan(t.Context(), Adding{Path: filepath.Join(dir, "scan.gltf"), Stage: "received"})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if len(out.Scan.Members) != len(files) {
		t.Errorf("members %+v", out.Scan.Members)
	}
	for _, m := range out.Scan.Members {
		stored, err := os.ReadFile(filepath.Join(p.Dir(), filepath.FromSlash(m.Path)))
		if err != nil || !bytes.Equal(stored, files[m.Name]) {
			t.Errorf("%s is stored as %d bytes, %v", m.Name, len(stored), err)
		}
	}
	if err := p.Save(); err != nil {
		t.Fatal(err)
	}
	p.cache.scans = nil
	l, err := p.LoadUse(t.Context(), out.Use.Key(), nil)
	if err != nil {
		t.Fatal(err)
	}
	m := l.Surface.Mesh
	if m.FaceCount() != 2 || len(m.Images) != 2 || !bytes.Equal(m.Images[0].Data, skin.Bytes()) || m.Images[1].Data != nil {
		t.Errorf("%d faces, %d images", m.FaceCount(), len(m.Images))
	}
	var ids []string
	for _, n := range l.Notes {
		ids = append(ids, n.ID)
	}
	if !slices.Contains(ids, "texture_missing") {
		t.Errorf("notes %v do not tell of the missing picture", ids)
	}
}

// A scan whose faces look inward, four of them against their neighbours, is
// worked on with its outer side out (analytic: a ball's volume is positive), with
// a note, numbers of faces as they were; the file stays byte for byte.
func TestScanInsideOutIsTurned(t *testing.T) {
	ball := solid.Icosphere(3, 20)
	out := *ball
	out.Triangles = slices.Clone(ball.Triangles)
	for f := range ball.FaceCount() {
		if !slices.Contains([]int{5, 6, 100, 700}, f) {
			out.Triangles[3*f], out.Triangles[3*f+1] = out.Triangles[3*f+1], out.Triangles[3*f]
		}
	}
	var file bytes.Buffer
	if err := ply.Write(&file, &out, ply.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "ball.ply")
	if err := os.WriteFile(path, file.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	p := fresh(t)
	added, err := p.AddScan(t.Context(), Adding{Path: path, Unit: "mm", Stage: "received"})
	if err != nil {
		t.Fatal(err)
	}
	for _, again := range []bool{false, true} {
		if again {
			p.cache.scans = nil
		}
		l, err := p.LoadUse(t.Context(), added.Use.Key(), nil)
		if err != nil {
			t.Fatal(err)
		}
		m := l.Surface.Mesh
		if v, want := mesh.Volume(m), mesh.Volume(ball); !l.Surface.Topology.Oriented() || math.Abs(v-want) > 1e-3*want {
			t.Errorf("volume %v, want %v", v, want)
		}
		for f := range uint32(m.FaceCount()) {
			a, b, c := m.Corners(f)
			d, e, g := ball.Corners(f)
			if r3.Norm(r3.Sub(r3.Add(a, r3.Add(b, c)), r3.Add(d, r3.Add(e, g)))) > 1e-4 {
				t.Fatalf("face %d is elsewhere", f)
			}
		}
		if !slices.ContainsFunc(l.Notes, func(n mesh.Finding) bool { return n.ID == "faces_turned_over" }) {
			t.Errorf("notes %v", l.Notes)
		}
	}
	stored, err := os.ReadFile(filepath.Join(p.Dir(), filepath.FromSlash(added.Scan.Members[0].Path)))
	if err != nil || !bytes.Equal(stored, file.Bytes()) {
		t.Errorf("the file is stored as %d bytes of %d, %v", len(stored), file.Len(), err)
	}
}
