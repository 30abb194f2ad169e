package gltf_test

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
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

// What a scene may hold beside a scan is left out, each with a word: joints,
// cameras, lights, instances; the surface is read all the same. Source: glTF 2.0,
// 3.7.3.3 (a skinned mesh ignores the place of its node).
func TestJointsCamerasAndLightsAreLeftOut(t *testing.T) {
	data := triangle(t, func(d map[string]any) {
		d["nodes"] = []any{
			map[string]any{"mesh": 0, "skin": 0, "translation": []any{100, 0, 0}},
			map[string]any{"camera": 0, "extensions": map[string]any{"KHR_lights_punctual": map[string]any{"light": 0}}},
		}
		at(d, "scenes", 0)["nodes"] = []any{0, 1}
		d["skins"] = []any{map[string]any{"joints": []any{1}}}
		d["cameras"] = []any{map[string]any{"type": "perspective", "perspective": map[string]any{"yfov": 1, "znear": 0.1}}}
		d["extensionsUsed"] = []any{"KHR_lights_punctual", "EXT_mesh_gpu_instancing"}
		d["extensions"] = map[string]any{"KHR_lights_punctual": map[string]any{"lights": []any{map[string]any{"type": "point"}}}}
	})
	s, err := gltf.Read("x.gltf", data, gltf.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"extension_ignored", "extension_ignored", "skin_ignored", "cameras_ignored"}; !slices.Equal(findings(s), want) {
		t.Errorf("findings %v, want %v", findings(s), want)
	}
	if b := mesh.Bounds(s.Mesh); s.Mesh.FaceCount() != 1 || b.Max.X != 1 {
		t.Errorf("%d faces up to x = %g, want 1 up to 1", s.Mesh.FaceCount(), b.Max.X)
	}
}

// A file that only uses Draco and stores the plain data too is read from that; one
// that stores nothing else is refused, whether or not it says that it must.
func TestDracoWithAndWithoutPlainData(t *testing.T) {
	draco := func(plain bool) []byte {
		return triangle(t, func(d map[string]any) {
			d["extensionsUsed"] = []any{"KHR_draco_mesh_compression"}
			at(d, "meshes", 0, "primitives", 0)["extensions"] = map[string]any{
				"KHR_draco_mesh_compression": map[string]any{"bufferView": 0, "attributes": map[string]any{"POSITION": 0}},
			}
			if !plain {
				delete(at(d, "accessors", 0), "bufferView")
			}
		})
	}
	s, err := gltf.Read("x.gltf", draco(true), gltf.Options{})
	if err != nil || mesh.Area(s.Mesh) != 0.5 {
		t.Errorf("with plain data: %v", err)
	}
	_, err = gltf.Read("x.gltf", draco(false), gltf.Options{})
	if err == nil || !strings.Contains(err.Error(), "KHR_draco_mesh_compression") || !strings.Contains(err.Error(), "switched off") {
		t.Errorf("without: %v", err)
	}
}

// Extensions that a file must have read, by name and way out; what only changes
// the look may be required all the same.
func TestRequiredExtensions(t *testing.T) {
	for name, way := range map[string]string{
		"KHR_draco_mesh_compression": "mesh compression switched off",
		"KHR_meshopt_compression":    "mesh compression switched off",
		"VENDOR_points":              "without it",
		"KHR_materials_clearcoat":    "",
		"EXT_texture_webp":           "",
		"KHR_mesh_quantization":      "",
		"EXT_meshopt_compression":    "",
		"KHR_texture_transform":      "",
		"KHR_materials_unlit":        "",
	} {
		_, err := gltf.Read("x.gltf", triangle(t, func(d map[string]any) {
			d["extensionsUsed"], d["extensionsRequired"] = []any{name}, []any{name}
		}), gltf.Options{})
		if way == "" && err != nil || way != "" && (err == nil || !strings.Contains(err.Error(), name) || !strings.Contains(err.Error(), way)) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

// Stated bounds are not used, and wrong ones told (the validator refuses them).
func TestWrongBoundsAreTold(t *testing.T) {
	for name, row := range map[string]struct {
		max  []any
		want []string
	}{
		"right":   {[]any{1, 1, 0}, nil},
		"rounded": {[]any{1.0000001, 0.9999999, 0}, nil},
		"wrong":   {[]any{1, 2, 0}, []string{"position_bounds_wrong"}},
		"missing": {nil, []string{"position_bounds_missing"}},
	} {
		s, err := gltf.Read("x.gltf", triangle(t, func(d map[string]any) {
			at(d, "accessors", 0)["max"] = row.max
		}), gltf.Options{})
		if err != nil || !slices.Equal(findings(s), row.want) || mesh.Bounds(s.Mesh).Max.Y != 1 {
			t.Errorf("%s: findings %v, %v", name, findings(s), err)
		}
	}
}

// Targets are left out; where the scan is morphed by default that matters.
func TestMorphedByDefault(t *testing.T) {
	for name, row := range map[string]struct {
		change func(d map[string]any)
		want   []string
	}{
		"none":         {func(map[string]any) {}, []string{"morph_ignored"}},
		"mesh at rest": {func(d map[string]any) { at(d, "meshes", 0)["weights"] = []any{0} }, []string{"morph_ignored"}},
		"mesh":         {func(d map[string]any) { at(d, "meshes", 0)["weights"] = []any{0.5} }, []string{"morph_ignored", "morph_weights_ignored"}},
		"node over mesh": {func(d map[string]any) {
			at(d, "meshes", 0)["weights"] = []any{1}
			at(d, "nodes", 0)["weights"] = []any{0}
		}, []string{"morph_ignored"}},
		"node": {func(d map[string]any) { at(d, "nodes", 0)["weights"] = []any{1} }, []string{"morph_ignored", "morph_weights_ignored"}},
	} {
		s, err := gltf.Read("x.gltf", triangle(t, func(d map[string]any) {
			at(d, "meshes", 0, "primitives", 0)["targets"] = []any{map[string]any{"POSITION": 0}}
			row.change(d)
		}), gltf.Options{})
		if err != nil || !slices.Equal(findings(s), row.want) {
			t.Errorf("%s: findings %v, %v", name, findings(s), err)
		}
	}
}
