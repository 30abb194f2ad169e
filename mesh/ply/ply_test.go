package ply_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/ply"
	"rigatino/mesh/solid"
)

func parse(t testing.TB, data []byte) (*ply.File, error) {
	t.Helper()
	return ply.Read(context.Background(), "x.ply", data, ply.Options{})
}

func ids(f *ply.File) []string {
	var out []string
	for _, x := range f.Findings {
		out = append(out, x.ID)
	}
	return out
}

// tetrahedron is the corner of a cube of side 1: volume 1/6, area 3·½ + ½√3.
var tetrahedron = []r3.Vec{{}, {X: 1}, {Y: 1}, {Z: 1}}

func TestFilesOfAllKindsHoldTheSameTetrahedron(t *testing.T) {
	// The forms that the 1994 text allows, and those in use: byte orders, types of
	// every width, properties in any order and unknown ones between, elements in
	// any order, long and short lists. Values are analytic.
	type column struct {
		kind, name string
		value      func(v int) float64
	}
	x := func(v int) float64 { return tetrahedron[v].X }
	y := func(v int) float64 { return tetrahedron[v].Y }
	z := func(v int) float64 { return tetrahedron[v].Z }
	rest := func(v int) float64 { return float64(v % 3) }
	faces := [][]int{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}}
	for _, format := range []string{"ascii", "binary_little_endian", "binary_big_endian"} {
		for name, columns := range map[string][]column{
			"plain":            {{"float", "x", x}, {"float", "y", y}, {"float", "z", z}},
			"double":           {{"double", "x", x}, {"double", "y", y}, {"double", "z", z}},
			"new words":        {{"float32", "x", x}, {"float64", "y", y}, {"float32", "z", z}},
			"whole numbers":    {{"char", "x", x}, {"ushort", "y", y}, {"int", "z", z}},
			"other order":      {{"uchar", "quality", rest}, {"int16", "z", z}, {"float", "noise", rest}, {"uint32", "x", x}, {"uint8", "y", y}},
			"a list in it":     {{"float", "x", x}, {"list", "neighbours", rest}, {"float", "y", y}, {"float", "z", z}},
			"unsigned to last": {{"uint", "x", x}, {"uint16", "y", y}, {"uint8", "z", z}, {"int8", "flag", rest}},
		} {
			for _, list := range [][2]string{{"uchar", "int"}, {"uint8", "uint32"}, {"char", "short"}, {"ushort", "uchar"}, {"int", "float"}, {"uint", "ushort"}} {
				for _, facesFirst := range []bool{false, true} {
					var head, vertices, body bytes.Buffer
					put := func(out *bytes.Buffer, kind string, v float64) {
						if format == "ascii" {
							fmt.Fprintf(out, "%g ", v)
							return
						}
						var order binary.ByteOrder = binary.LittleEndian
						if format == "binary_big_endian" {
							order = binary.BigEndian
						}
						var err error
						switch kind {
						case "char", "int8":
							err = binary.Write(out, order, int8(v))
						case "uchar", "uint8":
							err = binary.Write(out, order, uint8(v))
						case "short", "int16":
							err = binary.Write(out, order, int16(v))
						case "ushort", "uint16":
							err = binary.Write(out, order, uint16(v))
						case "int", "int32":
							err = binary.Write(out, order, int32(v))
						case "uint", "uint32":
							err = binary.Write(out, order, uint32(v))
						case "float", "float32":
							err = binary.Write(out, order, float32(v))
						case "double", "float64":
							err = binary.Write(out, order, v)
						default:
							err = errors.New(kind)
						}
						if err != nil {
							t.Fatal(err)
						}
					}
					for v := range tetrahedron {
						for _, c := range columns {
							if c.kind == "list" {
								put(&vertices, "uchar", float64(v%3))
								for range v % 3 {
									put(&vertices, "short", 7)
								}
								continue
							}
							put(&vertices, c.kind, c.value(v))
						}
						if format == "ascii" {
							vertices.WriteByte('\n')
						}
					}
					for _, f := range faces {
						put(&body, list[0], 3)
						for _, v := range f {
							put(&body, list[1], float64(v))
						}
						put(&body, "uchar", 9) // a flag of the face
						if format == "ascii" {
							body.WriteByte('\n')
						}
					}
					fmt.Fprintf(&head, "ply\nformat %s 1.0\ncomment made by hand\nobj_info none\n", format)
					vertexHead := "element vertex 4\n"
					for _, c := range columns {
						if c.kind == "list" {
							vertexHead += "property list uchar short neighbours\n"
							continue
						}
						vertexHead += "property " + c.kind + " " + c.name + "\n"
					}
					faceHead := fmt.Sprintf("element face 4\nproperty list %s %s vertex_index\nproperty uchar flag\n", list[0], list[1])
					var data []byte
					if facesFirst {
						data = slices.Concat(head.Bytes(), []byte(faceHead+vertexHead+"end_header\n"), body.Bytes(), vertices.Bytes())
					} else {
						data = slices.Concat(head.Bytes(), []byte(vertexHead+faceHead+"end_header\n"), vertices.Bytes(), body.Bytes())
					}
					f, err := parse(t, data)
					what := fmt.Sprintf("%s, %s, %v, faces first %v", format, name, list, facesFirst)
					if err != nil {
						t.Errorf("%s: %v", what, err)
						continue
					}
					m := f.Mesh
					if v, a := mesh.Volume(m), mesh.Area(m); m.FaceCount() != 4 || math.Abs(v-1.0/6) > 1e-7 || math.Abs(a-1.5-math.Sqrt(3)/2) > 1e-6 {
						t.Errorf("%s: %d faces, volume %g, area %g", what, m.FaceCount(), v, a)
					}
					if len(f.Findings) > 0 || !slices.Equal(f.Comments, []string{"made by hand"}) {
						t.Errorf("%s: findings %v, comments %v", what, f.Findings, f.Comments)
					}
				}
			}
		}
	}
}

