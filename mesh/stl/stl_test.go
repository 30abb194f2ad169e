package stl_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/solid"
	"rigatino/mesh/stl"
)

func parse(t testing.TB, data []byte) (*stl.File, error) {
	t.Helper()
	return stl.Read(context.Background(), "x.stl", data, stl.Options{})
}

func ids(f *stl.File) []string {
	var out []string
	for _, x := range f.Findings {
		out = append(out, x.ID)
	}
	return out
}

// binaryOf writes a mesh that must be good.
func binaryOf(t testing.TB, m *mesh.Mesh) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := stl.Write(&out, m); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// textOf writes the text form as the published text shows it.
func textOf(m *mesh.Mesh) string {
	var out strings.Builder
	out.WriteString("solid a name of words\n")
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		n := r3.Unit(m.AreaVector(f))
		fmt.Fprintf(&out, "  facet normal %g %g %g\n    outer loop\n", n.X, n.Y, n.Z)
		for _, v := range []r3.Vec{a, b, c} {
			fmt.Fprintf(&out, "      vertex %g %g %g\n", v.X, v.Y, v.Z)
		}
		out.WriteString("    endloop\n  endfacet\n")
	}
	return out.String() + "endsolid a name of words\n"
}

// named gives a binary file another header.
func named(data []byte, header string) []byte {
	data = bytes.Clone(data)
	clear(data[:80])
	copy(data[:80], header)
	return data
}

func TestFormsOfTheSameBall(t *testing.T) {
	// The mesh written; area and volume are those of its own triangles, and it is
	// closed after welding: 2·V-4 triangles (Euler).
	m := solid.Icosphere(2, 5)
	text, data := textOf(m), binaryOf(t, m)
	half := strings.Index(text, "facet normal -")
	for name, content := range map[string][]byte{
		"binary":                  data,
		"binary, says solid":      named(data, "solid"),
		"binary, says solid x":    named(data, "solid made by a program\n"),
		"binary, header of text":  named(data, "solid x\nfacet normal 0 0 0\nouter loop\n"),
		"text":                    []byte(text),
		"CR LF":                   []byte(strings.ReplaceAll(text, "\n", "\r\n")),
		"CR":                      []byte(strings.ReplaceAll(text, "\n", "\r")),
		"upper case":              []byte(strings.ToUpper(text)),
		"one line":                []byte(strings.Join(strings.Fields(text), " ")),
		"byte order mark":         []byte("\xef\xbb\xbf" + text),
		"without a name":          []byte(strings.ReplaceAll(text, " a name of words", "")),
		"two solids":              []byte(text[:half] + "endsolid one\n\nsolid two\n" + text[half:]),
		"normals are not numbers": regexp.MustCompile(`normal \S+ \S+`).ReplaceAll([]byte(text), []byte("normal nan -nan(ind)")),
	} {
		if !stl.IsSTL(content) {
			t.Errorf("%s: not known as STL", name)
		}
		f, err := parse(t, content)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		g := f.Mesh
		if g.FaceCount() != m.FaceCount() || 2*g.VertexCount()-4 != g.FaceCount() || len(f.Findings) > 0 {
			t.Errorf("%s: %d triangles, %d vertices, findings %v", name, g.FaceCount(), g.VertexCount(), f.Findings)
			continue
		}
		if a, v := mesh.Area(g)/mesh.Area(m), mesh.Volume(g)/mesh.Volume(m); math.Abs(a-1) > 1e-6 || math.Abs(v-1) > 1e-6 {
			t.Errorf("%s: area and volume are %g and %g times those written", name, a, v)
		}
		for i := range g.Triangles {
			if d := r3.Norm(r3.Sub(g.Vertex(g.Triangles[i]), m.Vertex(m.Triangles[i]))); d > 1e-5 {
				t.Fatalf("%s: corner %d is off by %g", name, i, d)
			}
		}
	}
}

func TestWeldingIsExact(t *testing.T) {
	// Two triangles share an edge; a third is off by the last bit of one number.
	// -0 is 0.
	next := math.Nextafter32(1, 2)
	m := &mesh.Mesh{Positions: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, float32(math.Copysign(0, -1)), 0, 0, 0, 1, 0, -next, 0, 0},
		Triangles: []uint32{0, 1, 2, 3, 4, 5, 6, 7, 8}}
	f, err := parse(t, binaryOf(t, m))
	if err != nil || !slices.Equal(f.Mesh.Triangles, []uint32{0, 1, 2, 1, 3, 2, 0, 2, 4}) || f.Mesh.VertexCount() != 5 {
		t.Errorf("%v: %v", err, f.Mesh)
	}
	// Degenerate triangles keep their numbers.
	m = &mesh.Mesh{Positions: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Triangles: []uint32{0, 0, 1, 0, 1, 2}}
	if f, err := parse(t, binaryOf(t, m)); err != nil || !slices.Equal(f.Mesh.Triangles, m.Triangles) {
		t.Errorf("%v: %v", err, f)
	}
}

