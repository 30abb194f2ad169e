package gltf_test

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/testdata/shared"
)

// sample reads one of our sample files.
func sample(t testing.TB, name string) *gltf.Scene {
	t.Helper()
	s, err := read(t, filepath.Join(ours, name))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// findings lists the ids.
func findings(s *gltf.Scene) []string {
	var ids []string
	for _, f := range s.Findings {
		ids = append(ids, f.ID)
	}
	return ids
}

func TestVertexColoursOfAllEncodingsAreEqual(t *testing.T) {
	// The three samples hold the same linear colours, whose components are 0.2 or
	// 1. IEC 61966-2-1: 0.2 linear is 1.055·0.2^(1/2.4) − 0.055 = 0.4845, that is
	// 124 of 255.
	var first []uint8
	for _, name := range []string{"vertex-colour-u8-rgba.glb", "vertex-colour-u16-rgba.glb", "vertex-colour-float-rgb.glb"} {
		m := sample(t, name).Mesh
		if first == nil {
			first = m.Colours
		}
		if len(m.Colours) != 96 || !slices.Equal(m.Colours, first) || !slices.Equal(m.Colours[:8], []uint8{255, 124, 124, 255, 255, 255, 124, 255}) {
			t.Errorf("%s: colours %v", name, m.Colours)
		}
	}
}

func TestColoursSurviveWritingAndReading(t *testing.T) {
	m := &mesh.Mesh{Positions: make([]float32, 3*256), Colours: make([]uint8, 4*256), Triangles: []uint32{0, 1, 2}}
	for i := range 256 {
		for k := range 4 {
			m.Colours[4*i+k] = uint8(i)
		}
	}
	s, err := gltf.Read("c.glb", written(t, m, 1), gltf.Options{})
	if err != nil || !slices.Equal(s.Mesh.Colours, m.Colours) {
		t.Errorf("error %v, colours %v", err, s.Mesh.Colours)
	}
}

func TestWhatIsNotAScanIsLeftOutWithAWord(t *testing.T) {
	rows := map[string][]string{
		"morph-animation-ignored.glb": {"morph_ignored", "animation_ignored"},
		"nodes-transforms.gltf":       {"nodes_outside_scene", "mirrored"},
		"annotated-schema.glb":        {"hidden_ignored"},
		"ball-plain.glb":              nil,
		"ball-quantized.glb":          nil,
		"unlit-textured.glb":          nil,
		"index-u16-separate.gltf":     nil,
	}
	for name, want := range rows {
		s := sample(t, name)
		if name == "annotated-schema.glb" {
			// The ribbon is aside because it says so, not because it is hidden.
			want = nil
		}
		if got := findings(s); !slices.Equal(got, want) {
			t.Errorf("%s: findings %v, want %v", name, got, want)
		}
	}
}

func TestMirroredPartsAreTurnedKeepingTheirNumbers(t *testing.T) {
	// The third part of the sample stands in a mirroring node. Its faces must look
	// outward (volume of the cube of 2 cm: 8e-6 m³) and face 24 must still be the
	// first triangle that the file stores for it.
	s := sample(t, "nodes-transforms.gltf")
	if len(s.Parts) != 3 || !s.Parts[2].Mirrored || s.Parts[0].Mirrored || s.Parts[2].FirstFace != 24 {
		t.Fatalf("parts %+v", s.Parts)
	}
	third := *s.Mesh
	third.Triangles = s.Mesh.Triangles[3*24:]
	if v := mesh.Volume(&third); math.Abs(v-8e-6) > 1e-6*8e-6 { // float32 at 7 cm
		t.Errorf("volume %g m³, want 8e-6", v)
	}
	first, turned := s.Mesh.Triangles[:3], s.Mesh.Triangles[3*24:3*24+3]
	for k, want := range []uint32{first[0] + 48, first[2] + 48, first[1] + 48} {
		if turned[k] != want {
			t.Errorf("face 24 has the corners %v, face 0 %v", turned, first)
		}
	}
	// Normals of a mirrored and of a squashed part still look outward.
	for f := range uint32(s.Mesh.FaceCount()) {
		n := s.Mesh.AreaVector(f)
		for _, v := range s.Mesh.Triangles[3*f : 3*f+3] {
			stored := r3.Vec{X: float64(s.Mesh.Normals[3*v]), Y: float64(s.Mesh.Normals[3*v+1]), Z: float64(s.Mesh.Normals[3*v+2])}
			if c := r3.Dot(r3.Unit(n), stored); math.Abs(c-1) > 1e-6 {
				t.Fatalf("face %d: its normal and a stored one have the cosine %g", f, c)
			}
		}
	}
}

func TestDegenerateFacesKeepTheirNumbers(t *testing.T) {
	// 12 good and 3 degenerate triangles, 2 vertices far away that none uses.
	s := sample(t, "degenerate-and-unreferenced.glb")
	zero := 0
	for _, a := range mesh.FaceAreas(s.Mesh) {
		if a == 0 {
			zero++
		}
	}
	if s.Mesh.FaceCount() != 15 || zero != 3 || s.Mesh.VertexCount() != 26 {
		t.Errorf("%d faces, %d degenerate, %d vertices", s.Mesh.FaceCount(), zero, s.Mesh.VertexCount())
	}
	if s.Mesh.Origin != (r3.Vec{}) {
		t.Errorf("stray vertices drew the origin to %v", s.Mesh.Origin)
	}
}

func TestSharedAccessorsAreReadOnce(t *testing.T) {
	s := sample(t, "shared-accessors-two-primitives.glb")
	if s.Mesh.VertexCount() != 24 || len(s.Parts) != 2 || s.Parts[1].FirstVertex != 0 || s.Parts[1].FirstFace != s.Parts[0].Faces {
		t.Errorf("%d vertices, parts %+v", s.Mesh.VertexCount(), s.Parts)
	}
}

func TestStripsAndFansAreExpanded(t *testing.T) {
	// Specification 3.7.2.1: strip faces (i, i+1+i%2, i+2−i%2), fan faces
	// (i+1, i+2, 0).
	raw := make([]byte, 0, 60)
	for i := range 5 {
		for _, x := range []float32{float32(i), float32(i * i), 0} {
			raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(x))
		}
	}
	for mode, want := range map[int][]uint32{
		5: {0, 1, 2, 1, 3, 2, 2, 3, 4},
		6: {1, 2, 0, 2, 3, 0, 3, 4, 0},
	} {
		data := triangle(t, func(d map[string]any) {
			at(d, "meshes", 0, "primitives", 0)["mode"] = mode
			at(d, "accessors", 0)["count"] = 5
			at(d, "bufferViews", 0)["byteLength"] = 60
			at(d, "buffers", 0)["byteLength"] = 60
			at(d, "buffers", 0)["uri"] = "data:application/octet-stream;base64," + base64.StdEncoding.EncodeToString(raw)
		})
		s, err := gltf.Read("x.gltf", data, gltf.Options{})
		if err != nil || !slices.Equal(s.Mesh.Triangles, want) {
			t.Errorf("mode %d: triangles %v, want %v (%v)", mode, s.Mesh.Triangles, want, err)
		}
	}
}