func TestLineEndings(t *testing.T) {
	text := "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"
	for _, ending := range []string{"\n", "\r\n", "\r"} {
		f, err := parse(t, []byte(strings.ReplaceAll(text, "\n", ending)))
		if err != nil || f.Mesh.FaceCount() != 1 || mesh.Area(f.Mesh) != 0.5 {
			t.Errorf("%q: %v", ending, err)
		}
	}
}

// asciiFile is an ascii file with the given vertex properties and lines, and
// faces.
func asciiFile(properties []string, vertices []string, faces []string, more ...string) []byte {
	text := "ply\nformat ascii 1.0\n" + strings.Join(more, "")
	text += fmt.Sprintf("element vertex %d\n", len(vertices))
	for _, p := range properties {
		text += "property " + p + "\n"
	}
	text += fmt.Sprintf("element face %d\nproperty list uchar int vertex_indices\nend_header\n", len(faces))
	return []byte(text + strings.Join(append(vertices, faces...), "\n") + "\n")
}

var xyz = []string{"float x", "float y", "float z"}

func TestPolygonsBecomeFansOfTriangles(t *testing.T) {
	f, err := parse(t, asciiFile(xyz, []string{"0 0 0", "2 0 0", "2 2 0", "1 3 0", "0 2 0"},
		[]string{"5 0 1 2 3 4", "3 0 1 2", "2 0 1", "4 0 1 2 4"}))
	if err != nil {
		t.Fatal(err)
	}
	want := []uint32{0, 1, 2, 0, 2, 3, 0, 3, 4, 0, 1, 2, 0, 1, 2, 0, 2, 4}
	if !slices.Equal(f.Mesh.Triangles, want) || !slices.Equal(ids(f), []string{"polygons_split", "faces_too_small"}) {
		t.Errorf("triangles %v, findings %v", f.Mesh.Triangles, f.Findings)
	}
}

