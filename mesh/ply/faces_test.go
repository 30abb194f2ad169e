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

	"rigatino/mesh"
	"rigatino/mesh/ply"
	"rigatino/mesh/solid"
)

// faceFile is an ascii file of a unit square in two triangles, with more
// properties of faces.
func faceFile(header string, properties []string, faces ...string) []byte {
	text := "ply\nformat ascii 1.0\n" + header + "element vertex 4\nproperty double x\nproperty double y\nproperty double z\n"
	text += fmt.Sprintf("element face %d\nproperty list uchar int vertex_indices\n", len(faces))
	for _, p := range properties {
		text += "property " + p + "\n"
	}
	return []byte(text + "end_header\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n" + strings.Join(faces, "\n") + "\n")
}

// binaryForm writes the same numbers as a binary file.
func binaryForm(t *testing.T, text []byte, order binary.AppendByteOrder, format string, types ...string) []byte {
	t.Helper()
	head, body, ok := bytes.Cut(text, []byte("end_header\n"))
	if !ok {
		t.Fatal("no header")
	}
	out := append(bytes.Replace(head, []byte("ascii"), []byte(format), 1), "end_header\n"...)
	words := strings.Fields(string(body))
	put := func(kind string) int {
		var x float64
		if _, err := fmt.Sscan(words[0], &x); err != nil {
			t.Fatal(err)
		}
		words = words[1:]
		switch kind {
		case "uchar":
			out = append(out, uint8(x))
		case "int":
			out = order.AppendUint32(out, uint32(int32(x)))
		case "float":
			out = order.AppendUint32(out, math.Float32bits(float32(x)))
		case "double":
			out = order.AppendUint64(out, math.Float64bits(x))
		}
		return int(x)
	}
	for range 12 {
		put("double")
	}
	for len(words) > 0 {
		for _, kind := range types {
			if list, ok := strings.CutPrefix(kind, "list "); ok {
				for range put("uchar") {
					put(list)
				}
				continue
			}
			put(kind)
		}
	}
	return out
}

// allForms calls f with the file in its three forms.
func allForms(t *testing.T, text []byte, types []string, f func(t *testing.T, data []byte)) {
	t.Run("ascii", func(t *testing.T) { f(t, text) })
	t.Run("little endian", func(t *testing.T) {
		f(t, binaryForm(t, text, binary.LittleEndian, "binary_little_endian", types...))
	})
	t.Run("big endian", func(t *testing.T) { f(t, binaryForm(t, text, binary.BigEndian, "binary_big_endian", types...)) })
}

func TestColoursOfFaces(t *testing.T) {
	// The first face is red, the second blue: corners 0 and 2 lie in both and
	// become two vertices each.
	text := faceFile("", []string{"uchar red", "uchar green", "uchar blue"}, "3 0 1 2 255 0 0", "3 0 2 3 0 0 255")
	allForms(t, text, []string{"list int", "uchar", "uchar", "uchar"}, func(t *testing.T, data []byte) {
		f, err := parse(t, data)
		if err != nil {
			t.Fatal(err)
		}
		m := f.Mesh
		if !slices.Equal(m.Triangles, []uint32{0, 1, 2, 4, 5, 3}) || m.VertexCount() != 6 || m.Vertex(4) != m.Vertex(0) || m.Vertex(5) != m.Vertex(2) || mesh.Area(m) != 1 {
			t.Errorf("triangles %v, positions %v", m.Triangles, m.Positions)
		}
		for i, v := range m.Triangles {
			want := []uint8{255, 0, 0, 255}
			if i >= 3 {
				want = []uint8{0, 0, 255, 255}
			}
			if !slices.Equal(m.Colours[4*v:4*v+4], want) {
				t.Errorf("corner %d has the colour %v", i, m.Colours[4*v:4*v+4])
			}
		}
	})
	// Vertices that have colours too keep them.
	both := strings.Replace(string(text), "property double z\n", "property double z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\n", 1)
	for _, p := range []string{"0 0 0\n", "1 0 0\n", "1 1 0\n", "0 1 0\n"} {
		both = strings.Replace(both, "\n"+p, "\n"+strings.TrimSpace(p)+" 7 8 9\n", 1)
	}
	f, err := parse(t, []byte(both))
	if err != nil || !slices.Equal(f.Mesh.Colours[:4], []uint8{7, 8, 9, 255}) || f.Mesh.VertexCount() != 4 || !slices.Equal(ids(f), []string{"face_colours_ignored"}) {
		t.Errorf("both: %v, %+v", err, f)
	}
}