func TestWhatIsLeftOutIsNoted(t *testing.T) {
	data := binaryOf(t, solid.Cube(20))
	coloured := bytes.Clone(data)
	coloured[84+48], coloured[84+50+49] = 7, 0x80
	text := textOf(solid.Cube(20))
	for name, row := range map[string]struct {
		data []byte
		want []string
	}{
		"attributes":   {coloured, []string{"stl_attributes_ignored"}},
		"extra byte":   {append(bytes.Clone(data), 1), []string{"stl_extra_bytes"}},
		"extra solid":  {append(named(data, "solid"), make([]byte, 500)...), []string{"stl_extra_bytes"}},
		"extra words":  {[]byte(text + "and more\n"), []string{"stl_extra_bytes"}},
		"extra blanks": {[]byte(text + "\n \r\n\x00"), nil},
	} {
		f, err := parse(t, row.data)
		if err != nil || !stl.IsSTL(row.data) || !slices.Equal(ids(f), row.want) || mesh.Volume(f.Mesh) != 8000 {
			t.Errorf("%s: %v, %v", name, err, f)
		}
	}
}

func TestBadFilesAreRefusedInOneSentence(t *testing.T) {
	data := binaryOf(t, solid.Cube(20))
	text := textOf(solid.Cube(20))
	swap := func(old, new string) []byte { return []byte(strings.Replace(text, old, new, 1)) }
	with := func(at int, x uint32) []byte {
		d := bytes.Clone(data)
		binary.LittleEndian.PutUint32(d[at:], x)
		return d
	}
	for name, row := range map[string]struct {
		data []byte
		want string
	}{
		"empty":             {nil, "breaks off after 0 of 84"},
		"zeros":             {make([]byte, 84), "no triangles"},
		"4e9 triangles":     {with(80, 4e9), "should have 4000000000 triangles and ends after 12"},
		"one more":          {with(80, 13), "should have 13 triangles and ends after 12"},
		"not a number":      {with(84+50+12, math.Float32bits(float32(math.NaN()))), "triangle 1 (byte 134) has a corner at (NaN"},
		"infinite":          {with(84+12, math.Float32bits(float32(math.Inf(-1)))), "triangle 0 (byte 84) has a corner at (-Inf"},
		"no endsolid":       {swap("endsolid a name of words\n", ""), "breaks off where \"endsolid\" should be"},
		"cut name":          {swap("endsolid", "endsol"), `has "endsol" where "endsolid" should be`},
		"a word":            {swap("vertex", "vertex zero"), `line 4 has "zero" where a number should be`},
		"four corners":      {swap("    endloop", "      vertex 1 2 3\n    endloop"), `line 7 has "vertex" where "endloop" should be`},
		"two corners":       {[]byte(regexp.MustCompile(`(?m)^ +vertex.*\n`).ReplaceAllString(text[:200], "") + text[200:]), `has "endloop" where "vertex" should be`},
		"no loop":           {swap("outer loop", "outer"), `line 4 has "vertex" where "loop" should be`},
		"text not a number": {swap("vertex", "vertex 0 nan 0 vertex"), "has a corner at (0, NaN, 0), which is no place"},
		"too large":         {swap("vertex", "vertex 0 1e39 0 vertex"), "no place"},
		"an empty solid":    {[]byte("solid x\nendsolid x\n"), "no triangles"},
		"unknown version":   {swap("  facet normal", "version 2\n  facet normal"), `line 2 has "version" where "endsolid" should be`},
	} {
		_, err := parse(t, row.data)
		if err == nil {
			t.Errorf("%s: it was read", name)
			continue
		}
		words := err.Error()
		if !strings.Contains(words, row.want) || !strings.HasPrefix(words, "x.stl: ") || !strings.Contains(words, "; ") || strings.Contains(words, "\n") {
			t.Errorf("%s: error %q does not say file, %q and a way out", name, words, row.want)
		}
	}
}

func TestEveryTruncationIsRefused(t *testing.T) {
	data, text := binaryOf(t, solid.Cube(20)), strings.TrimSpace(strings.ReplaceAll(textOf(solid.Cube(20)), " a name of words", ""))
	for form, whole := range map[string][]byte{"binary": data, "says solid": named(data, "solid cube"), "text": []byte(text)} {
		for n := range len(whole) {
			if _, err := parse(t, whole[:n:n]); err == nil {
				t.Errorf("%s: %d of %d bytes were read", form, n, len(whole))
			}
		}
		if _, err := parse(t, whole); err != nil {
			t.Errorf("%s: %v", form, err)
		}
	}
}