func TestTriangleStrips(t *testing.T) {
	// Strips as range scan archives of the 1990s store them: -1 ends one, every
	// second triangle turns. A strip over the square 0 1 / 2 3 has two triangles of
	// area ½ that look the same way.
	text := "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n" +
		"element tristrips 1\nproperty list int int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n9 0 1 2 3 -1 3 2 1 -1\n"
	f, err := parse(t, []byte(text))
	if err != nil || !slices.Equal(f.Mesh.Triangles, []uint32{0, 1, 2, 2, 1, 3, 3, 2, 1}) {
		t.Fatalf("triangles %v (%v)", f.Mesh.Triangles, err)
	}
	for face := range uint32(2) {
		if n := f.Mesh.AreaVector(face); n != (r3.Vec{Z: 0.5}) {
			t.Errorf("face %d has the area vector %v", face, n)
		}
	}
}

func TestColoursNormalsAndTextureCoordinates(t *testing.T) {
	vertices := []string{"0 0 0 10 20 30 0 0 2 0.25 0.75", "1 0 0 255 0 128 0 3 0 1 1", "0 1 0 1 2 3 1 0 0 0 0"}
	properties := append(slices.Clone(xyz), "uchar red", "uchar green", "uchar blue", "float nx", "float ny", "float nz", "float s", "float t")
	picture := []byte("\x89PNG\r\n\x1a\n")
	f, err := ply.Read(context.Background(), "x.ply", asciiFile(properties, vertices, []string{"3 0 1 2"}, "comment TextureFile C:\\maps\\bone.png\n"),
		ply.Options{Resource: func(name string) ([]byte, error) {
			if name != "bone.png" {
				return nil, fs.ErrNotExist
			}
			return picture, nil
		}})
	if err != nil {
		t.Fatal(err)
	}
	m := f.Mesh
	if !slices.Equal(m.Colours, []uint8{10, 20, 30, 255, 255, 0, 128, 255, 1, 2, 3, 255}) {
		t.Errorf("colours %v", m.Colours)
	}
	if !slices.Equal(m.Normals, []float32{0, 0, 1, 0, 1, 0, 1, 0, 0}) {
		t.Errorf("normals %v", m.Normals)
	}
	if !slices.Equal(m.UVs, []float32{0.25, 0.25, 1, 0, 0, 1}) {
		t.Errorf("texture coordinates %v", m.UVs)
	}
	if len(m.Images) != 1 || !bytes.Equal(m.Images[0].Data, picture) || m.Materials[0].Image != 0 || len(f.Findings) > 0 {
		t.Errorf("images %v, findings %v", m.Images, f.Findings)
	}
	// The other ways of writing colours.
	for properties, line := range map[string]string{
		"float red,float green,float blue,float alpha":                             "1 0.5 0 0.2",
		"ushort diffuse_red,ushort diffuse_green,ushort diffuse_blue,ushort alpha": "65535 32768 0 13107",
		"uchar r,uchar g,uchar b,uchar a":                                          "255 128 0 51",
	} {
		data := asciiFile(append(slices.Clone(xyz), strings.Split(properties, ",")...),
			[]string{"0 0 0 " + line, "1 0 0 " + line, "0 1 0 " + line}, []string{"3 0 1 2"})
		f, err := parse(t, data)
		if err != nil || !slices.Equal(f.Mesh.Colours[:4], []uint8{255, 128, 0, 51}) {
			t.Errorf("%s: colours %v (%v)", properties, f.Mesh.Colours, err)
		}
	}
}

func TestAMissingTextureIsAFinding(t *testing.T) {
	properties := append(slices.Clone(xyz), "float u", "float v")
	f, err := parse(t, asciiFile(properties, []string{"0 0 0 0 0", "1 0 0 0 0", "0 1 0 0 0"}, []string{"3 0 1 2"}, "comment TextureFile bone.png\n"))
	if err != nil || !slices.Equal(ids(f), []string{"texture_missing"}) || f.Mesh.Images[0].Data != nil || f.Mesh.Images[0].Name != "bone.png" {
		t.Errorf("error %v, findings %v", err, f.Findings)
	}
}

