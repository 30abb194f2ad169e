package scan_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/scan"
	"rigatino/mesh/solid"
)

// ours is the folder of the sample files that are kept with the program.
const ours = "../../testdata/gltf"

func hash(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func TestOneMemberGivesItsHashAsID(t *testing.T) {
	path := filepath.Join(ours, "index-u32.glb")
	s, err := scan.Open(context.Background(), path, scan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if s.ID != hash(t, path) || len(s.Members) != 1 || s.Members[0].Name != "index-u32.glb" || s.Members[0].Bytes != 1868 {
		t.Errorf("id %s, members %+v", s.ID, s.Members)
	}
	if s.Format != "glb" || s.Unit != scan.Metre || !s.UnitFixed {
		t.Errorf("format %q, unit %q, fixed %v", s.Format, s.Unit, s.UnitFixed)
	}
}

func TestSeveralMembersAreOneScan(t *testing.T) {
	s, err := scan.Open(context.Background(), filepath.Join(ours, "index-u16-separate.gltf"), scan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Members) != 2 || s.Members[0].Name != "index-u16-separate.gltf" || s.Members[1].Name != "cube data.bin" {
		t.Fatalf("members %+v", s.Members)
	}
	// The id is what the tool sha256sum would print for the list that it prints
	// itself, sorted by name: "cube data.bin" comes first.
	lines := hash(t, filepath.Join(ours, "cube data.bin")) + "  cube data.bin\n" +
		hash(t, filepath.Join(ours, "index-u16-separate.gltf")) + "  index-u16-separate.gltf\n"
	sum := sha256.Sum256([]byte(lines))
	if want := hex.EncodeToString(sum[:]); s.ID != want {
		t.Errorf("id %s, want %s", s.ID, want)
	}
}

func TestOpenGoesByContentNotByName(t *testing.T) {
	plain := write(t, solid.Cube(20))
	data, err := os.ReadFile(plain)
	if err != nil {
		t.Fatal(err)
	}
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	if _, err := z.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	glb, err := os.ReadFile(filepath.Join(ours, "index-u32.glb"))
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{"a.glb": data, "b.txt": packed.Bytes(), "c.ply": glb, "d.gz": data} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, content, 0o666); err != nil {
			t.Fatal(err)
		}
		s, err := scan.Open(context.Background(), path, scan.Options{Unit: scan.Millimetre})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		want := "ply"
		if name == "c.ply" {
			want = "glb"
		}
		if s.Format != want || s.Mesh.FaceCount() != 12 {
			t.Errorf("%s: format %q with %d faces, want %q with 12", name, s.Format, s.Mesh.FaceCount(), want)
		}
		// A member is the file as received, packed if it was.
		if sum := sha256.Sum256(content); s.ID != hex.EncodeToString(sum[:]) {
			t.Errorf("%s: the id is not the hash of the file as received", name)
		}
	}
}

func TestAGivenUnitOverridesTheFormatWithAWord(t *testing.T) {
	s, err := scan.Open(context.Background(), filepath.Join(ours, "index-u32.glb"), scan.Options{Unit: scan.Inch})
	if err != nil {
		t.Fatal(err)
	}
	r := look(t, s)
	if d := r.Bounds.Max.X - r.Bounds.Min.X; d < 0.5079 || d > 0.5081 { // 0.02 in
		t.Errorf("the cube is %g mm wide, want 0.508", d)
	}
	if s.UnitFixed || points(r)[0] != "unit_overridden" {
		t.Errorf("fixed %v, open points %v", s.UnitFixed, points(r))
	}
}

