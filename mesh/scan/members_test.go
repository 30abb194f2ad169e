package scan_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/scan"
)

// farTriangle writes a .gltf whose triangle of 1 m² lies at byte at of a .bin
// that is otherwise a hole.
func farTriangle(t *testing.T, at int64) string {
	t.Helper()
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "far.bin"))
	if err != nil {
		t.Fatal(err)
	}
	corners := make([]byte, 0, 36)
	for _, x := range []float32{0, 0, 0, 2, 0, 0, 0, 1, 0} {
		corners = binary.LittleEndian.AppendUint32(corners, math.Float32bits(x))
	}
	if _, err := f.WriteAt(corners, at); err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(at + 4096); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf(`{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[{"mesh":0}],
		"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],
		"accessors":[{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3","min":[0,0,0],"max":[2,1,0]}],
		"bufferViews":[{"buffer":0,"byteOffset":%d,"byteLength":36}],"buffers":[{"byteLength":%d,"uri":"far.bin"}]}`, at, at+4096)
	path := filepath.Join(dir, "far.gltf")
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// Of a large buffer only what is used is held, and all of it is hashed. In full
// the buffer has more than 4 GiB (a hole, which takes no room on the disk).
func TestLargeBuffersAreReadInParts(t *testing.T) {
	at := int64(40<<20 + 4)
	if os.Getenv("RIGATINO_PROVE") == "1" {
		at = 4<<30 + 4
	}
	path := farTriangle(t, at)
	s, err := scan.Open(context.Background(), path, scan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if area := mesh.Area(s.Mesh); math.Abs(area-1e6) > 1e-6 {
		t.Errorf("area %g mm², want 1e6", area)
	}
	bin := s.Members[1]
	if bin.Name != "far.bin" || bin.Bytes != at+4096 {
		t.Errorf("member %+v", bin)
	}
	if at < 1<<30 && bin.SHA256 != hash(t, filepath.Join(filepath.Dir(path), "far.bin")) {
		t.Errorf("hash %s", bin.SHA256)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := scan.Open(ctx, path, scan.Options{}); err == nil {
		t.Error("a stopped reader goes on")
	}
}

// Links inside the scan's own folder are followed, links out of it are not, for
// buffers and pictures alike; a picture that cannot be had is an open point.
func TestLinksStayInTheFolder(t *testing.T) {
	outside := filepath.Join(t.TempDir(), "outside.png")
	if err := os.WriteFile(outside, []byte("\x89PNG\r\n\x1a\nsecret"), 0o666); err != nil {
		t.Fatal(err)
	}
	path := farTriangle(t, 0)
	dir := filepath.Dir(path)
	if err := os.Rename(filepath.Join(dir, "far.bin"), filepath.Join(dir, "real.bin")); err != nil {
		t.Fatal(err)
	}
	for to, from := range map[string]string{"real.bin": "far.bin", outside: "skin.png"} {
		if err := os.Symlink(to, filepath.Join(dir, from)); err != nil {
			t.Skipf("links cannot be made here: %v", err)
		}
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	dressed := strings.Replace(string(text), `"POSITION":0}}`, `"POSITION":0},"material":0}`, 1)
	dressed = strings.Replace(dressed, `"accessors"`, `"materials":[{"pbrMetallicRoughness":{"baseColorTexture":{"index":0}}}],
		"textures":[{"source":0}],"images":[{"uri":"skin.png"}],"accessors"`, 1)
	if err := os.WriteFile(path, []byte(dressed), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := scan.Open(context.Background(), path, scan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Members) != 2 || s.Members[1].Name != "far.bin" {
		t.Errorf("members %+v", s.Members)
	}
	if len(s.Mesh.Images) != 1 || s.Mesh.Images[0].Data != nil || len(s.Notes) == 0 || s.Notes[0].ID != "texture_unreadable" {
		t.Errorf("images %v, notes %+v", s.Mesh.Images, s.Notes)
	}
}