func TestNumbersAreReadToTheLastDigit(t *testing.T) {
	// Against strconv, through %v printing: text forms that exporters use.
	for text, want := range map[string]float64{
		"1": 1, "-0": 0, "+2.5": 2.5, "0.1": 0.1, "1e3": 1000, "1.5E-3": 0.0015, ".5": 0.5, "5.": 5, "123456789012345678901234567890": 1.2345678901234568e29,
		"0.000000000000000000000000000001": 1e-30, "9007199254740993": 9007199254740992, "3.4028235e38": 3.4028235e38, "-1234.5678": -1234.5678,
	} {
		data := asciiFile([]string{"double x", "double y", "double z"}, []string{text + " 0 0", text + " 0 1", text + " 1 0"}, []string{"3 0 1 2"})
		f, err := parse(t, data)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if got := f.Mesh.Vertex(0).X; math.Abs(got-want) > math.Abs(want)*1e-7 {
			t.Errorf("%s was read as %v", text, got)
		}
	}
}

func TestGeoreferencedDoublesKeepTheirDigits(t *testing.T) {
	// Grid coordinates in metres, a triangle with legs of 2 mm: as float32 all
	// corners would fall together.
	data := asciiFile([]string{"double x", "double y", "double z"},
		[]string{"691234.101 5334567.203 512.300", "691234.103 5334567.203 512.300", "691234.101 5334567.205 512.300"}, []string{"3 0 1 2"})
	f, err := ply.Read(context.Background(), "x.ply", data, ply.Options{Factor: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if a := mesh.Area(f.Mesh); math.Abs(a-2) > 1e-5 {
		t.Errorf("area %g mm², want 2", a)
	}
}

func TestVerticesWithoutPlace(t *testing.T) {
	vertices := []string{"0 0 0", "1 0 0", "0 1 0", "nan nan nan", "inf 0 0"}
	f, err := parse(t, asciiFile(xyz, vertices, []string{"3 0 1 2"}))
	if err != nil || !slices.Equal(ids(f), []string{"vertices_without_place"}) || mesh.Area(f.Mesh) != 0.5 {
		t.Errorf("not used: error %v, findings %v", err, f.Findings)
	}
	_, err = parse(t, asciiFile(xyz, vertices, []string{"3 0 1 2", "3 0 1 3"}))
	if err == nil || !strings.Contains(err.Error(), "triangle 1 uses vertex 3") {
		t.Errorf("used: error %v", err)
	}
}

// Coordinates as large as float32 has them are places, alone and together; twice
// that is none. Found by fuzzing.
func TestVerticesFarAway(t *testing.T) {
	far := "3.39e38"
	m, err := parse(t, asciiFile(xyz, []string{far + " " + far + " 0", "0 " + far + " 0", "0 0 0"}, []string{"3 0 1 2"}))
	if err != nil || m.Mesh.FaceCount() != 1 {
		t.Errorf("far: %v", err)
	}
	if _, err := parse(t, asciiFile([]string{"double x", "double y", "double z"}, []string{"7e38 0 0", "1 0 0", "0 0 0"}, []string{"3 0 1 2"})); err == nil || !strings.Contains(err.Error(), "no place") {
		t.Errorf("farther: error %v", err)
	}
}

// What a file says of itself is repeated in part only, and what cannot be shown
// is quoted: a message stays a sentence. Found by fuzzing.
func TestMessagesStayShort(t *testing.T) {
	header := "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement %s 3\nproperty int n\nend_header\n0 0 0\n1 0 0\n0 1 0\n"
	for _, name := range []string{strings.Repeat("-", 10_000), "a\x1b[31mred"} {
		for _, body := range []string{"1\nx\n3\n", "1\n"} {
			_, err := parse(t, []byte(fmt.Sprintf(header, name)+body))
			if err == nil || len(err.Error()) > 300 || strings.Contains(err.Error(), "\x1b") {
				t.Errorf("error %.400v", err)
			}
		}
	}
}

func TestWriteThenReadIsEqual(t *testing.T) {
	dressed := solid.Icosphere(3, 25)
	dressed.Origin = r3.Vec{X: 1024, Y: -2048.5, Z: 0.25}
	for i := range dressed.VertexCount() {
		dressed.Colours = append(dressed.Colours, uint8(i), uint8(2*i), uint8(3*i), uint8(255-i))
		dressed.UVs = append(dressed.UVs, float32(i%5)/4, float32(i%3)/2)
		n := r3.Unit(r3.Sub(dressed.Vertex(uint32(i)), dressed.Origin))
		dressed.Normals = append(dressed.Normals, float32(n.X), float32(n.Y), float32(n.Z))
	}
	far := solid.Cube(20)
	far.Origin = r3.Vec{X: 5334567203.125}
	for name, m := range map[string]*mesh.Mesh{"bare": solid.Cube(20), "dressed": dressed, "far": far} {
		for _, opt := range []ply.WriteOptions{{}, {ASCII: true}, {Comments: []string{"one", "two"}}} {
			var out bytes.Buffer
			if err := ply.Write(&out, m, opt); err != nil {
				t.Fatal(err)
			}
			f, err := parse(t, out.Bytes())
			if err != nil {
				t.Fatal(err)
			}
			got := f.Mesh
			if !slices.Equal(got.Triangles, m.Triangles) || !slices.Equal(got.Colours, m.Colours) || !slices.Equal(got.UVs, m.UVs) {
				t.Errorf("%s %+v: triangles, colours or texture coordinates differ", name, opt)
			}
			for i := range uint32(m.VertexCount()) {
				if d := r3.Norm(r3.Sub(got.Vertex(i), m.Vertex(i))); d > 2e-6 {
					t.Fatalf("%s %+v: vertex %d is off by %g", name, opt, i, d)
				}
			}
			for i, x := range m.Normals {
				if math.Abs(float64(x-got.Normals[i])) > 1e-7 {
					t.Fatalf("%s %+v: normal %d is %g, want %g", name, opt, i/3, got.Normals[i], x)
				}
			}
			if !slices.Equal(f.Comments, opt.Comments) || len(f.Findings) > 0 {
				t.Errorf("%s %+v: comments %v, findings %v", name, opt, f.Comments, f.Findings)
			}
		}
	}
	if err := ply.Write(new(bytes.Buffer), far, ply.WriteOptions{Comments: []string{"a\nend_header"}}); err == nil {
		t.Error("a comment of two lines was written")
	}
}

func TestBadFilesAreRefusedInOneSentence(t *testing.T) {
	good := string(asciiFile(xyz, []string{"0 0 0", "1 0 0", "0 1 0"}, []string{"3 0 1 2"}))
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %q to change", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	binary := func(text string) string { return strings.Replace(text, "ascii", "binary_little_endian", 1) }
	rows := map[string]struct{ data, want string }{
		"no ply":              {"plx\n", "line 1"},
		"empty":               {"", "line 1"},
		"version 2.0":         {swap("ascii 1.0", "ascii 2.0"), `version "2.0" and only 1.0 exists`},
		"format":              {swap("ascii", "binary_middle_endian"), "binary_middle_endian"},
		"no format":           {swap("format ascii 1.0\n", ""), "no format line"},
		"unknown word":        {swap("element vertex", "elephant vertex"), `line 3 begins with the unknown word "elephant"`},
		"count":               {swap("vertex 3", "vertex many"), `"many" where a count should be`},
		"negative count":      {swap("vertex 3", "vertex -3"), "count should be"},
		"type":                {swap("float y", "real y"), `unknown type "real"`},
		"property first":      {swap("element vertex 3\n", "property float q\nelement vertex 3\n"), "before any element"},
		"list of floats":      {swap("list uchar", "list float"), "length has the type"},
		"no z":                {swap("property float z\n", ""), "x, y and z"},
		"x is a list":         {swap("property float x", "property list uchar float x"), "single number"},
		"no end":              {good[:strings.Index(good, "end_header")], "without end_header"},
		"long word":           {"ply\n" + strings.Repeat("x", 5000) + "\n", `"xxxxxxxxxxxxxxxxxxxxxxxx…"`},
		"endless header":      {"ply\n" + strings.Repeat("comment so it goes on and on\n", 1<<16), "does not end within"},
		"corner too large":    {swap("3 0 1 2", "3 0 1 3"), "face 0 has the corner 3 and there are 3 vertices"},
		"corner negative":     {swap("3 0 1 2", "3 0 -1 2"), "corner -1"},
		"corner a fraction":   {swap("3 0 1 2", "3 0 1.5 2"), "corner 1.5"},
		"corner not a number": {swap("3 0 1 2", "3 0 nan 2"), "corner NaN"},
		"word in the body":    {swap("1 0 0", "1 zero 0"), `line 11 has "zero" where a number should be`},
		"list too long":       {swap("3 0 1 2", "99 0 1 2"), "list of 99 numbers"},
		"list negative":       {swap("3 0 1 2", "-3 0 1 2"), "list of -3 numbers"},
		"4e9 vertices":        {swap("vertex 3", "vertex 4000000000"), "more than the 2147483647"},
		"2e9 vertices":        {swap("vertex 3", "vertex 2000000000"), "the file ends after at most"},
		"4e9 faces":           {swap("face 1", "face 4000000000"), "the file ends after at most"},
		"2e9, binary":         {binary(swap("vertex 3", "vertex 2000000000")), "the file ends after at most"},
		"points only":         {swap("face 1", "face 0"), "points and no faces"},
		"range grid":          {swap("element face 1", "element range_grid 1"), "range grid"},
	}
	for name, row := range rows {
		_, err := parse(t, []byte(row.data))
		if err == nil {
			t.Errorf("%s: it was read", name)
			continue
		}
		text := err.Error()
		if !strings.Contains(text, row.want) || !strings.HasPrefix(text, "x.ply: ") || !strings.Contains(text, "; ") || strings.Contains(text, "\n") {
			t.Errorf("%s: error %q does not say file, %q and a way out", name, text, row.want)
		}
	}
	if _, err := parse(t, []byte(good)); err != nil {
		t.Errorf("unchanged: %v", err)
	}
}

func TestEveryTruncationIsRefused(t *testing.T) {
	cube := solid.Cube(20)
	for _, opt := range []ply.WriteOptions{{}, {ASCII: true}} {
		var out bytes.Buffer
		if err := ply.Write(&out, cube, opt); err != nil {
			t.Fatal(err)
		}
		data := bytes.TrimRight(out.Bytes(), "\n")
		// In the ascii file the last corner has one digit.
		for n := range len(data) {
			if _, err := parse(t, data[:n:n]); err == nil {
				t.Errorf("%+v: %d of %d bytes were read", opt, n, len(data))
			}
		}
	}
}

func TestExtraBytesAreNotedAndIgnored(t *testing.T) {
	for _, opt := range []ply.WriteOptions{{}, {ASCII: true}} {
		var out bytes.Buffer
		if err := ply.Write(&out, solid.Cube(20), opt); err != nil {
			t.Fatal(err)
		}
		out.WriteString("more")
		f, err := parse(t, out.Bytes())
		if err != nil || f.Mesh.FaceCount() != 12 || !slices.Equal(ids(f), []string{"ply_extra_bytes"}) {
			t.Errorf("%+v: error %v, findings %v", opt, err, f.Findings)
		}
	}
}

func TestHostileFilesUseLittleMemory(t *testing.T) {
	head := "ply\nformat %s 1.0\n%send_header\n"
	vertex := "element vertex %d\nproperty float x\nproperty float y\nproperty float z\n"
	face := "element face %d\nproperty list %s int vertex_indices\n"
	rows := map[string]string{
		"4e9 of each, ascii":  fmt.Sprintf(head, "ascii", fmt.Sprintf(vertex, 2_000_000_000)+fmt.Sprintf(face, 4_000_000_000, "uchar")) + "0 0 0\n",
		"4e9 of each, binary": fmt.Sprintf(head, "binary_little_endian", fmt.Sprintf(vertex, 2_000_000_000)+fmt.Sprintf(face, 4_000_000_000, "uchar")) + strings.Repeat("\x00", 1500),
		"a list of 4e9": fmt.Sprintf(head, "binary_little_endian", fmt.Sprintf(vertex, 1)+fmt.Sprintf(face, 1, "uint")) +
			strings.Repeat("\x00", 12) + "\xff\xff\xff\xff" + strings.Repeat("\x00", 1500),
		"4e18 of nothing": fmt.Sprintf(head, "ascii", "element nothing 4000000000000000000\n"+fmt.Sprintf(vertex, 1)+fmt.Sprintf(face, 0, "uchar")) + "0 0 0\n",
		"4e18 of a list": fmt.Sprintf(head, "binary_little_endian",
			"element a 4000000000000000000\nproperty list uchar int b\n"+fmt.Sprintf(vertex, 1)+fmt.Sprintf(face, 0, "uchar")) + "0 0 0\n",
	}
	for name, text := range rows {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		_, err := parse(t, []byte(text))
		runtime.ReadMemStats(&after)
		if used := after.TotalAlloc - before.TotalAlloc; used > 50<<20 || err == nil {
			t.Errorf("%s: %d bytes took %d MB, error %v", name, len(text), used>>20, err)
		}
	}
}

func TestReadingCanBeStopped(t *testing.T) {
	var out bytes.Buffer
	if err := ply.Write(&out, solid.Icosphere(6, 1), ply.WriteOptions{ASCII: true}); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	calls := 0
	_, err := ply.Read(ctx, "x.ply", out.Bytes(), ply.Options{Progress: func(done float64, words string) {
		if calls++; calls == 2 {
			stop()
		}
		if done < 0 || done > 1 || words == "" {
			t.Errorf("progress %g %q", done, words)
		}
	}})
	if !errors.Is(err, context.Canceled) || calls != 2 {
		t.Errorf("error %v after %d calls", err, calls)
	}
}

// FuzzRead reads whatever it is given. What can be read must be whole and, once
// written, read back the same.
func FuzzRead(f *testing.F) {
	for _, opt := range []ply.WriteOptions{{}, {ASCII: true}} {
		m := solid.Cube(20)
		for range m.VertexCount() {
			m.Colours = append(m.Colours, 1, 2, 3, 4)
			m.UVs = append(m.UVs, 0, 1)
		}
		var out bytes.Buffer
		if err := ply.Write(&out, m, opt); err != nil {
			f.Fatal(err)
		}
		f.Add(out.Bytes())
	}
	f.Add(asciiFile(xyz, []string{"0 0 0", "1 0 0", "0 1 0", "1 1 0"}, []string{"4 0 1 2 3"}, "element tristrips 0\nproperty list int int vertex_indices\n"))
	f.Add(faceFile("comment TextureFile a.png\n", []string{"uchar red", "uchar green", "float blue"}, "3 0 1 2 255 0 0", "4 0 1 2 3 0 0 1"))
	f.Add(faceFile("comment TextureFile a.png\ncomment TextureFile b.png\n", []string{"list uchar float texcoord", "char texnumber"}, "3 0 1 2 6 1 0 .25 .25 0 1 1", "4 0 1 2 3 8 0 0 0 0 0 0 1 1 -1"))
	f.Add([]byte(rangeGrid(4, 3, func(c, r int) float64 {
		if c == 1 && r == 1 {
			return math.NaN()
		}
		return float64(10 * (c / 3))
	})))
	f.Add([]byte("ply\nformat binary_big_endian 1.0\nelement face 1\nproperty list ushort short vertex_index\nproperty double q\nelement vertex 3\nproperty short x\nproperty ushort y\nproperty char z\nproperty list int double w\nend_header\n" +
		"\x00\x03\x00\x00\x00\x01\x00\x02\x40\x00\x00\x00\x00\x00\x00\x00" + strings.Repeat("\x00\x01\x00\x02\x03\x00\x00\x00\x00", 3)))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := parse(t, data)
		if err != nil {
			if strings.Contains(err.Error(), "\n") || len(err.Error()) > 1000 {
				t.Fatalf("error %q", err)
			}
			return
		}
		m := file.Mesh
		if small, err := ply.ReadInBlocks(context.Background(), "x.ply", data, ply.Options{}, 16); err != nil || !same(small.Mesh, file.Mesh) {
			t.Fatalf("read in small blocks it differs (%v)", err)
		}
		n := m.VertexCount()
		for i, v := range m.Triangles {
			if int(v) >= n {
				t.Fatalf("corner %d is %d of %d", i, v, n)
			}
		}
		for _, s := range [][]float32{m.Positions, m.Normals, m.UVs} {
			for i, x := range s {
				if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
					t.Fatalf("number %d is %g", i, x)
				}
			}
		}
		if m.MaterialOf != nil && (len(m.MaterialOf) != m.FaceCount() || int(slices.Max(m.MaterialOf)) >= len(m.Materials)) {
			t.Fatal("materials do not fit")
		}
		if m.Colours != nil && len(m.Colours) != 4*n || m.Normals != nil && len(m.Normals) != 3*n || m.UVs != nil && len(m.UVs) != 2*n || m.FaceCount() == 0 {
			t.Fatal("the slices do not fit each other")
		}
		var out bytes.Buffer
		if err := ply.Write(&out, m, ply.WriteOptions{}); err != nil {
			t.Fatal(err)
		}
		again, err := parse(t, out.Bytes())
		if err != nil || !slices.Equal(again.Mesh.Triangles, m.Triangles) || !slices.Equal(again.Mesh.Colours, m.Colours) {
			t.Fatalf("what was written reads back differently (%v)", err)
		}
	})
}