func TestBadFilesAreRefusedInOneSentence(t *testing.T) {
	dir := t.TempDir()
	put := func(name string, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	secret := put("secret.bin", strings.Repeat("\x00", 1<<10))
	inner := filepath.Join(dir, "scan")
	if err := os.Mkdir(inner, 0o777); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(inner, "link.bin")
	if err := os.Symlink(secret, link); err != nil && runtime.GOOS != "windows" {
		t.Fatal(err)
	}
	asset := func(uri string) string {
		return `{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[{"mesh":0}],
			"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],
			"accessors":[{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}],
			"bufferViews":[{"buffer":0,"byteLength":36}],"buffers":[{"byteLength":36,"uri":"` + uri + `"}]}`
	}
	var bomb bytes.Buffer
	z, _ := gzip.NewWriterLevel(&bomb, gzip.BestCompression)
	zeros := make([]byte, 1<<20)
	for range 100 {
		if _, err := z.Write(zeros); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	rows := []struct{ name, path, want string }{
		{"absent", filepath.Join(dir, "absent.glb"), "there is no such file"},
		{"folder", inner, "not a file"},
		{"empty", put("empty.glb", ""), "the file is empty"},
		{"text", put("notes.txt", "dear diary"), "not a scan in a format that is read"},
		{"zip", put("scan.zip", "PK\x03\x04rest"), "a ZIP archive"},
		{"picture", put("photo.glb", "\x89PNG\r\n\x1a\n"), "a picture"},
		{"json", put("other.gltf", `{"a":1}`), "no asset.version"},
		{"bomb", put("bomb.ply.gz", bomb.String()), "more than 100 times its size"},
		{"broken gzip", put("cut.ply.gz", bomb.String()[:100]), "gzip packing is broken"},
		{"no triangles", put("none.gltf", `{"asset":{"version":"2.0"}}`), "holds no triangles"},
		{"missing buffer", put("missing.gltf", asset("gone.bin")), "gone.bin"},
		{"up", put("scan/up.gltf", asset("../secret.bin")), "leads out of the scan's own folder"},
		{"up, coded", put("scan/up2.gltf", asset("%2e%2e/secret.bin")), "leads out of the scan's own folder"},
		{"up, backslash", put("scan/up3.gltf", asset(`..\\secret.bin`)), "leads out of the scan's own folder"},
		{"absolute", put("scan/abs.gltf", asset(filepath.ToSlash(secret))), "leads out of the scan's own folder"},
		{"web", put("scan/web.gltf", asset("https://example.org/a.bin")), "leads out of the scan's own folder"},
		{"file address", put("scan/file.gltf", asset("file:///etc/passwd")), "leads out of the scan's own folder"},
		{"link", put("scan/link.gltf", asset("link.bin")), "link.bin"},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			_, err := scan.Open(context.Background(), row.path, scan.Options{})
			if err == nil {
				t.Fatal("it was opened")
			}
			text := err.Error()
			if !strings.Contains(text, row.want) || !strings.Contains(text, filepath.Base(row.path)) || strings.Contains(text, "\n") {
				t.Errorf("error %q does not name the file and say %q", text, row.want)
			}
			if strings.Count(text, filepath.Base(row.path)+":") != 1 {
				t.Errorf("error %q does not name the file once", text)
			}
		})
	}
	if _, err := scan.Open(context.Background(), rows[0].path, scan.Options{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a missing file gives %v", err)
	}
}

// The mesh is given away while the file is still looked at, and stopping then
// stops all.
func TestOpenGivesTheMeshAsItIsRead(t *testing.T) {
	for _, file := range []string{"index-u32.glb", "index-u16-separate.gltf"} {
		var early *mesh.Mesh
		s, err := scan.Open(context.Background(), filepath.Join(ours, file), scan.Options{Read: func(m *mesh.Mesh) { early = m }})
		if err != nil || early == nil || early != s.Mesh {
			t.Errorf("%s: not given: %v", file, err)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	if _, err := scan.Open(ctx, filepath.Join(ours, "index-u32.glb"), scan.Options{Read: func(*mesh.Mesh) { stop() }}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped while the mesh was looked at, it gives %v", err)
	}
}

func TestOpenCanBeStopped(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := scan.Open(ctx, filepath.Join(ours, "index-u32.glb"), scan.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want the stop", err)
	}
}

func TestUnits(t *testing.T) {
	// International inch and SI prefixes.
	for text, want := range map[string]float64{"mm": 1, "cm": 10, "m": 1000, "in": 25.4} {
		u, err := scan.ParseUnit(text)
		if err != nil || u.Millimetres() != want {
			t.Errorf("%s is %g mm (%v), want %g", text, u.Millimetres(), err, want)
		}
	}
	for _, text := range []string{"", "MM", "ft", "mm "} {
		if _, err := scan.ParseUnit(text); err == nil {
			t.Errorf("%q was taken for a unit", text)
		}
	}
}