func TestTextureCoordinatesOfFaces(t *testing.T) {
	// A dented quad, a triangle with a second texture, one with none, one whose
	// list is too short. The dent at the second corner makes a reader that only
	// fans fold over: its area would be 1, the polygon's is 0.5 (shoelace), all
	// with their texture coordinates equal to the place.
	text := []byte("ply\nformat ascii 1.0\ncomment TextureFile a.png\ncomment TextureFile sub/b.png\nelement vertex 4\nproperty double x\nproperty double y\nproperty double z\n" +
		"element face 4\nproperty list uchar int vertex_indices\nproperty list uchar float texcoord\nproperty int texnumber\nend_header\n" +
		"1 0 0\n0.25 0.25 0\n0 1 0\n0 0 0\n" +
		"4 0 1 2 3 8 1 0 0.25 0.25 0 1 0 0 0\n3 0 1 2 6 1 0 0.25 0.25 0 1 1\n3 0 1 2 6 0 0 0 0 0 0 -1\n3 2 1 0 2 0 0 0\n")
	allForms(t, text, []string{"list int", "list float", "int"}, func(t *testing.T, data []byte) {
		f, err := ply.Read(context.Background(), "x.ply", data, ply.Options{Resource: func(name string) ([]byte, error) {
			if name != "a.png" && name != "b.png" {
				return nil, fs.ErrNotExist
			}
			return []byte("\x89PNG\r\n\x1a\n" + name), nil
		}})
		if err != nil {
			t.Fatal(err)
		}
		m := f.Mesh
		area := 0.0
		for face := range uint32(2) {
			a := m.AreaVector(face)
			area += a.Z
			if a.Z < 0 {
				t.Errorf("triangle %d of the dented face is turned", face)
			}
			for _, v := range m.Triangles[3*face : 3*face+3] {
				if p := m.Vertex(v); math.Abs(p.X-float64(m.UVs[2*v])) > 1e-6 || math.Abs(1-p.Y-float64(m.UVs[2*v+1])) > 1e-6 {
					t.Errorf("the vertex at %v has the texture coordinates %v", p, m.UVs[2*v:2*v+2])
				}
			}
		}
		if math.Abs(area-0.25) > 1e-6 {
			t.Errorf("area of the dented face %g, want 0.25", area)
		}
		if !slices.Equal(m.MaterialOf, []uint16{0, 0, 1, 2, 2}) || len(m.Materials) != 3 || m.Materials[1].Image != 1 || m.Materials[2].Image != -1 || m.Images[1].Name != "b.png" {
			t.Errorf("materials %v %+v", m.MaterialOf, m.Materials)
		}
		if !slices.Equal(ids(f), []string{"texture_coordinates_missing", "polygons_split"}) {
			t.Errorf("findings %v", f.Findings)
		}
	})
}

// rangeGrid is a scan of columns by rows, every place where z is a number being
// a point; x and y are a column and a row apart.
func rangeGrid(columns, rows int, z func(c, r int) float64) string {
	var points, places strings.Builder
	n := 0
	for r := range rows {
		for c := range columns {
			if h := z(c, r); h == h {
				fmt.Fprintf(&points, "%d %d %g\n", c, r, h)
				fmt.Fprintf(&places, "1 %d \n", n)
				n++
			} else {
				places.WriteString("0 \n")
			}
		}
	}
	return fmt.Sprintf("ply\nformat ascii 1.0\nobj_info num_cols %d\nobj_info num_rows %d\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\n"+
		"element range_grid %d\nproperty list uchar int vertex_indices\nend_header\n", columns, rows, n, columns*rows) + points.String() + places.String()
}