func TestOnlySTLIsKnownAsSTL(t *testing.T) {
	random := make([]byte, 5000)
	for i := range random {
		random[i] = byte(i * i * 31 >> 3)
	}
	for name, data := range map[string][]byte{
		"empty": nil, "zeros": make([]byte, 5000), "numbers": random, "text": []byte(strings.Repeat("dear diary, ", 100)), "solid alone": []byte("solid advice\n"),
		"a header": make([]byte, 84), "text about it": []byte(strings.Repeat("a solid facet ", 50)),
	} {
		if stl.IsSTL(data) {
			t.Errorf("%s: taken for STL", name)
		}
	}
	// Cut off after its first triangles a binary file is still known.
	if data := binaryOf(t, solid.Cube(20)); !stl.IsSTL(data[:200]) {
		t.Error("a cut binary file is not known")
	}
}

func TestASmallFileTakesLittleMemory(t *testing.T) {
	data := append(binaryOf(t, solid.Cube(20)), make([]byte, 1400)...)
	binary.LittleEndian.PutUint32(data[80:], 4e9)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := parse(t, data)
	runtime.ReadMemStats(&after)
	if mb := float64(after.TotalAlloc-before.TotalAlloc) / 1e6; mb > 1 || err == nil {
		t.Errorf("%.0f MB for %d bytes (%v)", mb, len(data), err)
	}
}

func TestUnitsAndFarCoordinates(t *testing.T) {
	// Grid coordinates in metres with legs of 2 mm need the digits of the text.
	text := "solid\nfacet normal 0 0 1\nouter loop\nvertex 691234.101 5334567.203 512.300\nvertex 691234.103 5334567.203 512.300\nvertex 691234.101 5334567.205 512.300\nendloop\nendfacet\nendsolid\n"
	f, err := stl.Read(context.Background(), "x.stl", []byte(text), stl.Options{Factor: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if a := mesh.Area(f.Mesh); math.Abs(a-2) > 1e-5 {
		t.Errorf("area %g mm², want 2", a)
	}
	if err := stl.Write(new(bytes.Buffer), f.Mesh); err == nil {
		t.Error("a mesh was written that loses its digits")
	}
}

func TestReadCanBeStopped(t *testing.T) {
	m := solid.Icosphere(6, 5)
	for form, data := range map[string][]byte{"binary": binaryOf(t, m), "text": []byte(textOf(m))} {
		ctx, stop := context.WithCancel(context.Background())
		calls := 0
		_, err := stl.Read(ctx, "x.stl", data, stl.Options{Progress: func(done float64, words string) {
			if calls++; calls == 2 {
				stop()
			}
			if done < 0 || done > 1 || words == "" {
				t.Errorf("progress %g %q", done, words)
			}
		}})
		if !errors.Is(err, context.Canceled) || calls != 2 {
			t.Errorf("%s: error %v after %d calls", form, err, calls)
		}
	}
}

// FuzzRead reads whatever it is given. What can be read must be whole and, once
// written, read back the same.
func FuzzRead(f *testing.F) {
	cube := solid.Cube(20)
	f.Add(binaryOf(f, cube))
	f.Add(named(binaryOf(f, cube), "solid cube"))
	f.Add(append(binaryOf(f, cube), 1, 2, 3))
	f.Add([]byte(textOf(cube)))
	f.Add([]byte("SOLID\r\nfacet normal nan 0 0 outer loop vertex 0 0 1e-3 vertex 1 .5 0 vertex -0 1 0 endloop endfacet endsolid x\nsolid y\nendsolid\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		stl.IsSTL(data)
		file, err := parse(t, data)
		if err != nil {
			if strings.Contains(err.Error(), "\n") || len(err.Error()) > 500 {
				t.Fatalf("error %q", err)
			}
			return
		}
		m := file.Mesh
		n := m.VertexCount()
		for i, v := range m.Triangles {
			if int(v) >= n {
				t.Fatalf("corner %d is %d of %d", i, v, n)
			}
		}
		for i, x := range m.Positions {
			if x-x != 0 {
				t.Fatalf("number %d is %g", i, x)
			}
		}
		if m.FaceCount() == 0 || len(m.Triangles)%3 != 0 || len(m.Positions) != 3*n {
			t.Fatal("the slices do not fit each other")
		}
		var out bytes.Buffer
		if stl.Write(&out, m) != nil {
			return // too far away for its size
		}
		again, err := parse(t, out.Bytes())
		if err != nil || again.Mesh.FaceCount() != m.FaceCount() {
			t.Fatalf("what was written reads back differently (%v)", err)
		}
	})
}

func BenchmarkRead1M(b *testing.B) {
	m := solid.Icosphere(8, 50)
	for _, form := range []struct {
		name string
		data []byte
	}{{"binary", binaryOf(b, m)}, {"text", []byte(textOf(m))}} {
		b.Run(form.name, func(b *testing.B) {
			b.SetBytes(int64(len(form.data)))
			b.ReportAllocs()
			for b.Loop() {
				f, err := parse(b, form.data)
				if err != nil || f.Mesh.FaceCount() != m.FaceCount() {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(m.FaceCount())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
		})
	}
}