func TestGeoreferencedNodesKeepTheirDigits(t *testing.T) {
	// A triangle of 1 m at coordinates of a national grid: float32 there has steps
	// of 0.5 m, float64 keeps 1e-9.
	at0 := [3]float64{691234.1015625, 5334567.203125, 512.3}
	data := triangle(t, func(d map[string]any) {
		at(d, "nodes", 0)["translation"] = []any{at0[0], at0[1], at0[2]}
	})
	s, err := gltf.Read("x.gltf", data, gltf.Options{Factor: 1000})
	if err != nil {
		t.Fatal(err)
	}
	a, b, c := s.Mesh.Corners(0)
	for i, p := range []r3.Vec{a, b, c} {
		want := r3.Scale(1000, r3.Add(r3.Vec{X: at0[0], Y: at0[1], Z: at0[2]}, []r3.Vec{{}, {X: 1}, {Y: 1}}[i]))
		if d := r3.Norm(r3.Sub(p, want)); d > 1e-4 {
			t.Errorf("corner %d is at %v, want %v mm", i, p, want)
		}
	}
}

func TestContainerOdditiesAreAccepted(t *testing.T) {
	text := triangle(t, func(map[string]any) {})
	glb := func(json []byte) []byte {
		out := binary.LittleEndian.AppendUint32(nil, 0x46546C67)
		out = binary.LittleEndian.AppendUint32(out, 2)
		out = binary.LittleEndian.AppendUint32(out, uint32(20+len(json)))
		out = binary.LittleEndian.AppendUint32(out, uint32(len(json)))
		return append(append(out, "JSON"...), json...)
	}
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	rows := []struct {
		name string
		data []byte
		want []string
	}{
		{"as it should be", glb(text), nil},
		{"byte order mark", append([]byte("\xef\xbb\xbf"), text...), []string{"json_bom"}},
		{"zeros instead of blanks", glb(append(bytes.Clone(text), 0, 0, 0, 0)), []string{"json_padding"}},
		{"padded beyond its length", func() []byte {
			// JSON of 4n+1 bytes, 3 of padding that its length leaves out, then BIN.
			out := append(glb(append(bytes.Clone(text), ' ')), 0, 0, 0, 4, 0, 0, 0)
			out = append(append(out, "BIN\x00"...), 1, 2, 3, 4)
			binary.LittleEndian.PutUint32(out[8:], uint32(len(out)))
			return out
		}(), []string{"glb_unpadded_chunk"}},
		{"not padded", glb(append(bytes.Clone(text), ' ')), []string{"glb_unpadded_chunk"}},
	}
	for _, row := range rows {
		s, err := gltf.Read("x", row.data, gltf.Options{})
		if err != nil || s.Mesh.FaceCount() != 1 || !slices.Equal(findings(s), row.want) {
			t.Errorf("%s: error %v, findings %v", row.name, err, findings(s))
		}
	}
}

