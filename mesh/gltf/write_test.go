package gltf_test

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/solid"
)

// png is the picture of a sample file: unlit-textured.glb.
func png(t testing.TB) []byte {
	t.Helper()
	s, err := read(t, filepath.Join(ours, "unlit-textured.glb"))
	if err != nil {
		t.Fatal(err)
	}
	return s.Mesh.Images[0].Data
}

// dressed is a sphere with everything that a plain GLB can carry.
func dressed(t testing.TB, level int) *mesh.Mesh {
	m := solid.Icosphere(level, 25)
	m.Origin = r3.Vec{X: 100, Y: -50, Z: 16900}
	n := m.VertexCount()
	m.Normals = make([]float32, 3*n)
	m.Colours = make([]uint8, 4*n)
	m.UVs = make([]float32, 2*n)
	for i := range n {
		p := r3.Unit(r3.Vec{X: float64(m.Positions[3*i]), Y: float64(m.Positions[3*i+1]), Z: float64(m.Positions[3*i+2])})
		m.Normals[3*i], m.Normals[3*i+1], m.Normals[3*i+2] = float32(p.X), float32(p.Y), float32(p.Z)
		for k := range 3 {
			m.Colours[4*i+k] = uint8((i*7 + 85*k) % 256)
		}
		m.Colours[4*i+3] = 255
		m.UVs[2*i], m.UVs[2*i+1] = float32(0.5+p.X/2), float32(0.5-p.Y/2)
	}
	m.Images = []mesh.Image{{Name: "as seen", MIME: "image/png", Data: png(t)}}
	m.Materials = []mesh.Material{
		{Name: "bone", BaseColour: [4]float32{1, 1, 1, 1}, Image: 0},
		{Name: "bed", BaseColour: [4]float32{0.25, 0.5, 0.75, 1}, Image: -1, Unlit: true, DoubleSided: true},
		{Name: "label", BaseColour: [4]float32{1, 1, 1, 1}, Image: -1},
	}
	m.MaterialOf = make([]uint16, m.FaceCount())
	for f := range m.MaterialOf {
		m.MaterialOf[f] = uint16(f * 5 / m.FaceCount() % 3) // bone bed label bone bed
	}
	return m
}

func written(t testing.TB, m *mesh.Mesh, metresPerUnit float64) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := gltf.Write(&out, m, metresPerUnit); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestWriteThenReadIsEqual(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"bare": solid.Cube(20), "16-bit indices": dressed(t, 3), "32-bit indices": dressed(t, 7),
	} {
		t.Run(name, func(t *testing.T) {
			s, err := gltf.Read("round.glb", written(t, m, 1), gltf.Options{})
			if err != nil {
				t.Fatal(err)
			}
			got := s.Mesh
			if !slices.Equal(got.Triangles, m.Triangles) {
				t.Error("the triangles differ")
			}
			if !slices.Equal(got.Colours, m.Colours) || !slices.Equal(got.UVs, m.UVs) || !slices.Equal(got.Normals, m.Normals) {
				t.Error("colours, texture coordinates or normals differ")
			}
			for i := range uint32(m.VertexCount()) {
				if d := r3.Norm(r3.Sub(got.Vertex(i), m.Vertex(i))); d > 2e-6 { // half a float32 step at 25 + origin's grain
					t.Fatalf("vertex %d is off by %g", i, d)
				}
			}
			if m.MaterialOf == nil {
				return
			}
			if len(got.Images) != 1 || !bytes.Equal(got.Images[0].Data, m.Images[0].Data) || got.Images[0].Name != "as seen" {
				t.Error("the image differs")
			}
			if !slices.Equal(got.MaterialOf, m.MaterialOf) || !reflect.DeepEqual(got.Materials, m.Materials) {
				t.Errorf("materials %+v, want %+v", got.Materials, m.Materials)
			}
			if len(s.Findings) > 0 {
				t.Errorf("findings %v", s.Findings)
			}
		})
	}
}

