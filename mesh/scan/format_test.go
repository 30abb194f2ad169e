package scan_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/obj"
	"rigatino/mesh/ply"
	"rigatino/mesh/scan"
	"rigatino/mesh/solid"
	"rigatino/mesh/stl"
	"rigatino/testdata/shared"
)

// packed is data as a gzip file.
func packed(t *testing.T, data []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	if _, err := z.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestEveryFormatAndItsGzipGiveTheSameBall(t *testing.T) {
	// Area and volume of the mesh that was written; glTF says metres, the others
	// nothing.
	m := solid.Icosphere(3, 25)
	area, volume := mesh.Area(m), mesh.Volume(m)
	writers := map[string]func(w io.Writer) error{
		"glb": func(w io.Writer) error { return gltf.Write(w, m, 1) },
		"obj": func(w io.Writer) error { return obj.Write(w, m, "") },
		"ply": func(w io.Writer) error { return ply.Write(w, m, ply.WriteOptions{ASCII: true}) },
		"stl": func(w io.Writer) error { return stl.Write(w, m) },
	}
	for format, write := range writers {
		var plain bytes.Buffer
		if err := write(&plain); err != nil {
			t.Fatal(err)
		}
		for _, content := range [][]byte{plain.Bytes(), packed(t, plain.Bytes())} {
			path := filepath.Join(t.TempDir(), "scan") // the name says nothing
			if err := os.WriteFile(path, content, 0o666); err != nil {
				t.Fatal(err)
			}
			s, err := scan.Open(context.Background(), path, scan.Options{Unit: scan.Centimetre})
			if err != nil {
				t.Errorf("%s: %v", format, err)
				continue
			}
			r := looked(t, s)
			if s.Format != format || s.Unit != scan.Centimetre || s.UnitFixed {
				t.Errorf("%s: format %q, unit %q, fixed %v", format, s.Format, s.Unit, s.UnitFixed)
			}
			if !r.Closed || r.Welded != m.VertexCount() || r.Volume == nil || math.Abs(r.Area/area/100-1) > 1e-6 || math.Abs(*r.Volume/volume/1000-1) > 1e-6 {
				t.Errorf("%s: %+v", format, r)
			}
			if s.ID != hash(t, path) || s.Members[0].Bytes != int64(len(content)) {
				t.Errorf("%s: the id is not the hash of the file as received", format)
			}
			// Without a unit all but glTF ask for it.
			s, err = scan.Open(context.Background(), path, scan.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if asks := slices.Contains(points(looked(t, s)), "unit_missing"); asks != (format != "glb") {
				t.Errorf("%s: asks for the unit: %v", format, asks)
			}
		}
	}
}

func TestOBJWithMaterialsAndPicturesIsOneScan(t *testing.T) {
	dir := t.TempDir()
	put := func(name, content string) {
		t.Helper()
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	put("secret.png", "\x89PNG\r\n\x1a\nsecret")
	put("scan/bone.mtl", "newmtl bone\nmap_Kd maps/bone.png\nmap_Bump bump.jpg\nnewmtl bed\nmap_Kd ../secret.png\n")
	put("scan/maps/bone.png", "\x89PNG\r\n\x1a\n")
	put("scan/bump.jpg", "\xff\xd8\xff")
	put("scan/bone.obj", "mtllib bone.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nusemtl bone\nf 1/1 2/1 3/1\nusemtl bed\nf 1/1 2/1 3/1\n")
	s, err := scan.Open(context.Background(), filepath.Join(dir, "scan", "bone.obj"), scan.Options{Unit: scan.Millimetre})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, m := range s.Members {
		names = append(names, m.Name)
		if m.SHA256 != hash(t, filepath.Join(dir, "scan", filepath.FromSlash(m.Name))) {
			t.Errorf("the hash of %s is %s", m.Name, m.SHA256)
		}
	}
	if !slices.Equal(names, []string{"bone.obj", "bone.mtl", "maps/bone.png", "bump.jpg"}) {
		t.Errorf("members %q", names)
	}
	if len(s.Notes) != 1 || s.Notes[0].ID != "texture_missing" || !strings.Contains(s.Notes[0].Reason, `"secret.png"`) {
		t.Errorf("notes %v", s.Notes)
	}
	if r := looked(t, s); r.Textures != 1 || len(s.Mesh.Materials) != 2 {
		t.Errorf("%d textures, materials %+v", r.Textures, s.Mesh.Materials)
	}
	// A link that leads out of the folder is as good as missing.
	if runtime.GOOS == "windows" {
		return
	}
	if err := os.Symlink(filepath.Join(dir, "secret.png"), filepath.Join(dir, "scan", "secret.png")); err != nil {
		t.Fatal(err)
	}
	if s, err = scan.Open(context.Background(), s.Path, scan.Options{}); err != nil || len(s.Members) != 4 || s.Mesh.Images[1].Data != nil {
		t.Errorf("with a link: %v, members %v", err, s.Members)
	}
}

func TestAMaterialFileIsSentToItsOBJ(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.mtl")
	if err := os.WriteFile(path, []byte("newmtl bone\nKd 1 1 1\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := scan.Open(context.Background(), path, scan.Options{}); err == nil || !strings.Contains(err.Error(), "give the OBJ file it belongs to") {
		t.Errorf("error %v", err)
	}
}

func TestAGzipBombTakesNoMoreThanItsBound(t *testing.T) {
	// 100 MB of zeros pack to 0.1 MB. All that is made of it until it is refused is
	// a growing buffer of up to the 64 MB that any file may unpack to.
	path := filepath.Join(t.TempDir(), "bomb.obj.gz")
	if err := os.WriteFile(path, packed(t, make([]byte, 100<<20)), 0o666); err != nil {
		t.Fatal(err)
	}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	_, err := scan.Open(context.Background(), path, scan.Options{})
	runtime.ReadMemStats(&after)
	if err == nil || !strings.Contains(err.Error(), "more than 100 times its size") || !strings.Contains(err.Error(), "; ") {
		t.Errorf("error %v", err)
	}
	if mb := (after.TotalAlloc - before.TotalAlloc) >> 20; mb > 300 {
		t.Errorf("%d MB were set aside", mb)
	}
}

// looked is what is wrong with a scan, as Check says.
func looked(t *testing.T, s *scan.Scan) scan.Report {
	t.Helper()
	r, err := scan.Check(context.Background(), s, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestOpenScansKeepTheirFiguresInOtherFormats(t *testing.T) {
	// Source: the open scans, whose area (VTK 9 and Open3D 0.16.1), volume, border
	// edges and parts (VTK 9) are the same whatever format holds the triangles.
	// Vertices that no triangle uses are lost in STL.
	for _, row := range []struct {
		file                     string
		triangles, border, parts int
		area, volume             float64
	}{
		{"bunny/bun_zipper.ply.gz", 69451, 223, 1, 0.0571287835, 0},
		{"bone/krapina-d1-tooth.ply", 100000, 0, 5, 1132.55538, 1735.6945},
	} {
		s, err := scan.Open(context.Background(), shared.Path(t, "data/"+row.file), scan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for format, write := range map[string]func(w io.Writer) error{
			"obj": func(w io.Writer) error { return obj.Write(w, s.Mesh, "") },
			"stl": func(w io.Writer) error { return stl.Write(w, s.Mesh) },
			"ply": func(w io.Writer) error { return ply.Write(w, s.Mesh, ply.WriteOptions{ASCII: true}) },
		} {
			var out bytes.Buffer
			if err := write(&out); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(t.TempDir(), "scan")
			if err := os.WriteFile(path, out.Bytes(), 0o666); err != nil {
				t.Fatal(err)
			}
			r := open(t, path, "")
			if r.Format != format || r.Triangles != row.triangles || r.BorderEdges != row.border || r.NonManifoldEdges != 0 || r.Components != row.parts {
				t.Errorf("%s as %s: %s of %d triangles, %d border and %d non-manifold edges, %d parts", row.file, format, r.Format, r.Triangles, r.BorderEdges, r.NonManifoldEdges, r.Components)
			}
			if math.Abs(r.Area-row.area) > 1e-8*row.area {
				t.Errorf("%s as %s: area %.9g, want %.9g", row.file, format, r.Area, row.area)
			}
			if row.volume > 0 && (r.Volume == nil || math.Abs(*r.Volume-row.volume) > 1e-8*row.volume) {
				t.Errorf("%s as %s: volume %v, want %.9g", row.file, format, r.Volume, row.volume)
			}
		}
	}
}
