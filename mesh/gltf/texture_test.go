package gltf_test

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"math"
	"slices"
	"testing"

	"rigatino/mesh/gltf"
)

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

// The picture of a scan may stand in three places of a material.
func TestPicturesOfOldAndSelfLitMaterials(t *testing.T) {
	info := map[string]any{"index": 0, "texCoord": 1}
	for name, row := range map[string]struct {
		material map[string]any
		colour   [4]float32
		unlit    bool
		findings []string
	}{
		"diffuse": {map[string]any{"extensions": map[string]any{"KHR_materials_pbrSpecularGlossiness": map[string]any{
			"diffuseTexture": info, "diffuseFactor": []any{0.5, 1, 1, 1}}}}, [4]float32{0.5, 1, 1, 1}, false, []string{"second_texture_set"}},
		"given off": {map[string]any{"emissiveTexture": info, "emissiveFactor": []any{1, 1, 1},
			"pbrMetallicRoughness": map[string]any{"baseColorFactor": []any{0, 0, 0, 1}}}, [4]float32{1, 1, 1, 1}, true,
			[]string{"texture_given_off", "second_texture_set"}},
	} {
		s := textured(t, nil, func(d map[string]any) { d["materials"] = []any{row.material} })
		m := s.Mesh
		if len(m.Images) != 1 || m.Materials[0].Image != 0 || m.Materials[0].BaseColour != row.colour || m.Materials[0].Unlit != row.unlit || m.UVs[0] != 5 {
			t.Errorf("%s: material %+v, %d images, coordinates %v", name, m.Materials, len(m.Images), m.UVs)
		}
		if !slices.Equal(findings(s), row.findings) {
			t.Errorf("%s: findings %v", name, findings(s))
		}
	}
}
