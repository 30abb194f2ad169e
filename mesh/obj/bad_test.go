package obj_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/obj"
	"rigatino/mesh/solid"
)

func TestBadFilesAreRefusedInOneSentence(t *testing.T) {
	const good = "v 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nvn 0 0 1\nf 1 2 3\n"
	swap := func(old, new string) string { return strings.Replace(good, old, new, 1) }
	for name, row := range map[string]struct{ text, want string }{
		"empty":                {"", "no vertices"},
		"points only":          {swap("f 1 2 3\n", ""), "points and no faces"},
		"two numbers":          {swap("v 1 0 0", "v 1 0"), "line 2 has a vertex of 2 numbers"},
		"a word":               {swap("v 1 0 0", "v 1 zero 0"), `line 2 has "zero" where a number should be`},
		"a comma":              {swap("v 1 0 0", "v 1,5 0 0"), `line 2 has "1,5"`},
		"normal":               {swap("vn 0 0 1", "vn 0 0"), "line 5 has a normal of 2 numbers"},
		"texture coordinates":  {swap("vt 0 0", "vt"), "line 4 has texture coordinates without a number"},
		"corner too large":     {swap("f 1 2 3", "f 1 2 4"), "line 6 has the corner 4 and there are 3 vertices"},
		"corner zero":          {swap("f 1 2 3", "f 0 1 2"), "line 6 has the corner 0, which cannot be"},
		"corner too negative":  {swap("f 1 2 3", "f -4 1 2"), "line 6 has the corner of a negative number beyond the first and there are 3 vertices"},
		"corner huge":          {swap("f 1 2 3", "f 1 2 99999999999999999999"), "line 6 has"},
		"corner 2^32":          {swap("f 1 2 3", "f 1 2 4294967297"), "line 6 has the corner 4294967297"},
		"corner 2^30":          {swap("f 1 2 3", "f 1 2 1073741824"), "line 6 has the corner 1073741824"},
		"corner -2^31":         {swap("f 1 2 3", "f 1 2 -2147483648"), "line 6 has the corner -2147483648"},
		"texture too large":    {swap("f 1 2 3", "f 1/1 2/1 3/2"), "the corner 2 and there are 1 texture coordinates"},
		"normal too large":     {swap("f 1 2 3", "f 1//1 2//1 3//7"), "the corner 7 and there are 1 normals"},
		"texture zero":         {swap("f 1 2 3", "f 1/0 2/1 3/1"), "cannot be"},
		"corner a fraction":    {swap("f 1 2 3", "f 1.5 2 3"), `"1.5" where a corner should be`},
		"corner of four parts": {swap("f 1 2 3", "f 1/1/1/1 2 3"), `"1/1/1/1" where a corner should be`},
		"corner a word":        {swap("f 1 2 3", "f one 2 3"), `"one" where a corner should be`},
		"nan":                  {swap("v 1 0 0", "v nan 0 0"), "line 2 has a vertex at (NaN, 0, 0), which is no place, and triangle 0 uses it"},
		"infinite":             {swap("v 0 1 0", "v 0 -inf 0"), "line 3 has a vertex at (0, -Inf, 0)"},
		"too large":            {swap("v 0 1 0", "v 0 1e300 0"), "line 3 has a vertex at"},
		"only small faces":     {swap("f 1 2 3", "f 1 2"), "points and no faces"},
		"zeros":                {strings.Repeat("\x00", 4096), "no vertices"},
	} {
		_, err := parse(t, row.text)
		if err == nil {
			t.Errorf("%s: it was read", name)
			continue
		}
		text := err.Error()
		if !strings.Contains(text, row.want) || !strings.HasPrefix(text, "x.obj: ") || !strings.Contains(text, "; ") || strings.Contains(text, "\n") {
			t.Errorf("%s: error %q does not say file, %q and a way out", name, text, row.want)
		}
	}
	if _, err := parse(t, good); err != nil {
		t.Errorf("unchanged: %v", err)
	}
}