func TestRangeGridsAreJoinedCellByCell(t *testing.T) {
	// A plane of 19 by 9 cells with area 19·9, of which a step in depth of 50
	// spacings between columns 9 and 10 takes out one column of cells, and one
	// missing point half of each of four cells.
	nan := math.NaN()
	for name, row := range map[string]struct {
		z         func(c, r int) float64
		triangles int
		area      float64
	}{
		"plane": {func(c, r int) float64 { return 0 }, 2 * 19 * 9, 19 * 9},
		"step": {func(c, r int) float64 {
			if c >= 10 {
				return 50
			}
			return 0
		}, 2 * 18 * 9, 18 * 9},
		"missing": {func(c, r int) float64 {
			if c == 5 && r == 5 {
				return nan
			}
			return 0
		}, 2*19*9 - 4, 19*9 - 2},
		"slope": {func(c, r int) float64 { return 3 * float64(c) }, 2 * 19 * 9, 19 * 9 * math.Sqrt(10)},
	} {
		f, err := parse(t, []byte(rangeGrid(20, 10, row.z)))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		m := f.Mesh
		if m.FaceCount() != row.triangles || math.Abs(mesh.Area(m)-row.area) > 1e-4 || !slices.Equal(ids(f), []string{"range_grid_joined"}) {
			t.Errorf("%s: %d triangles of area %g, want %d of %g; %v", name, m.FaceCount(), mesh.Area(m), row.triangles, row.area, f.Findings)
		}
		for face := range uint32(m.FaceCount()) {
			if m.AreaVector(face).Z <= 0 {
				t.Fatalf("%s: triangle %d looks away", name, face)
			}
		}
	}
	good := rangeGrid(4, 3, func(c, r int) float64 { return 0 })
	for old, row := range map[string]struct{ new, want string }{
		"num_cols 4": {"num_cols 5", "should have 5 times 3 places and has 12"},
		"num_rows 3": {"num_rows many", "without num_cols and num_rows"},
		"num_rows":   {"num_cols", "without num_cols and num_rows"},
		"1 11 \n":    {"1 12 \n", "place 11 of the range grid has the vertex 12 and there are 12"},
		"grid 12":    {"grid 400000000", "the file ends after at most"},
		"1 0 \n1 1 ": {"1 -1 \n1 1 ", "place 0 of the range grid has the vertex -1"},
	} {
		if _, err := parse(t, []byte(strings.Replace(good, old, row.new, 1))); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%q for %q: error %v, want %q", row.new, old, err, row.want)
		}
	}
	// A grid so sparse that no cell has three points.
	if _, err := parse(t, []byte(rangeGrid(9, 9, func(c, r int) float64 {
		if c%2+r%2 > 0 {
			return nan
		}
		return 0
	}))); err == nil || !strings.Contains(err.Error(), "points and no faces") {
		t.Errorf("no cell: error %v", err)
	}
}

func TestASCIIReadSideBySideGivesTheSame(t *testing.T) {
	// The same numbers, one record in a line and so read in blocks, and all in few
	// long lines and so read one after the other; on any number of cores.
	m := solid.Icosphere(7, 50)
	for i := range m.VertexCount() {
		m.Colours = append(m.Colours, uint8(i), uint8(i>>8), 3, 255)
	}
	var out bytes.Buffer
	if err := ply.Write(&out, m, ply.WriteOptions{ASCII: true}); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	if len(text) < 4<<20 {
		t.Fatalf("%d bytes are too few for several blocks", len(text))
	}
	body := strings.Index(text, "end_header\n") + len("end_header\n")
	long := text[:body] + strings.ReplaceAll(text[body:], "\n", " ")
	more := strings.Replace(text, "property list uchar int vertex_indices\n", "property list uchar int vertex_indices\nproperty float quality\nelement extra 2\nproperty char a\n", 1)
	at := len(more) - len(text) + strings.Index(text, "\n3 ") + 1
	more = more[:at] + strings.ReplaceAll(more[at:], "\n", " 0.5\n") + "1\n2"
	for _, cores := range []int{1, 2, 7} {
		old := runtime.GOMAXPROCS(cores)
		for name, data := range map[string]string{"lines": text, "CR LF": text[:body] + strings.ReplaceAll(text[body:], "\n", "\r\n"), "no end": text[:len(text)-1],
			"blank lines": text[:body] + strings.Replace(text[body:], "\n", "\n\n", 1), "long lines": long, "more properties": more} {
			f, err := parse(t, []byte(data))
			if err != nil {
				t.Errorf("%s: %v", name, err)
				continue
			}
			if !slices.Equal(f.Mesh.Triangles, m.Triangles) || !slices.Equal(f.Mesh.Positions, m.Positions) || !slices.Equal(f.Mesh.Colours, m.Colours) || len(f.Findings) > 0 {
				t.Errorf("%s on %d cores: the mesh differs; findings %v", name, cores, f.Findings)
			}
		}
		runtime.GOMAXPROCS(old)
	}
	// What is wrong far down is told with its place.
	lines := strings.Split(text, "\n")
	k := len(lines) - 5000
	lines[k] = "3 1 two 3"
	if _, err := parse(t, []byte(strings.Join(lines, "\n"))); err == nil || !strings.Contains(err.Error(), fmt.Sprintf(`the body at line %d has "two"`, k+1)) {
		t.Errorf("error %v, want line %d", err, k+1)
	}
	lines[k] = "3 1 99999999 3"
	if _, err := parse(t, []byte(strings.Join(lines, "\n"))); err == nil || !strings.Contains(err.Error(), "has the corner 99999999") {
		t.Errorf("error %v", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	if _, err := ply.Read(ctx, "x.ply", []byte(text), ply.Options{Progress: func(done float64, _ string) {
		if done > 0.3 {
			stop()
		}
	}}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}