func TestUnalignedAndInterleavedDataIsReadTheSame(t *testing.T) {
	// The slow path must agree with the fast one: the file moved by one byte in
	// memory, so that no number is aligned, and the interleaved sample, which holds
	// the same cube.
	data, err := os.ReadFile(filepath.Join(ours, "ball-plain.glb"))
	if err != nil {
		t.Fatal(err)
	}
	fast, err := gltf.Read("a", data, gltf.Options{Factor: 1000})
	if err != nil {
		t.Fatal(err)
	}
	moved := append([]byte{0}, data...)[1:]
	slow, err := gltf.Read("b", moved, gltf.Options{Factor: 1000})
	if err != nil {
		t.Fatal(err)
	}
	same := func(name string, a, b *mesh.Mesh) {
		if a.Origin != b.Origin || !slices.Equal(a.Positions, b.Positions) || !slices.Equal(a.Triangles, b.Triangles) ||
			!slices.Equal(a.Normals, b.Normals) || !slices.Equal(a.UVs, b.UVs) {
			t.Errorf("%s differs", name)
		}
	}
	same("unaligned", fast.Mesh, slow.Mesh)
	same("interleaved", sample(t, "index-u16-separate.gltf").Mesh, sample(t, "interleaved.glb").Mesh)
	same("32-bit indices", sample(t, "index-u16-separate.gltf").Mesh, sample(t, "index-u32.glb").Mesh)
	same("8-bit indices", sample(t, "index-u16-separate.gltf").Mesh, sample(t, "index-u8-datauri.gltf").Mesh)
}