func TestEveryTruncationIsSmallerOrRefused(t *testing.T) {
	// OBJ has no mark of its end, so a cut between lines is a smaller file; inside
	// a line it is refused, or the open last line is noted. A cut inside the last
	// number is the one that cannot be told from a file without a last line end.
	var out bytes.Buffer
	m := solid.Cube(20)
	for range m.VertexCount() {
		m.UVs = append(m.UVs, 0, 1)
		m.Normals = append(m.Normals, 0, 0, 1)
	}
	if err := obj.Write(&out, m, ""); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	for n := range len(text) {
		f, err := parse(t, text[:n])
		if err != nil {
			continue
		}
		whole := strings.Count(text[:n], "f ")
		if got := f.Mesh.FaceCount(); got != whole && got != whole-1 || got == 0 {
			t.Fatalf("%d bytes: %d triangles of %d lines", n, got, whole)
		}
		if text[n-1] != '\n' && !slices.Contains(ids(f), "last_line_open") {
			t.Errorf("%d bytes: the open line %q is not noted", n, text[strings.LastIndex(text[:n], "\n")+1:n])
		}
	}
}

func TestExtraBytesAreNotedAndIgnored(t *testing.T) {
	const good = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
	for name, row := range map[string]struct {
		text string
		want []string
	}{
		"zeros":       {good + "\x00\x00\x00\x00", nil},
		"blank lines": {good + "\n\n \n", nil},
		"bytes":       {good + "\x7f\xff\x80 1 2 3\n", []string{"lines_unknown"}},
		"words":       {"version 9\n" + good + "fancy 1 2 3\n", []string{"lines_unknown"}},
		"lines":       {good + "l 1 2\np 1\n", []string{"lines_left_out"}},
		"curves":      {good + "cstype bezier\ncurv 0 1 1 2\nend\n", []string{"curves_left_out"}},
		"small":       {good + "f 1 2\nf\n", []string{"faces_too_small"}},
		"stray":       {good + "v nan 0 0\n", []string{"vertices_without_place"}},
		"bad normal":  {"v 0 0 0\nv 1 0 0\nv 0 1 0\nvn nan 0 0\nf 1//1 2//1 3//1\n", []string{"normals_broken"}},
	} {
		f, err := parse(t, row.text)
		if err != nil || !slices.Equal(ids(f), row.want) || mesh.Area(f.Mesh) != 0.5 {
			t.Errorf("%s: %v, findings %v", name, err, f)
		}
	}
	if f, _ := parse(t, "# one\nversion 9\n"+good); !strings.Contains(f.Findings[0].Reason, `line 2 ("version")`) {
		t.Errorf("finding %v", f.Findings)
	}
}

func TestOnlyOBJIsKnownAsOBJ(t *testing.T) {
	for text, want := range map[string]bool{
		"v 0 0 0\n": true, "# x\n\nmtllib a.mtl\no b\nv 1 2 3 0.5\n": true, "vt 0 0\nvn 1 0 0\nv\t1e-3 2 3": true, "": false, "v": false, "v 1 2": false,
		"v 1 2\n3": false, "v one two three": false, "dear diary": false, "solid x\n": false, "ply\n": false, "# only a comment\n": false,
		"newmtl bone\nKd 1 1 1\n": false, "{\"v\":1}": false, "v 0 0 0\n\x00": true, "\x00\x00\x00\x00v 0 0 0": true,
	} {
		if got := obj.IsOBJ([]byte(text)); got != want {
			t.Errorf("%q: %v", text, got)
		}
	}
}

func TestASmallFileTakesLittleMemory(t *testing.T) {
	// 2 kB that speak of thousands of millions, and 1 MB of faces that all use one
	// point. The limit of 50 MB is far above what the bytes that are there need.
	for name, text := range map[string]string{
		"corners":  "v 0 0 0\n" + strings.Repeat("f 4000000000 -4000000000 1\n", 75),
		"negative": "v 0 0 0\n" + strings.Repeat("f -1 -1 -1073741823\n", 100),
		"one face": "v 0 0 0\nv 1 0 0\nv 0 1 0\nf" + strings.Repeat(" 1 2 3", 300_000) + "\n",
		"seams":    "v 0 0 0\nvt 0 0\n" + strings.Repeat("vt 0.5 0.5\nf 1/-1 1/1 1/-2\n", 30_000),
		"material": "v 0 0 0\n" + strings.Repeat("usemtl a\nf 1 1 1\nusemtl b\n", 30_000),
	} {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		_, err := parse(t, text)
		runtime.ReadMemStats(&after)
		if mb := float64(after.TotalAlloc-before.TotalAlloc) / 1e6; mb > 50 && len(text) < 1e6 || mb > 150 {
			t.Errorf("%s: %.0f MB for %d bytes (%v)", name, mb, len(text), err)
		}
	}
}