func TestMillimetresAreWrittenAsMetres(t *testing.T) {
	// A sphere of radius 25 mm: each vertex is 0.025 m from its centre.
	m := dressed(t, 3)
	s, err := gltf.Read("mm.glb", written(t, m, 0.001), gltf.Options{})
	if err != nil {
		t.Fatal(err)
	}
	centre := r3.Scale(0.001, m.Origin)
	for i := range uint32(m.VertexCount()) {
		if d := r3.Norm(r3.Sub(s.Mesh.Vertex(i), centre)); math.Abs(d-0.025) > 1e-8 {
			t.Fatalf("vertex %d is %g m from the centre", i, d)
		}
	}
}

func TestGLBLayout(t *testing.T) {
	// Specification 4.4 (chunks in multiples of 4 bytes, lengths) and
	// EXT_structural_metadata (buffer views begin at multiples of 8 bytes of the
	// file's binary data, which itself begins at one).
	data := written(t, dressed(t, 2), 1)
	word := func(at int) int { return int(binary.LittleEndian.Uint32(data[at:])) }
	text := word(12)
	if word(8) != len(data) || len(data)%8 != 0 || text%8 != 4 || 28+text+word(20+text) != len(data) {
		t.Fatalf("length %d says %d, JSON %d, BIN %d", len(data), word(8), text, word(20+text))
	}
	var doc gltf.Document
	if err := json.Unmarshal(data[20:20+text], &doc); err != nil {
		t.Fatal(err)
	}
	if doc.Buffers[0].ByteLength != word(20+text) {
		t.Errorf("the buffer has %d bytes in a chunk of %d", doc.Buffers[0].ByteLength, word(20+text))
	}
	for i, v := range doc.BufferViews {
		if v.ByteOffset%8 != 0 {
			t.Errorf("buffer view %d begins at byte %d", i, v.ByteOffset)
		}
	}
	if len(doc.ExtensionsRequired) > 0 {
		t.Errorf("extensions %v are required", doc.ExtensionsRequired)
	}
}

func TestIndicesAreAsNarrowAsAllowed(t *testing.T) {
	// Specification 3.7.2.1: an index is never the largest number of its type,
	// so 16 bits serve up to 65 535 vertices.
	for vertices, want := range map[int]gltf.ComponentType{65535: gltf.Uint16, 65536: gltf.Uint32} {
		m := &mesh.Mesh{Positions: make([]float32, 3*vertices), Triangles: []uint32{0, 1, uint32(vertices - 1)}}
		m.Positions[3], m.Positions[3*vertices-2] = 1, 1
		s, err := gltf.Read("n.glb", written(t, m, 1), gltf.Options{})
		if err != nil {
			t.Fatal(err)
		}
		p := s.Document.Meshes[0].Primitives[0]
		if got := s.Document.Accessors[*p.Indices].ComponentType; got != want {
			t.Errorf("%d vertices: component type %d, want %d", vertices, got, want)
		}
	}
}