// textured is a quad with texture coordinates (0,0) (1,0) (1,1) (0,1), whose
// material can be changed.
func textured(t *testing.T, resource func(string) ([]byte, error), change func(d map[string]any)) *gltf.Scene {
	t.Helper()
	b := gltf.NewBuilder("test")
	image, err := b.Image("picture", png(t))
	if err != nil {
		t.Fatal(err)
	}
	m := b.Material(gltf.Material{PBR: &gltf.PBRMetallicRoughness{BaseColorTexture: &gltf.TextureInfo{Index: b.Texture(image)}}})
	uv, other := []float32{0, 0, 1, 0, 1, 1, 0, 1}, []float32{5, 5, 6, 5, 6, 6, 5, 6}
	i, err := b.Mesh("quad", []gltf.Geometry{{Mode: gltf.Triangles, Positions: []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0},
		UVs: [2][]float32{uv, other}, Indices: []uint32{0, 1, 2, 0, 2, 3}, Material: m}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	b.Scene("", b.Node(gltf.Node{Mesh: &i}))
	var text, bin bytes.Buffer
	if err := b.WriteGLTF(&text, &bin, "q.bin"); err != nil {
		t.Fatal(err)
	}
	var d map[string]any
	if err := json.Unmarshal(text.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	change(d)
	raw, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	s, err := gltf.Read("q.gltf", raw, gltf.Options{Resource: func(name string) ([]byte, error) {
		if name == "q.bin" {
			return bin.Bytes(), nil
		}
		return resource(name)
	}})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestTextureTransform(t *testing.T) {
	// First row: the example of KHR_texture_transform, which "utilizes only the
	// lower left quadrant of the source image, rotated clockwise 90°" (v points
	// down, so the lower left is u in [0, 0.5], v in [0.5, 1]). Second: its other
	// example, a lower-left origin. Then a scale and offset by hand, and the set
	// that the extension names.
	rows := []struct {
		transform map[string]any
		want      []float32
	}{
		{map[string]any{"offset": []any{0, 1}, "rotation": 1.57079632679, "scale": []any{0.5, 0.5}}, []float32{0, 1, 0, 0.5, 0.5, 0.5, 0.5, 1}},
		{map[string]any{"offset": []any{0, 1}, "scale": []any{1, -1}}, []float32{0, 1, 1, 1, 1, 0, 0, 0}},
		{map[string]any{"offset": []any{0.25, 0.5}, "scale": []any{2, 3}}, []float32{0.25, 0.5, 2.25, 0.5, 2.25, 3.5, 0.25, 3.5}},
		{map[string]any{"texCoord": 1}, []float32{5, 5, 6, 5, 6, 6, 5, 6}},
	}
	for i, row := range rows {
		s := textured(t, nil, func(d map[string]any) {
			at(d, "materials", 0, "pbrMetallicRoughness", "baseColorTexture")["extensions"] = map[string]any{"KHR_texture_transform": row.transform}
			d["extensionsUsed"], d["extensionsRequired"] = []any{"KHR_texture_transform"}, []any{"KHR_texture_transform"}
		})
		for k, want := range row.want {
			if math.Abs(float64(s.Mesh.UVs[k]-want)) > 1e-6 {
				t.Errorf("row %d: coordinates %v, want %v", i, s.Mesh.UVs, row.want)
				break
			}
		}
	}
}

func TestTexturesThatAreNotThere(t *testing.T) {
	absent := func(string) ([]byte, error) { return nil, &fs.PathError{Op: "open", Path: "x", Err: fs.ErrNotExist} }
	webp := func(string) ([]byte, error) { return []byte("RIFF\x00\x00\x00\x00WEBPVP8 "), nil }
	there := func(string) ([]byte, error) { return png(t), nil }
	uri := func(name string) func(d map[string]any) {
		return func(d map[string]any) { d["images"] = []any{map[string]any{"uri": name, "mimeType": "image/jpeg"}} }
	}
	rows := []struct {
		name     string
		resource func(string) ([]byte, error)
		change   func(d map[string]any)
		findings []string
		images   int
		data     bool
	}{
		{"missing", absent, uri("gone.jpg"), []string{"texture_missing"}, 1, false},
		{"WebP", webp, uri("a.webp"), []string{"texture_unreadable"}, 0, false},
		{"PNG called JPEG", there, uri("a.jpg"), []string{"texture_mislabelled"}, 1, true},
		{"outside", there, uri("../a.jpg"), []string{"texture_unreadable"}, 1, false},
		{"no source", there, func(d map[string]any) { delete(at(d, "textures", 0), "source") }, []string{"texture_unreadable"}, 0, false},
		{"no such texture", there, func(d map[string]any) {
			at(d, "materials", 0, "pbrMetallicRoughness", "baseColorTexture")["index"] = 4
		}, []string{"texture_missing"}, 0, false},
		{"no such view", there, func(d map[string]any) { at(d, "images", 0)["bufferView"] = 99 }, []string{"texture_unreadable"}, 1, false},
	}
	for _, row := range rows {
		s := textured(t, row.resource, row.change)
		if !slices.Equal(findings(s), row.findings) || len(s.Mesh.Images) != row.images || s.Mesh.FaceCount() != 2 {
			t.Errorf("%s: findings %v, %d images", row.name, findings(s), len(s.Mesh.Images))
			continue
		}
		if row.images == 1 && (s.Mesh.Images[0].Data != nil) != row.data {
			t.Errorf("%s: the image has %d bytes", row.name, len(s.Mesh.Images[0].Data))
		}
		for _, f := range s.Findings {
			if f.WayOut == "" || f.Reason == "" {
				t.Errorf("%s: finding %+v", row.name, f)
			}
		}
	}
}

func TestUnlitAndImageOfTheSample(t *testing.T) {
	m := sample(t, "unlit-textured.glb").Mesh
	if len(m.Materials) != 1 || !m.Materials[0].Unlit || m.Materials[0].Image != 0 || m.Images[0].MIME != "image/png" || m.MaterialOf != nil {
		t.Errorf("materials %+v, %d images", m.Materials, len(m.Images))
	}
}

func TestMissingNormalsAreLeftToTheSurface(t *testing.T) {
	if m := sample(t, "no-index-no-normal.glb").Mesh; m.Normals != nil {
		t.Errorf("normals %v out of nothing", m.Normals)
	}
	// One part with, one without: none is stored.
	b := gltf.NewBuilder("test")
	square := []float32{0, 0, 0, 1, 0, 0, 1, 1, 0}
	i, err := b.Mesh("m", []gltf.Geometry{
		{Mode: gltf.Triangles, Positions: square, Normals: []float32{0, 0, 1, 0, 0, 1, 0, 0, 1}, Material: -1},
		{Mode: gltf.Triangles, Positions: square, Material: -1},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	b.Scene("", b.Node(gltf.Node{Mesh: &i}))
	var out bytes.Buffer
	if err := b.WriteGLB(&out); err != nil {
		t.Fatal(err)
	}
	s, err := gltf.Read("x.glb", out.Bytes(), gltf.Options{})
	if err != nil || s.Mesh.Normals != nil || !slices.Equal(findings(s), []string{"normals_partly_missing"}) {
		t.Errorf("error %v, normals %v, findings %v", err, s.Mesh.Normals, findings(s))
	}
}

func TestHiddenTrianglesAreNotSurface(t *testing.T) {
	s := textured(t, nil, func(d map[string]any) {
		at(d, "materials", 0)["alphaMode"] = "BLEND"
		at(d, "materials", 0, "pbrMetallicRoughness")["baseColorFactor"] = []any{0, 0, 0, 0}
	})
	if s.Mesh.FaceCount() != 0 || len(s.Aside) != 1 || s.Aside[0].Mesh.FaceCount() != 2 || !slices.Equal(findings(s), []string{"hidden_ignored"}) {
		t.Errorf("%d faces, %d parts aside, findings %v", s.Mesh.FaceCount(), len(s.Aside), findings(s))
	}
}

func TestRegionsOfTheAnnotatedSample(t *testing.T) {
	// Sources: areaByRegion_m2 of expected.json (glTF-Transform) and the column
	// area of the file's own property table, written by another program.
	raw, err := os.ReadFile(shared.Path(t, "samples/expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string]figures
	if err := json.Unmarshal(raw, &expected); err != nil {
		t.Fatal(err)
	}
	want := expected["made/annotated-schema.glb"].Surface.ByRegion
	s := sample(t, "annotated-schema.glb")
	ids, mixed := s.FaceFeatures(0)
	if mixed != 0 || len(s.Tables) != 1 || s.Tables[0].Count != 6 {
		t.Fatalf("%d mixed faces, tables %+v", mixed, s.Tables)
	}
	areas := make([]float64, s.Tables[0].Count)
	for f, a := range mesh.FaceAreas(s.Mesh) {
		areas[ids[f]] += a
	}
	column := s.Tables[0].Column("area").Numbers
	for i, a := range areas {
		if w := want[strconv.Itoa(i)]; math.Abs(a-w) > 1e-7*w || math.Abs(a-column[i]) > 1e-6*w {
			t.Errorf("region %d: %.9g m², want %.9g; the table says %.9g", i, a, w, column[i])
		}
	}
	if kinds := s.Tables[0].Column("category").Strings; kinds[0] != "original" || kinds[1] != "fill" {
		t.Errorf("categories %v", kinds)
	}
	if len(s.Variants) != 3 || s.Variants[0] != "as seen" || len(s.Parts) != 5 || len(s.Parts[1].Mappings) != 2 {
		t.Errorf("variants %v, parts %d", s.Variants, len(s.Parts))
	}
	if len(s.Lines) != 1 || len(s.Lines[0].IDs) != 1 || s.Document.Nodes[s.Lines[0].Node].Name != "glue joints" {
		t.Errorf("%d lines", len(s.Lines))
	}
}

func TestSamplesOfTheMetadataExtensions(t *testing.T) {
	// Files of the authors of EXT_mesh_features and EXT_structural_metadata; the
	// values are those of their own readers' description: row i of the first
	// column is (i, i + 0.1, i + 0.2).
	s, err := read(t, shared.Path(t, "samples/third-party/MultipleFeatureIdsAndProperties.gltf"))
	if err != nil {
		t.Fatal(err)
	}
	first, _ := s.FaceFeatures(0)
	second, _ := s.FaceFeatures(1)
	if !slices.Equal(first, []uint32{0, 0, 1, 1, 2, 2, 3, 3}) || !slices.Equal(second, []uint32{3, 3, 2, 2, 1, 1, 0, 0}) {
		t.Errorf("ids %v, %v", first, second)
	}
	table := s.Tables[0]
	for i, x := range table.Column("example_VEC3_FLOAT32").Numbers {
		if want := float64(i/3) + float64(i%3)*0.1; math.Abs(x-want) > 1e-6 {
			t.Errorf("number %d is %g, want %g", i, x, want)
		}
	}
	if got := table.Column("example_STRING").Strings; !slices.Equal(got, []string{"Rain 🌧", "Thunder ⛈", "Sun ☀", "Snow 🌨"}) {
		t.Errorf("texts %q", got)
	}
	if len(s.Parts[0].Features) != 2 || *s.Parts[0].Features[1].Attribute != 1 {
		t.Errorf("features %+v", s.Parts[0].Features)
	}
}

func TestBrokenTablesAreLeftOutWithAWord(t *testing.T) {
	change := func(do func(d map[string]any)) *gltf.Scene {
		var text, bin bytes.Buffer
		if err := annotated(t).WriteGLTF(&text, &bin, "a.bin"); err != nil {
			t.Fatal(err)
		}
		var d map[string]any
		if err := json.Unmarshal(text.Bytes(), &d); err != nil {
			t.Fatal(err)
		}
		do(at(d, "extensions", "EXT_structural_metadata"))
		raw, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		s, err := gltf.Read("a.gltf", raw, gltf.Options{Resource: func(string) ([]byte, error) { return bin.Bytes(), nil }})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for name, do := range map[string]func(d map[string]any){
		"rows":    func(d map[string]any) { at(d, "propertyTables", 0)["count"] = 4_000_000_000 },
		"no rows": func(d map[string]any) { at(d, "propertyTables", 0)["count"] = -1 },
		"view":    func(d map[string]any) { at(d, "propertyTables", 0, "properties", "id")["values"] = 999 },
		"offsets": func(d map[string]any) { at(d, "propertyTables", 0, "properties", "id")["stringOffsets"] = 0 },
		"enum":    func(d map[string]any) { at(d, "schema", "enums", "substance")["values"] = []any{} },
		"class":   func(d map[string]any) { at(d, "propertyTables", 0)["class"] = "none" },
		"type": func(d map[string]any) {
			at(d, "schema", "classes", "region", "properties", "area_m2")["componentType"] = "FLOAT9"
		},
	} {
		s := change(do)
		if s.Mesh.FaceCount() != 4 || !slices.Contains(findings(s), "metadata_broken") {
			t.Errorf("%s: findings %v", name, findings(s))
		}
	}
	if s := change(func(map[string]any) {}); slices.Contains(findings(s), "metadata_broken") {
		t.Errorf("unchanged: findings %v", findings(s))
	}
}