func TestReadCanBeStopped(t *testing.T) {
	text := "v 0 0 0\n" + strings.Repeat("f 1 1 1\n", 1<<20)
	ctx, stop := context.WithCancel(context.Background())
	calls := 0
	_, err := obj.Read(ctx, "x.obj", []byte(text), obj.Options{Progress: func(done float64, words string) {
		if calls++; calls == 2 {
			stop()
		}
		if done < 0 || done > 1 || words == "" {
			t.Errorf("progress %g %q", done, words)
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v after %d calls", err, calls)
	}
}

// FuzzRead reads whatever it is given, as OBJ and as its material file. What can
// be read must be whole and, once written, read back the same.
func FuzzRead(f *testing.F) {
	f.Add([]byte(cube), []byte(""))
	f.Add([]byte("mtllib a.mtl\n"+triangle+"usemtl a\nf 1/1 2/2 3/3\nf -1/-1/-1 1// 2/2\nvn 0 0 1\n"), []byte("newmtl a\nKd 1 0.5 0\nd 0.5\nmap_Kd -s 1 1 -clamp on b c.png\n"))
	f.Add([]byte("v 0 0 0 1 0 0\nv 1 0 0 0.5 .5 1e-1\nv 0 1 0\nusemtl b\nf 1 2 3\nusemtl c\nf 1 3 2 2\nl 1 2\ncurv 1\n"), []byte("newmtl b\nmap_Kd ..\\x.png\nbump y"))
	f.Add([]byte("v 3 1 0\r\nv 1 1 0\r\nv 1 3 0\\\r\nv 0 3 0\rv 0 0 0\nv 3 0 0\nf 1 2 3 4 \\\n5 6"), []byte("\\\n"))
	f.Add([]byte("mtllib ......0\nv 0 0 0\nf 1 1 1"), []byte("\xa10")) // a plain name, though it has two dots
	f.Fuzz(func(t *testing.T, data, mtl []byte) {
		file, err := obj.Read(context.Background(), "x.obj", data, obj.Options{Resource: func(name string) ([]byte, error) {
			if slices.Contains(strings.Split(name, "/"), "..") || strings.HasPrefix(name, "/") || strings.ContainsAny(name, ":\\\x00") {
				t.Fatalf("the file %q was asked for", name)
			}
			if strings.HasSuffix(name, ".png") {
				return []byte(png), nil
			}
			if len(mtl)%2 == 0 {
				return nil, fs.ErrNotExist
			}
			return mtl, nil
		}})
		if err != nil {
			if strings.Contains(err.Error(), "\n") || len(err.Error()) > 500 {
				t.Fatalf("error %q", err)
			}
			return
		}
		whole(t, file.Mesh)
		if small, err := obj.ReadInBlocks(context.Background(), "x.obj", data, obj.Options{}, 8); err != nil || !slices.Equal(small.Mesh.Triangles, file.Mesh.Triangles) ||
			!slices.Equal(small.Mesh.Positions, file.Mesh.Positions) || !slices.Equal(small.Mesh.Colours, file.Mesh.Colours) || !slices.Equal(small.Mesh.UVs, file.Mesh.UVs) ||
			!slices.Equal(small.Mesh.Normals, file.Mesh.Normals) || !slices.Equal(small.Mesh.MaterialOf, file.Mesh.MaterialOf) {
			t.Fatalf("read in small blocks it differs (%v)", err)
		}
		var out, mats bytes.Buffer
		if obj.Write(&out, file.Mesh, "a.mtl") != nil || obj.WriteMaterials(&mats, file.Mesh) != nil {
			return // a name that no line can hold
		}
		again, err := obj.Read(context.Background(), "again.obj", out.Bytes(), obj.Options{Resource: func(string) ([]byte, error) { return mats.Bytes(), nil }})
		if err != nil {
			t.Fatalf("what was written cannot be read: %v", err)
		}
		if !slices.Equal(again.Mesh.Triangles, file.Mesh.Triangles) {
			t.Fatalf("what was written reads back differently: %v, not %v", again.Mesh.Triangles, file.Mesh.Triangles)
		}
		for i, c := range file.Mesh.Colours {
			if again.Mesh.Colours[i] != c && i%4 < 3 {
				t.Fatalf("colour %d is %d, not %d", i, again.Mesh.Colours[i], c)
			}
		}
	})
}

// whole fails the test where a mesh would make others fail.
func whole(t *testing.T, m *mesh.Mesh) {
	t.Helper()
	n := m.VertexCount()
	for i, v := range m.Triangles {
		if int(v) >= n {
			t.Fatalf("corner %d is %d of %d vertices", i, v, n)
		}
	}
	for _, f := range [][]float32{m.Positions, m.Normals, m.UVs} {
		for i, x := range f {
			if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
				t.Fatalf("number %d is %g", i, x)
			}
		}
	}
	if m.FaceCount() == 0 || len(m.Triangles)%3 != 0 || len(m.Positions) != 3*n || m.Normals != nil && len(m.Normals) != 3*n ||
		m.UVs != nil && len(m.UVs) != 2*n || m.Colours != nil && len(m.Colours) != 4*n || m.MaterialOf != nil && len(m.MaterialOf) != m.FaceCount() {
		t.Fatal("the slices do not fit each other")
	}
	for _, x := range m.MaterialOf {
		if int(x) >= len(m.Materials) {
			t.Fatalf("material %d of %d", x, len(m.Materials))
		}
	}
	for _, x := range m.Materials {
		if x.Image >= len(m.Images) {
			t.Fatalf("image %d of %d", x.Image, len(m.Images))
		}
	}
}

// forms are the ways scan programs write the same sphere of 1.3 million
// triangles.
func forms(b *testing.B) map[string]*mesh.Mesh {
	bare := solid.Icosphere(8, 50)
	coloured := *bare
	coloured.Colours = bytes.Repeat([]byte{200, 180, 150, 255}, bare.VertexCount())
	textured := *bare
	for i := range bare.VertexCount() {
		textured.UVs = append(textured.UVs, float32(i)/1e6, 0.5)
		textured.Normals = append(textured.Normals, 0, 0.6, 0.8)
	}
	return map[string]*mesh.Mesh{"bare": bare, "coloured": &coloured, "textured": &textured}
}

func BenchmarkRead1M(b *testing.B) {
	for _, name := range []string{"bare", "coloured", "textured"} {
		m := forms(b)[name]
		var out bytes.Buffer
		if err := obj.Write(&out, m, ""); err != nil {
			b.Fatal(err)
		}
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(out.Len()))
			b.ReportAllocs()
			for b.Loop() {
				f, err := obj.Read(context.Background(), "x.obj", out.Bytes(), obj.Options{})
				if err != nil || f.Mesh.FaceCount() != m.FaceCount() {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(m.FaceCount())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
		})
	}
	// Seams at every face, as of a program that writes the normals of faces.
	m := solid.Icosphere(8, 50)
	var out bytes.Buffer
	if err := obj.Write(&out, m, ""); err != nil {
		b.Fatal(err)
	}
	text := out.Bytes()[:bytes.Index(out.Bytes(), []byte("f "))]
	text = append(text, bytes.Repeat([]byte("vn 0.26726124 0.53452248 0.80178373\n"), m.FaceCount())...)
	for f := range m.FaceCount() {
		c := m.Triangles[3*f : 3*f+3]
		text = fmt.Appendf(text, "f %d//%d %d//%d %d//%d\n", c[0]+1, f+1, c[1]+1, f+1, c[2]+1, f+1)
	}
	b.Run("normals of faces", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		b.ReportAllocs()
		for b.Loop() {
			f, err := obj.Read(context.Background(), "x.obj", text, obj.Options{})
			if err != nil || f.Mesh.FaceCount() != m.FaceCount() {
				b.Fatal(err)
			}
		}
	})
}