// same says whether two meshes hold the same numbers.
func same(a, b *mesh.Mesh) bool {
	return a.Origin == b.Origin && slices.Equal(a.Positions, b.Positions) && slices.Equal(a.Triangles, b.Triangles) && slices.Equal(a.Colours, b.Colours) &&
		slices.Equal(a.Normals, b.Normals) && slices.Equal(a.UVs, b.UVs) && slices.Equal(a.MaterialOf, b.MaterialOf) && slices.Equal(a.Materials, b.Materials)
}

// FuzzLines changes the body of an ascii file. Read line by line, in blocks of
// any size, it must be what it is read as number by number.
func FuzzLines(f *testing.F) {
	const head = "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty double y\nproperty float z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\n" +
		"element note 2\nproperty list uchar int words\nelement face 3\nproperty list uchar int vertex_indices\nproperty list uchar float texcoord\nend_header\n"
	f.Add([]byte("0 0 0 1 2 3\n1 0 0 4 5 6\n1 1 0 7 8 9\n.5 1e0 0 0 0 0\n0\n2 7 7\n3 0 1 2 6 0 0 1 0 1 1\n4 0 1 2 3 8 0 0 1 0 1 1 0 1\n3 3 2 1 0\n"), 20)
	f.Add([]byte("0 0 0 1 2 3\r\n1 0 0 4 5 6\r\n1 1 0 7 8 9\n\n.5 1e0 0 0 0 0 0\n2 7 7\n3 0 1 2 6 0 0 1 0 1 1\n4 0 1 2 3 8 0 0 1 0 1 1 0 1 3 3 2 1 0"), 7)
	f.Fuzz(func(t *testing.T, body []byte, size int) {
		lines, err := ply.ReadInBlocks(context.Background(), "x.ply", append([]byte(head), body...), ply.Options{}, 1+(size&0xffff))
		long := bytes.ReplaceAll(body, []byte("\n"), []byte(" "))
		numbers, err2 := parse(t, append([]byte(head), long...))
		if (err == nil) != (err2 == nil) || err == nil && !same(lines.Mesh, numbers.Mesh) {
			t.Fatalf("by lines: %v; by numbers: %v", err, err2)
		}
	})
}