// annotated builds a small model with all that a hand-over has.
func annotated(t testing.TB) *gltf.Builder {
	t.Helper()
	b := gltf.NewBuilder("test")
	image, err := b.Image("as seen", png(t))
	if err != nil {
		t.Fatal(err)
	}
	seen := b.Material(gltf.Material{Name: "as seen", PBR: &gltf.PBRMetallicRoughness{BaseColorTexture: &gltf.TextureInfo{Index: b.Texture(image)}}})
	fill := b.Material(gltf.Material{Name: "fill", PBR: &gltf.PBRMetallicRoughness{BaseColorTexture: &gltf.TextureInfo{Index: 0, TexCoord: 1}}, Extensions: gltf.Unlit()})
	hidden := b.Material(gltf.Material{Name: "hidden", AlphaMode: "BLEND", DoubleSided: true,
		PBR: &gltf.PBRMetallicRoughness{BaseColorFactor: &[4]float64{}}, Extensions: gltf.Unlit()})
	if err := b.Variants("as seen", "map", "map on surface"); err != nil {
		t.Fatal(err)
	}
	features := func(count int) []gltf.FeatureSet {
		return []gltf.FeatureSet{
			{Label: "region", FeatureCount: count, Attribute: new(0), PropertyTable: new(0)},
			{Label: "overlay", FeatureCount: 1, Attribute: new(1), PropertyTable: new(1)},
		}
	}
	square := func(x float32) []float32 { return []float32{x, 0, 0, x + 0.01, 0, 0, x + 0.01, 0.01, 0, x, 0.01, 0} }
	up := []float32{0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1}
	uv := []float32{0, 0, 1, 0, 1, 1, 0, 1}
	two := []uint32{0, 1, 2, 0, 2, 3}
	body, err := b.Mesh("specimen", []gltf.Geometry{
		{Mode: gltf.Triangles, Positions: square(0), Normals: up, UVs: [2][]float32{uv}, Indices: two, Material: seen,
			IDs: [][]uint16{{0, 0, 0, 0}, {0, 0, 0, 0}}, Features: features(1),
			Mappings: []gltf.Mapping{{Material: seen, Variants: []int{0, 1, 2}}}, Extras: map[string]any{"substance": "unassigned"}},
		{Mode: gltf.Triangles, Positions: square(0.01), Normals: up, UVs: [2][]float32{uv, uv}, Indices: two, Material: seen,
			IDs: [][]uint16{{2, 2, 2, 2}, {1, 1, 1, 1}}, Features: features(1),
			Mappings: []gltf.Mapping{{Material: seen, Variants: []int{0}}, {Material: fill, Variants: []int{1, 2}}}, Extras: map[string]any{"substance": "fill"}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	joins, err := b.Mesh("joins", []gltf.Geometry{
		{Mode: gltf.LineStrip, Positions: []float32{0.01, 0, 0, 0.01, 0.005, 0, 0.01, 0.01, 0}, Material: hidden,
			Extras: map[string]any{"role": "join line", "line": "join-1"}},
		{Mode: gltf.Triangles, Positions: square(0.0096), Normals: up, Indices: two, Material: hidden, Extras: map[string]any{"role": "join ribbon"}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Tables(gltf.Schema{ID: "rigatino_regions_1", Version: "1.0.0", Enums: []gltf.Enum{{Key: "substance",
		Values: []gltf.EnumValue{{Name: "unassigned", Value: 0}, {Name: "original", Value: 1}, {Name: "fill", Value: 2}}}}}, []gltf.Table{
		{Name: "regions", Class: "region", Count: 3, Columns: []gltf.Column{
			{Name: "id", Type: "STRING", Strings: []string{"", "r-1", "r-2 łatka"}},
			{Name: "substance", Type: "ENUM", Enum: "substance", Required: true, Strings: []string{"unassigned", "original", "fill"}},
			{Name: "area_m2", Type: "SCALAR", Component: "FLOAT64", Numbers: []float64{1e-4, 0, 0.1 + 0.2}},
			{Name: "empty", Type: "STRING", Strings: []string{"", "", ""}},
			{Name: "seen", Type: "BOOLEAN", Numbers: []float64{1, 0, 1}},
		}},
		{Name: "overlays", Class: "overlay", Count: 2, Columns: []gltf.Column{
			{Name: "rows", Type: "SCALAR", Component: "UINT32", Numbers: []float64{0, 4e9}},
		}},
	}); err != nil {
		t.Fatal(err)
	}
	if err := b.XMP(map[string]any{"@context": map[string]string{"dc": "http://purl.org/dc/elements/1.1/"}, "@id": "", "dc:identifier": "TVM 2041"}); err != nil {
		t.Fatal(err)
	}
	if err := b.Extras(map[string]any{"rigatino": map[string]any{"schema": 1}}); err != nil {
		t.Fatal(err)
	}
	b.Scene("specimen",
		b.Node(gltf.Node{Name: "body", Mesh: &body, Translation: &[3]float64{1, 0, 0}}),
		b.Node(gltf.Node{Name: "joins", Mesh: &joins, Extras: json.RawMessage(`{"stage":"join"}`)}))
	return b
}

func TestAnnotatedModelIsReadBack(t *testing.T) {
	var out bytes.Buffer
	if err := annotated(t).WriteGLB(&out); err != nil {
		t.Fatal(err)
	}
	s, err := gltf.Read("annotated.glb", out.Bytes(), gltf.Options{Factor: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if s.Mesh.FaceCount() != 4 || len(s.Aside) != 1 || s.Aside[0].Mesh.FaceCount() != 2 || len(s.Parts) != 2 {
		t.Fatalf("%d faces in %d parts, %d parts aside", s.Mesh.FaceCount(), len(s.Parts), len(s.Aside))
	}
	// Two squares of 10 mm.
	if a := mesh.Area(s.Mesh); math.Abs(a-200) > 1e-4 {
		t.Errorf("area %g mm², want 200", a)
	}
	for n, want := range [][]uint32{{0, 0, 2, 2}, {0, 0, 1, 1}} {
		if ids, mixed := s.FaceFeatures(n); !slices.Equal(ids, want) || mixed != 0 {
			t.Errorf("set %d: ids %v, %d mixed; want %v", n, ids, mixed, want)
		}
	}
	if len(s.Lines) != 1 || s.Lines[0].Segments() != 2 || r3.Norm(r3.Sub(s.Lines[0].Points[1], r3.Vec{X: 10, Y: 5})) > 1e-5 {
		t.Errorf("lines %+v", s.Lines)
	}
	if !slices.Equal(s.Variants, []string{"as seen", "map", "map on surface"}) || len(s.Parts[1].Mappings) != 2 {
		t.Errorf("variants %v, mappings %v", s.Variants, s.Parts[1].Mappings)
	}
	if len(s.Tables) != 2 {
		t.Fatalf("%d tables", len(s.Tables))
	}
	r := &s.Tables[0]
	if !slices.Equal(r.Column("id").Strings, []string{"", "r-1", "r-2 łatka"}) ||
		!slices.Equal(r.Column("substance").Strings, []string{"unassigned", "original", "fill"}) ||
		!slices.Equal(r.Column("area_m2").Numbers, []float64{1e-4, 0, 0.1 + 0.2}) ||
		!slices.Equal(r.Column("empty").Strings, []string{"", "", ""}) ||
		!slices.Equal(r.Column("seen").Numbers, []float64{1, 0, 1}) ||
		!slices.Equal(s.Tables[1].Column("rows").Numbers, []float64{0, 4e9}) {
		t.Errorf("tables %+v", s.Tables)
	}
	if string(s.Document.Extras) != `{"rigatino":{"schema":1}}` || string(s.Document.Nodes[1].Extras) != `{"stage":"join"}` {
		t.Errorf("extras %s, %s", s.Document.Extras, s.Document.Nodes[1].Extras)
	}
	for _, f := range s.Findings {
		if f.ID != "hidden_ignored" {
			t.Errorf("finding %+v", f)
		}
	}
}

func TestBuilderRefusesWhatTheValidatorDoesNotSee(t *testing.T) {
	// The rows "not detected" of the reference validator's table.
	simple := func(b *gltf.Builder, change func(g *gltf.Geometry)) error {
		b.Material(gltf.Material{Name: "m"})
		g := gltf.Geometry{Mode: gltf.Triangles, Positions: make([]float32, 9), Material: 0, IDs: [][]uint16{{0, 0, 1}}}
		change(&g)
		if _, err := b.Mesh("m", []gltf.Geometry{g}, nil); err != nil {
			return err
		}
		return b.WriteGLB(new(bytes.Buffer))
	}
	table := []gltf.Table{{Name: "t", Class: "c", Count: 1, Columns: []gltf.Column{{Name: "a", Type: "BOOLEAN", Numbers: []float64{0}}}}}
	rows := map[string]func(b *gltf.Builder) error{
		"names of variants twice": func(b *gltf.Builder) error { return b.Variants("map", "map") },
		"material out of range":   func(b *gltf.Builder) error { return simple(b, func(g *gltf.Geometry) { g.Material = 1 }) },
		"variant out of range": func(b *gltf.Builder) error {
			return simple(b, func(g *gltf.Geometry) { g.Mappings = []gltf.Mapping{{Material: 0, Variants: []int{0}}} })
		},
		"feature set without ids": func(b *gltf.Builder) error {
			return simple(b, func(g *gltf.Geometry) { g.Features = []gltf.FeatureSet{{FeatureCount: 1, Attribute: new(1)}} })
		},
		"feature table out of range": func(b *gltf.Builder) error {
			return simple(b, func(g *gltf.Geometry) {
				g.Features = []gltf.FeatureSet{{FeatureCount: 1, Attribute: new(0), PropertyTable: new(0)}}
			})
		},
		"feature id past its table": func(b *gltf.Builder) error {
			if err := b.Tables(gltf.Schema{ID: "s"}, table); err != nil {
				t.Fatal(err)
			}
			return simple(b, func(g *gltf.Geometry) {
				g.Features = []gltf.FeatureSet{{FeatureCount: 1, Attribute: new(0), PropertyTable: new(0)}}
			})
		},
		"column too short": func(b *gltf.Builder) error {
			return b.Tables(gltf.Schema{ID: "s"}, []gltf.Table{{Name: "t", Class: "c", Count: 2, Columns: table[0].Columns}})
		},
		"not a number in a column": func(b *gltf.Builder) error {
			return b.Tables(gltf.Schema{ID: "s"}, []gltf.Table{{Name: "t", Class: "c", Count: 1, Columns: []gltf.Column{
				{Name: "a", Type: "SCALAR", Component: "FLOAT64", Numbers: []float64{math.NaN()}}}}})
		},
		"bad key": func(b *gltf.Builder) error {
			return b.Tables(gltf.Schema{ID: "s"}, []gltf.Table{{Name: "t", Class: "c d", Count: 1}})
		},
		"index out of range": func(b *gltf.Builder) error {
			return simple(b, func(g *gltf.Geometry) { g.Indices = []uint32{0, 1, 3} })
		},
		"not a number": func(b *gltf.Builder) error {
			return simple(b, func(g *gltf.Geometry) { g.Positions[4] = float32(math.Inf(1)) })
		},
		"picture of another kind": func(b *gltf.Builder) error {
			_, err := b.Image("x", []byte("RIFF....WEBP"))
			return err
		},
	}
	for name, row := range rows {
		if err := row(gltf.NewBuilder("test")); err == nil {
			t.Errorf("%s: not refused", name)
		}
	}
	if err := simple(gltf.NewBuilder("test"), func(*gltf.Geometry) {}); err != nil {
		t.Errorf("the plain primitive was refused: %v", err)
	}
}

func TestMoreThanAGLBCanHoldIsRefused(t *testing.T) {
	if math.MaxInt == math.MaxInt32 {
		t.Skip("needs 64 bits")
	}
	b := gltf.NewBuilder("test")
	part := make([]byte, 64<<20)
	for range 64 {
		b.View(part)
	}
	var out countingWriter
	if err := b.WriteGLB(&out); !errors.Is(err, gltf.ErrTooLarge) || out != 0 || !strings.Contains(err.Error(), ".gltf with its .bin") {
		t.Errorf("error %v after %d bytes", err, out)
	}
	var text bytes.Buffer
	if err := b.WriteGLTF(&text, &out, "big model.bin"); err != nil || out != 4<<30 {
		t.Errorf("error %v, %d bytes of binary data", err, out)
	}
	if !strings.Contains(text.String(), `"uri":"big%20model.bin","byteLength":4294967296`) {
		t.Errorf("the JSON does not name the file: %.200s", text.String())
	}
}

type countingWriter int64

func (c *countingWriter) Write(p []byte) (int, error) {
	*c += countingWriter(len(p))
	return len(p), nil
}

func TestWriteSeparateFilesThenRead(t *testing.T) {
	dir := t.TempDir()
	var text, bin bytes.Buffer
	if err := annotated(t).WriteGLTF(&text, &bin, "a b.bin"); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"a.gltf": text.Bytes(), "a b.bin": bin.Bytes()} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	s, err := read(t, filepath.Join(dir, "a.gltf"))
	if err != nil || s.Mesh.FaceCount() != 4 {
		t.Fatalf("error %v", err)
	}
	if !slices.Equal(s.Document.Files(), []string{"a b.bin"}) {
		t.Errorf("files %v", s.Document.Files())
	}
}
