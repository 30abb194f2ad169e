package obj_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/obj"
	"rigatino/mesh/solid"
)

func parse(t testing.TB, text string) (*obj.File, error) {
	t.Helper()
	return obj.Read(context.Background(), "x.obj", []byte(text), obj.Options{})
}

// mustParse reads a file that must be good.
func mustParse(t testing.TB, text string, files map[string]string) *obj.File {
	t.Helper()
	f, err := obj.Read(context.Background(), "x.obj", []byte(text), obj.Options{Resource: func(name string) ([]byte, error) {
		data, ok := files[name]
		if !ok {
			return nil, fmt.Errorf("open %s: %w", name, fs.ErrNotExist)
		}
		return []byte(data), nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func ids(f *obj.File) []string {
	var out []string
	for _, x := range f.Findings {
		out = append(out, x.ID)
	}
	return out
}

// cube has quads with all that the published text shows: groups, comments,
// continued lines, absolute and negative numbers. Side 2, so area 24, volume 8.
const cube = `# a cube
o cube
v 0 0 0
v 2 0 0
v 2 2 0
v 0 2 0
v 0 0 2
v 2 0 2
v 2 2 2
v 0 2 2
g bottom
f 4 3 2 1
g top
f 5 6 7 8
s 1
f 1 2 \
  6 5
f -7 -6 -2 -3
f 3 4 8 7
f 4 1 5 8
`

func TestFormsOfTheSameCube(t *testing.T) {
	// Closed form: area 6·2², volume 2³.
	for name, text := range map[string]string{
		"as it is":         cube,
		"CR LF":            strings.ReplaceAll(cube, "\n", "\r\n"),
		"CR":               strings.ReplaceAll(cube, "\n", "\r"),
		"tabs":             strings.ReplaceAll(cube, " ", "\t"),
		"blank lines":      strings.ReplaceAll(cube, "\nv", "\n\n  \nv"),
		"indented":         strings.ReplaceAll(cube, "\n", "\n   "),
		"byte order mark":  "\xef\xbb\xbf" + cube,
		"comments behind":  strings.ReplaceAll(strings.ReplaceAll(cube, "2 0 0\n", "2 0 0 # second\n"), "4 1 5 8", "4 1 5 8 #end"),
		"path in comments": "# made from C:\\scans\\\n" + cube,
		"continued twice":  strings.Replace(cube, "f 4 3 2 1", "f \\\n 4 3 \\\n 2 1", 1),
		"old end of text":  cube + "\x1a",
		"weights":          strings.ReplaceAll(cube, "v 2 0 0\n", "v 2 0 0 1.0\n"),
	} {
		if !obj.IsOBJ([]byte(text)) {
			t.Errorf("%s: not known as OBJ", name)
		}
		f, err := parse(t, text)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		m := f.Mesh
		if a, v := mesh.Area(m), mesh.Volume(m); m.FaceCount() != 12 || m.VertexCount() != 8 || math.Abs(a-24) > 1e-12 || math.Abs(v-8) > 1e-12 {
			t.Errorf("%s: %d triangles, %d vertices, area %g, volume %g", name, m.FaceCount(), m.VertexCount(), a, v)
		}
		if !slices.Equal(ids(f), []string{"polygons_split"}) || m.Normals != nil || m.UVs != nil || m.Colours != nil || len(m.Materials) != 1 {
			t.Errorf("%s: findings %v, materials %v", name, f.Findings, m.Materials)
		}
	}
}

func TestSeamsMakeVerticesAndMissingNumbersDoNot(t *testing.T) {
	// Point 1 is used with two texture coordinates, so it becomes two vertices;
	// the second stands behind the four points.
	f := mustParse(t, "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nvt 0 0\nvt 1 0\nvt 1 1\nvt 0 1\nvt 0.5 0.25\nf 1/1 2/2 3/3\nf 1/5 3/3 4/4\n", nil)
	m := f.Mesh
	if !slices.Equal(m.Triangles, []uint32{0, 1, 2, 4, 2, 3}) || m.VertexCount() != 5 || m.Vertex(4) != (r3.Vec{}) {
		t.Errorf("triangles %v of %d vertices", m.Triangles, m.VertexCount())
	}
	// v is counted down from the upper edge in a mesh, up from the lower in OBJ.
	if want := []float32{0, 1, 1, 1, 1, 0, 0, 0, 0.5, 0.75}; !slices.Equal(m.UVs, want) {
		t.Errorf("texture coordinates %v, want %v", m.UVs, want)
	}
	if w := mesh.NewWeld(m); w.Count != 4 {
		t.Errorf("%d places, want 4", w.Count)
	}
	// Without texture coordinates, with normals; then a face that has none.
	text := "v 0 0 0\nv 1 0 0\nv 0 1 0\nvn 0 0 2\nf 1//1 2//1 3//1\n"
	if f := mustParse(t, text, nil); !slices.Equal(f.Mesh.Normals, []float32{0, 0, 1, 0, 0, 1, 0, 0, 1}) || f.Mesh.UVs != nil || f.Mesh.VertexCount() != 3 {
		t.Errorf("normals %v", f.Mesh.Normals)
	}
	if f := mustParse(t, text+"f 1 3 2\n", nil); f.Mesh.Normals != nil || !slices.Equal(ids(f), []string{"normals_missing"}) {
		t.Errorf("normals %v, findings %v", f.Mesh.Normals, f.Findings)
	}
	if f := mustParse(t, "v 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0.5 0.5\nf 1/1 2/1 3/1\nf 1 3/ 2\n", nil); f.Mesh.FaceCount() != 2 || f.Mesh.UVs[0] != 0.5 || !slices.Equal(ids(f), []string{"texture_coordinates_missing"}) {
		t.Errorf("texture coordinates %v, findings %v", f.Mesh.UVs, f.Findings)
	}
	// All three, with negative numbers.
	if f := mustParse(t, "v 0 0 0\nvt 0 0\nvn 0 0 1\nv 1 0 0\nvt 1 0\nvn 0 0 1\nv 0 1 0\nvt 0 1\nvn 0 1 0\nf -3/-3/-3 -2/-2/-2 3/-1/-1\n", nil); !slices.Equal(f.Mesh.UVs, []float32{0, 1, 1, 1, 0, 0}) || !slices.Equal(f.Mesh.Normals, []float32{0, 0, 1, 0, 0, 1, 0, 1, 0}) || f.Mesh.VertexCount() != 3 {
		t.Errorf("texture coordinates %v, normals %v", f.Mesh.UVs, f.Mesh.Normals)
	}
}

func TestColoursOfVertices(t *testing.T) {
	for name, row := range map[string]struct {
		text string
		want []uint8
	}{
		"fractions":       {"v 0 0 0 1 0.5 0\nv 1 0 0 0 0 0.2\nv 0 1 0 0 1 1\n", []uint8{255, 128, 0, 255, 0, 0, 51, 255, 0, 255, 255, 255}},
		"whole numbers":   {"v 0 0 0 255 128 0\nv 1 0 0 0 0 51\nv 0 1 0 0 255 255\n", []uint8{255, 128, 0, 255, 0, 0, 51, 255, 0, 255, 255, 255}},
		"one without":     {"v 0 0 0\nv 1 0 0 0 0 0.2\nv 0 1 0\n", []uint8{255, 255, 255, 255, 0, 0, 51, 255, 255, 255, 255, 255}},
		"one alone":       {"v 0 0 0\nv 1 0 0 0 0 51\nv 0 1 0\n", []uint8{255, 255, 255, 255, 0, 0, 51, 255, 255, 255, 255, 255}},
		"not numbers":     {"v 0 0 0 nan -1 1\nv 1 0 0 0 0 0\nv 0 1 0 0 0 0\n", []uint8{0, 0, 255, 255, 0, 0, 0, 255, 0, 0, 0, 255}},
		"one more number": {"v 0 0 0 1 0 0 1\nv 1 0 0 1 0 0 1\nv 0 1 0 1 0 0 1\n", []uint8{255, 0, 0, 255, 255, 0, 0, 255, 255, 0, 0, 255}},
	} {
		if f := mustParse(t, row.text+"f 1 2 3\n", nil); !slices.Equal(f.Mesh.Colours, row.want) {
			t.Errorf("%s: %v, want %v", name, f.Mesh.Colours, row.want)
		}
	}
}

const triangle = "v 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nvt 1 0\nvt 0 1\n"

const png = "\x89PNG\r\n\x1a\n"

func TestMaterials(t *testing.T) {
	text := "mtllib scan.mtl\nmtllib my other file.mtl\n" + triangle +
		"f 1/1 2/2 3/3\nusemtl bone\nf 1/1 2/2 3/3\nf 1/1 2/2 3/3 2/2\nusemtl bed sheet\nusemtl plain\nf 1/1 2/2 3/3\nusemtl bone\nf 1/1 2/2 3/3\nusemtl foreign\nf 1/1 2/2 3/3\n"
	files := map[string]string{
		"scan.mtl":          "# made by hand\nnewmtl bone\n\tKa 1 1 1\n\tKd 0.2 0.2 0.2\n\tmap_Kd -clamp on -o 0 0 maps/bone 1.png\n\tmap_Bump bump.png\nnewmtl bed sheet\nmap_Kd bed.png\n",
		"my other file.mtl": "newmtl plain\nKd 0.5 1 0\nd 0.5\nillum 2\n",
		"maps/bone 1.png":   png,
	}
	f := mustParse(t, text, files)
	m := f.Mesh
	if !slices.Equal(m.MaterialOf, []uint16{0, 1, 1, 1, 2, 1, 3}) {
		t.Errorf("materials of triangles %v", m.MaterialOf)
	}
	var names []string
	for _, x := range m.Materials {
		names = append(names, x.Name)
	}
	if !slices.Equal(names, []string{"", "bone", "plain", "foreign"}) {
		t.Errorf("materials %q", names)
	}
	// Kd 0.5 of sRGB is 0.21404 in linear light (IEC 61966-2-1).
	if c := m.Materials[2].BaseColour; math.Abs(float64(c[0])-0.21404) > 1e-5 || c[1] != 1 || c[2] != 0 || c[3] != 0.5 {
		t.Errorf("colour %v", c)
	}
	if b := m.Materials[1]; b.Image != 0 || b.BaseColour != [4]float32{1, 1, 1, 1} {
		t.Errorf("with a picture: %+v", b)
	}
	if len(m.Images) != 1 || m.Images[0].Name != "maps/bone 1.png" || m.Images[0].MIME != "image/png" || string(m.Images[0].Data) != png {
		t.Errorf("images %+v", m.Images)
	}
	if want := []string{"scan.mtl", "maps/bone 1.png", "bump.png", "bed.png", "my other file.mtl"}; !slices.Equal(f.Files, want) {
		t.Errorf("files %q, want %q", f.Files, want)
	}
	if !slices.Equal(ids(f), []string{"texture_moved", "materials_unknown", "polygons_split"}) {
		t.Errorf("findings %v", f.Findings)
	}
}

func TestWhatIsMissingIsAFinding(t *testing.T) {
	f := mustParse(t, "mtllib gone.mtl\n"+triangle+"usemtl a\nf 1/1 2/2 3/3\n", nil)
	if !slices.Equal(ids(f), []string{"materials_missing"}) || f.Mesh.FaceCount() != 1 {
		t.Errorf("no material file: %v", f.Findings)
	}
	for name, row := range map[string]struct{ written, want, id string }{
		"plain":     {"gone.png", "gone.png", "texture_missing"},
		"up":        {"../../etc/bone.png", "bone.png", "texture_missing"},
		"absolute":  {"/home/bone.png", "bone.png", "texture_missing"},
		"drive":     {`D:\maps\bone.png`, "bone.png", "texture_missing"},
		"web":       {"https://example.org/a/bone.png", "bone.png", "texture_missing"},
		"nothing":   {"..", "..", "texture_missing"},
		"no image":  {"text.png", "text.png", "texture_unreadable"},
		"subfolder": {`maps\gone.png`, "maps/gone.png", "texture_missing"},
	} {
		f := mustParse(t, "mtllib a.mtl\n"+triangle+"usemtl a\nf 1/1 2/2 3/3\n", map[string]string{"a.mtl": "newmtl a\nmap_Kd " + row.written + "\n", "text.png": "dear diary"})
		m := f.Mesh
		if !slices.Equal(ids(f), []string{row.id}) || len(m.Images) != 1 || m.Images[0].Name != row.want || m.Images[0].Data != nil || m.Materials[0].Image != 0 {
			t.Errorf("%s: findings %v, images %+v", name, f.Findings, m.Images)
		}
	}
	// What lies in the folder is found whatever path the program wrote.
	f = mustParse(t, "mtllib C:\\out\\a.mtl\n"+triangle+"usemtl a\nf 1/1 2/2 3/3\n", map[string]string{"a.mtl": "newmtl a\nmap_Kd C:\\out\\bone.png\n", "bone.png": png})
	if len(f.Findings) > 0 || string(f.Mesh.Images[0].Data) != png {
		t.Errorf("written with a drive: %v", f.Findings)
	}
	// Many missing pictures are told once each up to a bound.
	var mtl, faces strings.Builder
	for i := range 50 {
		fmt.Fprintf(&mtl, "newmtl m%d\nmap_Kd %d.png\n", i, i)
		fmt.Fprintf(&faces, "usemtl m%d\nf 1/1 2/2 3/3\n", i)
	}
	f = mustParse(t, "mtllib a.mtl\n"+triangle+faces.String(), map[string]string{"a.mtl": mtl.String()})
	if len(f.Findings) != 9 || !strings.Contains(f.Findings[8].Reason, "42 further") || len(f.Mesh.Images) != 50 {
		t.Errorf("%d findings, %d images", len(f.Findings), len(f.Mesh.Images))
	}
}

func TestBlocksReadSideBySideGiveTheSameAsOne(t *testing.T) {
	// A sphere of several blocks, whose area and volume are those of the mesh that
	// was written, with numbers absolute and negative, on any number of cores.
	m := solid.Icosphere(7, 50)
	var out bytes.Buffer
	if err := obj.Write(&out, m, ""); err != nil {
		t.Fatal(err)
	}
	absolute := out.String()
	n := m.VertexCount()
	var negative strings.Builder
	negative.WriteString(absolute[:strings.Index(absolute, "f ")])
	for f := range m.FaceCount() {
		c := m.Triangles[3*f : 3*f+3]
		fmt.Fprintf(&negative, "f %d %d %d\n", int(c[0])-n, int(c[1])-n, int(c[2])-n)
	}
	if len(absolute) < 5<<20 {
		t.Fatalf("%d bytes are too few for several blocks", len(absolute))
	}
	for _, cores := range []int{1, 2, 7} {
		old := runtime.GOMAXPROCS(cores)
		for name, text := range map[string]string{"absolute": absolute, "negative": negative.String()} {
			f := mustParse(t, text, nil)
			if !slices.Equal(f.Mesh.Triangles, m.Triangles) || !slices.Equal(f.Mesh.Positions, m.Positions) || f.Mesh.Origin != m.Origin {
				t.Errorf("%s on %d cores: the mesh differs", name, cores)
			}
		}
		runtime.GOMAXPROCS(old)
	}
	// A flaw far down is told with its line, and the first of two.
	lines := strings.Split(absolute, "\n")
	at := len(lines) - 1000
	lines[at], lines[at+500] = "f 1 2 x", "f 1 2 y"
	if _, err := parse(t, strings.Join(lines, "\n")); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("line %d has \"x\"", at+1)) {
		t.Errorf("error %v, want line %d", err, at+1)
	}
	lines[at], lines[at+500] = fmt.Sprintf("f 1 2 %d", n+1), "f 1 2 3"
	if _, err := parse(t, strings.Join(lines, "\n")); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("line %d has the corner %d and there are %d vertices", at+1, n+1, n)) {
		t.Errorf("error %v, want line %d", err, at+1)
	}
}

func TestWhereBlocksAreCutChangesNothing(t *testing.T) {
	// The same lines with comments of many lengths between them, so that the cuts
	// fall behind other lines each time: materials, polygons, relative numbers and
	// colours go on from block to block.
	r := rand.New(rand.NewPCG(7, 8))
	var lines []string
	vertices := 0
	for range 3000 {
		switch r.IntN(6) {
		case 0:
			lines = append(lines, fmt.Sprintf("usemtl m%d", r.IntN(4)))
		case 1, 2:
			if vertices >= 6 {
				n := 3 + r.IntN(4)
				line := "f"
				for range n {
					if r.IntN(2) == 0 {
						line += fmt.Sprintf(" %d/%d", -1-r.IntN(vertices), 1+r.IntN(vertices))
					} else {
						line += fmt.Sprintf(" %d/%d", 1+r.IntN(vertices), -1-r.IntN(vertices))
					}
				}
				lines = append(lines, line)
			}
		default:
			line := fmt.Sprintf("v %g %g %g", r.Float64(), r.Float64(), r.Float64())
			if r.IntN(3) == 0 {
				line += " 0.25 0.5 1"
			}
			lines = append(lines, line, fmt.Sprintf("vt %g %g", r.Float64(), r.Float64()))
			vertices++
		}
	}
	plain := mustParse(t, strings.Join(lines, "\n")+"\n", nil).Mesh
	for range 4 {
		var padded strings.Builder
		for _, line := range lines {
			padded.WriteString(line + "\n")
			if r.IntN(20) == 0 {
				padded.WriteString("#" + strings.Repeat("-", r.IntN(100_000)) + "\n")
			}
		}
		m := mustParse(t, padded.String(), nil).Mesh
		if padded.Len() < 4<<20 || !slices.Equal(m.Triangles, plain.Triangles) || !slices.Equal(m.Positions, plain.Positions) || !slices.Equal(m.UVs, plain.UVs) ||
			!slices.Equal(m.Colours, plain.Colours) || !slices.Equal(m.MaterialOf, plain.MaterialOf) || !slices.Equal(m.Materials, plain.Materials) {
			t.Errorf("%d bytes in blocks give another mesh", padded.Len())
		}
	}
	if len(plain.Materials) < 4 || plain.Colours == nil || plain.VertexCount() <= vertices {
		t.Errorf("%d materials, %d vertices of %d", len(plain.Materials), plain.VertexCount(), vertices)
	}
}

func TestWriteThenReadIsEqual(t *testing.T) {
	dressed := solid.Icosphere(3, 25)
	dressed.Origin = r3.Vec{X: 1024, Y: -2048.5, Z: 0.25}
	for i := range dressed.VertexCount() {
		dressed.Colours = append(dressed.Colours, uint8(i), uint8(2*i), uint8(3*i), 255)
		dressed.UVs = append(dressed.UVs, float32(i%5)/4, float32(i%3)/2)
		n := r3.Unit(r3.Sub(dressed.Vertex(uint32(i)), dressed.Origin))
		dressed.Normals = append(dressed.Normals, float32(n.X), float32(n.Y), float32(n.Z))
	}
	dressed.Images = []mesh.Image{{Name: "bone.png", MIME: "image/png", Data: []byte(png)}}
	dressed.Materials = []mesh.Material{{Name: "bone", Image: 0, BaseColour: [4]float32{1, 1, 1, 1}, DoubleSided: true},
		{Name: "fill", Image: -1, BaseColour: [4]float32{0.25, 0.5, 1, 1}, DoubleSided: true}}
	for f := range dressed.FaceCount() {
		dressed.MaterialOf = append(dressed.MaterialOf, uint16(f/100%2))
	}
	far := solid.Cube(20)
	far.Origin = r3.Vec{X: 5334567203.125}
	for name, m := range map[string]*mesh.Mesh{"bare": solid.Cube(20), "dressed": dressed, "far": far} {
		var out, mtl bytes.Buffer
		if err := errors.Join(obj.Write(&out, m, "a.mtl"), obj.WriteMaterials(&mtl, m)); err != nil {
			t.Fatal(err)
		}
		f := mustParse(t, out.String(), map[string]string{"a.mtl": mtl.String(), "bone.png": png})
		got := f.Mesh
		if !slices.Equal(got.Triangles, m.Triangles) || !slices.Equal(got.Colours, m.Colours) || !slices.Equal(got.UVs, m.UVs) || !slices.Equal(got.MaterialOf, m.MaterialOf) || len(f.Findings) > 0 {
			t.Errorf("%s: triangles, colours, texture coordinates or materials differ; findings %v", name, f.Findings)
		}
		for i := range uint32(m.VertexCount()) {
			if d := r3.Norm(r3.Sub(got.Vertex(i), m.Vertex(i))); d > 2e-6 {
				t.Fatalf("%s: vertex %d is off by %g", name, i, d)
			}
		}
		for i, x := range m.Normals {
			if math.Abs(float64(x-got.Normals[i])) > 1e-7 {
				t.Fatalf("%s: normal %d is %g, want %g", name, i/3, got.Normals[i], x)
			}
		}
		for i := range m.Materials {
			for k := range 4 {
				if math.Abs(float64(got.Materials[i].BaseColour[k]-m.Materials[i].BaseColour[k])) > 1e-5 {
					t.Errorf("%s: material %d is %+v", name, i, got.Materials[i])
				}
			}
		}
	}
	dressed.Materials[0].Name = "a\nb"
	if err := obj.Write(new(bytes.Buffer), dressed, ""); err == nil {
		t.Error("a name of two lines was written")
	}
}

func TestGeoreferencedNumbersKeepTheirDigits(t *testing.T) {
	// Grid coordinates in metres, a triangle with legs of 2 mm: as float32 all
	// corners would fall together.
	text := "v 691234.101 5334567.203 512.300\nv 691234.103 5334567.203 512.300\nv 691234.101 5334567.205 512.300\nf 1 2 3\n"
	f, err := obj.Read(context.Background(), "x.obj", []byte(text), obj.Options{Factor: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if a := mesh.Area(f.Mesh); math.Abs(a-2) > 1e-5 {
		t.Errorf("area %g mm², want 2", a)
	}
}

func TestADentedPolygonIsCutInside(t *testing.T) {
	// An L of area 5 whose fan from the first corner folds over (area 8).
	f := mustParse(t, "v 3 1 0\nv 1 1 0\nv 1 3 0\nv 0 3 0\nv 0 0 0\nv 3 0 0\nf 1 2 3 4 5 6\n", nil)
	if a := mesh.Area(f.Mesh); math.Abs(a-5) > 1e-12 || f.Mesh.FaceCount() != 4 {
		t.Errorf("%d triangles of area %g, want 4 of 5", f.Mesh.FaceCount(), a)
	}
}
