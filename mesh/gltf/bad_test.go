package gltf_test

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
)

func TestBadSamplesAreRefusedEachInItsOwnWords(t *testing.T) {
	// One row a file: what the message must name. bad-position-no-minmax may be
	// accepted with a warning (the sample list says so).
	rows := map[string][]string{
		"bad-huge-count.glb":         {"accessor 0 (POSITION)", "claims 4000000000 elements", "holds 24"},
		"bad-index-out-of-range.glb": {"accessor 3 (indices)", "past the last of 24 vertices"},
		"bad-length.glb":             {"GLB header", "2868 bytes", "1868"},
		"bad-nan-position.glb":       {"accessor 0 (POSITION)", "vertex", "NaN"},
		"bad-node-cycle.glb":         {"node 0", "loop"},
		"bad-required-extension.glb": {"XXX_not_known", "save the scan again without it"},
		"bad-truncated.glb":          {"chunk 1 (BIN)"},
		"bad-position-no-minmax.glb": nil,
	}
	paths, err := filepath.Glob(filepath.Join(ours, "bad-*.glb"))
	if err != nil || len(paths) != len(rows) {
		t.Fatalf("%d files for %d rows (%v)", len(paths), len(rows), err)
	}
	seen := map[string]string{}
	for _, path := range paths {
		name := filepath.Base(path)
		s, err := read(t, path)
		want := rows[name]
		if want == nil {
			if err != nil || len(s.Findings) != 1 || s.Findings[0].ID != "position_bounds_missing" {
				t.Errorf("%s: error %v", name, err)
			}
			continue
		}
		if err == nil {
			t.Errorf("%s was read", name)
			continue
		}
		text := err.Error()
		for _, w := range append(want, name+": ", "; ") {
			if !strings.Contains(text, w) {
				t.Errorf("%s: error %q does not say %q", name, text, w)
			}
		}
		if strings.Contains(text, "\n") {
			t.Errorf("%s: error %q has more than one line", name, text)
		}
		if other, ok := seen[text[len(name):]]; ok {
			t.Errorf("%s and %s give the same message", name, other)
		}
		seen[text[len(name):]] = name
	}
}

func TestDracoIsRefusedSayingHowToSaveAgain(t *testing.T) {
	_, err := read(t, filepath.Join(ours, "ball-draco.glb"))
	if err == nil || !strings.Contains(err.Error(), "KHR_draco_mesh_compression") ||
		!strings.Contains(err.Error(), "save the scan again with mesh compression switched off") {
		t.Errorf("error %v", err)
	}
}

func TestEveryTruncationIsRefused(t *testing.T) {
	for _, name := range []string{"index-u32.glb", "index-u8-datauri.gltf", "sparse-without-base.gltf"} {
		data, err := os.ReadFile(filepath.Join(ours, name))
		if err != nil {
			t.Fatal(err)
		}
		whole := strings.TrimRight(string(data), " \n\x00")
		for n := range len(whole) {
			if _, err := gltf.Read(name, data[:n:n], gltf.Options{}); err == nil {
				t.Errorf("%s cut to %d of %d bytes was read", name, n, len(data))
			}
		}
	}
}

func TestExtraBytesAreNotedAndIgnored(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(ours, "index-u32.glb"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := gltf.Read("extra.glb", append(data, "some more"...), gltf.Options{})
	if err != nil || s.Mesh.FaceCount() != 12 || len(s.Findings) != 1 || s.Findings[0].ID != "glb_extra_bytes" {
		t.Errorf("error %v", err)
	}
}

func TestBadHeaders(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(ours, "index-u32.glb"))
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]struct {
		change func(b []byte) []byte
		want   string
	}{
		"version 1":          {func(b []byte) []byte { b[4] = 1; return b }, "says version 1; save the scan as glTF 2.0"},
		"version 3":          {func(b []byte) []byte { b[4] = 3; return b }, "says version 3"},
		"length too small":   {func(b []byte) []byte { binary.LittleEndian.PutUint32(b[8:], 16); return b }, "too few"},
		"first chunk is BIN": {func(b []byte) []byte { copy(b[16:], "BIN\x00"); return b }, "chunk 0 is not JSON but BIN"},
		"chunk of 4 GB":      {func(b []byte) []byte { binary.LittleEndian.PutUint32(b[12:], math.MaxUint32); return b }, "chunk 0 (JSON)"},
		"no chunks":          {func(b []byte) []byte { binary.LittleEndian.PutUint32(b[8:], 12); return b[:12] }, "no JSON chunk"},
		"JSON is not JSON":   {func(b []byte) []byte { b[20] = '['; return b }, "the JSON"},
		"another magic":      {func(b []byte) []byte { b[0] = 'x'; return b }, "the JSON at byte 1"},
	}
	for name, row := range rows {
		_, err := gltf.Read("x.glb", row.change(append([]byte(nil), data...)), gltf.Options{})
		if err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: error %v does not say %q", name, err, row.want)
		}
	}
	for version, want := range map[string]string{"1.0": "glTF version", "3.0": "glTF version", "": "no asset.version"} {
		_, err := gltf.Read("x.gltf", fmt.Appendf(nil, `{"asset":{"version":%q}}`, version), gltf.Options{})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("version %q: error %v", version, err)
		}
	}
}

// triangle is a glTF of one triangle whose JSON can be changed.
func triangle(t *testing.T, change func(d map[string]any)) []byte {
	t.Helper()
	raw := make([]byte, 0, 36)
	for _, x := range []float32{0, 0, 0, 1, 0, 0, 0, 1, 0} {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(x))
	}
	var d map[string]any
	text := `{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[{"mesh":0}],
		"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],
		"accessors":[{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3","min":[0,0,0],"max":[1,1,0]}],
		"bufferViews":[{"buffer":0,"byteLength":36}],
		"buffers":[{"byteLength":36,"uri":"data:application/octet-stream;base64,` + base64.StdEncoding.EncodeToString(raw) + `"}]}`
	if err := json.Unmarshal([]byte(text), &d); err != nil {
		t.Fatal(err)
	}
	change(d)
	out, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// at walks into decoded JSON: at(d, "accessors", 0).
func at(v any, path ...any) map[string]any {
	for _, p := range path {
		switch p := p.(type) {
		case string:
			v = v.(map[string]any)[p]
		case int:
			v = v.([]any)[p]
		}
	}
	return v.(map[string]any)
}

func TestBrokenReferencesAreRefused(t *testing.T) {
	type object = map[string]any
	rows := map[string]struct {
		change func(d object)
		want   string
	}{
		"scene":            {func(d object) { d["scene"] = 7 }, "scene 7"},
		"node":             {func(d object) { at(d, "scenes", 0)["nodes"] = []any{5} }, "node 5"},
		"negative node":    {func(d object) { at(d, "scenes", 0)["nodes"] = []any{-1} }, "node -1"},
		"shared child":     {func(d object) { at(d, "scenes", 0)["nodes"] = []any{0, 0} }, "reached twice"},
		"mesh":             {func(d object) { at(d, "nodes", 0)["mesh"] = 3 }, "mesh 3"},
		"accessor":         {func(d object) { at(d, "meshes", 0, "primitives", 0, "attributes")["POSITION"] = 9 }, "accessor 9"},
		"view":             {func(d object) { at(d, "accessors", 0)["bufferView"] = 4 }, "buffer view 4"},
		"buffer":           {func(d object) { at(d, "bufferViews", 0)["buffer"] = 4 }, "buffer 4"},
		"view too long":    {func(d object) { at(d, "bufferViews", 0)["byteLength"] = 40 }, "asks for 40 bytes"},
		"view offset":      {func(d object) { at(d, "bufferViews", 0)["byteOffset"] = -8 }, "buffer view 0"},
		"huge offset":      {func(d object) { at(d, "accessors", 0)["byteOffset"] = int64(math.MaxInt64) }, "begins at byte"},
		"stride":           {func(d object) { at(d, "bufferViews", 0)["byteStride"] = -4 }, "stride of -4"},
		"short stride":     {func(d object) { at(d, "bufferViews", 0)["byteStride"] = 8 }, "stride of 8"},
		"buffer too long":  {func(d object) { at(d, "buffers", 0)["byteLength"] = 1 << 40 }, "should have 1099511627776 bytes and has 36"},
		"negative buffer":  {func(d object) { at(d, "buffers", 0)["byteLength"] = -1 }, "should have -1"},
		"component":        {func(d object) { at(d, "accessors", 0)["componentType"] = 5124 }, "component type 5124"},
		"type":             {func(d object) { at(d, "accessors", 0)["type"] = "VEC9" }, `"VEC9"`},
		"count":            {func(d object) { at(d, "accessors", 0)["count"] = -3 }, "count of -3"},
		"huge count":       {func(d object) { at(d, "accessors", 0)["count"] = int64(math.MaxInt64) }, "claims 9223372036854775807"},
		"zeros for ever":   {func(d object) { delete(at(d, "accessors", 0), "bufferView"); at(d, "accessors", 0)["count"] = 1 << 40 }, "has no bytes"},
		"scalar positions": {func(d object) { at(d, "accessors", 0)["type"] = "SCALAR" }, "does not hold points"},
		"mode":             {func(d object) { at(d, "meshes", 0, "primitives", 0)["mode"] = 9 }, "mode is 9"},
		"material":         {func(d object) { at(d, "meshes", 0, "primitives", 0)["material"] = 1 }, "material 1"},
		"float indices":    {func(d object) { at(d, "meshes", 0, "primitives", 0)["indices"] = 0 }, "does not hold whole numbers"},
		"transform": {func(d object) {
			at(d, "nodes", 0)["scale"] = []any{1e300, 1e300, 1e300}
			at(d, "nodes", 0)["translation"] = []any{1e308, 0, 0}
		}, "no place"},
		"base64":       {func(d object) { at(d, "buffers", 0)["uri"] = "data:application/octet-stream;base64,%%%" }, "base64"},
		"not base64":   {func(d object) { at(d, "buffers", 0)["uri"] = "data:,hello" }, "not base64"},
		"no resources": {func(d object) { at(d, "buffers", 0)["uri"] = "a.bin" }, `"a.bin"`},
		"no data":      {func(d object) { delete(at(d, "buffers", 0), "uri") }, "has no data"},
	}
	for name, row := range rows {
		t.Run(name, func(t *testing.T) {
			_, err := gltf.Read("x.gltf", triangle(t, row.change), gltf.Options{})
			if err == nil || !strings.Contains(err.Error(), row.want) || !strings.Contains(err.Error(), "; ") {
				t.Errorf("error %v does not say %q and a way out", err, row.want)
			}
		})
	}
	if s, err := gltf.Read("x.gltf", triangle(t, func(object) {}), gltf.Options{}); err != nil || s.Mesh.FaceCount() != 1 {
		t.Errorf("the unchanged triangle: %v", err)
	}
}

func TestFilesOutsideTheFolderAreNotAskedFor(t *testing.T) {
	for _, uri := range []string{
		"../a.bin", "b/../../a.bin", "%2e%2e/a.bin", "..%2fa.bin", `..\a.bin`, "/etc/passwd", `C:\a.bin`, "C:/a.bin",
		"http://example.org/a.bin", "//example.org/a.bin", `\\host\share\a.bin`, "file:///a.bin", ".", "",
	} {
		asked := false
		data := triangle(t, func(d map[string]any) { at(d, "buffers", 0)["uri"] = uri })
		_, err := gltf.Read("x.gltf", data, gltf.Options{Resource: func(string) ([]byte, error) {
			asked = true
			return make([]byte, 36), nil
		}})
		if asked || err == nil || uri != "" && !errors.Is(err, gltf.ErrUnsafePath) {
			t.Errorf("%q: asked %v, error %v", uri, asked, err)
		}
	}
	// Names that are strange but inside.
	for uri, want := range map[string]string{"a%20b.bin": "a b.bin", "c d.bin": "c d.bin", "./e/f.bin": "e/f.bin", `g\h.bin`: "g/h.bin", "50%.bin": "50%.bin", "..a.bin": "..a.bin"} {
		var asked string
		data := triangle(t, func(d map[string]any) { at(d, "buffers", 0)["uri"] = uri })
		if _, err := gltf.Read("x.gltf", data, gltf.Options{Resource: func(name string) ([]byte, error) {
			asked = name
			return make([]byte, 36), nil
		}}); err != nil || asked != want {
			t.Errorf("%q: asked for %q, error %v", uri, asked, err)
		}
	}
}

// allocated returns the bytes of memory that f asked for in all.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

func TestHostileFilesUseLittleMemory(t *testing.T) {
	// 50 MB for files of at most a few hundred kB; what is measured is
	// everything ever allocated, which bounds what is held at a time.
	big, err := os.ReadFile(filepath.Join(ours, "bad-huge-count.glb"))
	if err != nil {
		t.Fatal(err)
	}
	many := func(n int, one string) string { return strings.TrimSuffix(strings.Repeat(one+",", n), ",") }
	rows := map[string][]byte{
		"a count of 4e9": big,
		"deep arrays":    []byte(`{"asset":` + strings.Repeat("[", 100_000)),
		"deep objects":   []byte(strings.Repeat(`{"extras":`, 100_000)),
		"zeros for ever": triangle(t, func(d map[string]any) {
			delete(at(d, "accessors", 0), "bufferView")
			at(d, "accessors", 0)["count"] = 4_000_000_000
		}),
		"sparse over 4e9": triangle(t, func(d map[string]any) {
			delete(at(d, "accessors", 0), "bufferView")
			at(d, "accessors", 0)["count"] = 4_000_000_000
			at(d, "accessors", 0)["sparse"] = map[string]any{"count": 1, "indices": map[string]any{"bufferView": 0, "componentType": 5121},
				"values": map[string]any{"bufferView": 0}}
		}),
		"1000 primitives on 10 000 nodes": triangle(t, func(d map[string]any) {
			nodes, roots := []any{}, []any{}
			for i := range 10_000 {
				nodes, roots = append(nodes, map[string]any{"mesh": 0}), append(roots, i)
			}
			d["nodes"] = nodes
			at(d, "scenes", 0)["nodes"] = roots
			p := at(d, "meshes", 0, "primitives", 0)
			prims := []any{}
			for range 1000 {
				prims = append(prims, p)
			}
			at(d, "meshes", 0)["primitives"] = prims
		}),
		"a million of nothing": []byte(`{"asset":{"version":"2.0"},"nodes":[` + many(2_000_000, "null") + `]}`),
		"a line of 4e9 points": triangle(t, func(d map[string]any) {
			at(d, "meshes", 0, "primitives", 0)["mode"] = 3
			at(d, "accessors", 0)["count"] = 4_000_000_000
		}),
	}
	for name, data := range rows {
		var err error
		if used := allocated(func() { _, err = gltf.Read("x.gltf", data, gltf.Options{}) }); used > 50<<20+uint64(len(data)) {
			t.Errorf("%s: %d bytes of input took %d MB", name, len(data), used>>20)
		}
		if err == nil || len(err.Error()) > 400 {
			t.Errorf("%s: error %.400v", name, err)
		}
	}
}

func TestVerticesWithoutPlaceThatNobodyUses(t *testing.T) {
	// The NaN sample with the faces of that vertex taken away is a whole surface.
	b := gltf.NewBuilder("test")
	i, err := b.Mesh("m", []gltf.Geometry{{Mode: gltf.Triangles, Positions: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 9, 9, 9}, Indices: []uint32{0, 1, 2}, Material: -1}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	b.Scene("", b.Node(gltf.Node{Mesh: &i}))
	var out bytes.Buffer
	if err := b.WriteGLB(&out); err != nil {
		t.Fatal(err)
	}
	nine := binary.LittleEndian.AppendUint32(nil, math.Float32bits(9))
	data := bytes.ReplaceAll(out.Bytes(), nine, binary.LittleEndian.AppendUint32(nil, math.Float32bits(float32(math.NaN()))))
	s, err := gltf.Read("x.glb", data, gltf.Options{})
	if err != nil {
		t.Fatal(err)
	}
	// The bounds were stated with that vertex in its old place.
	if want := []string{"position_bounds_wrong", "vertices_without_place"}; mesh.Area(s.Mesh) != 0.5 || s.Mesh.Positions[9] != 0 || !slices.Equal(findings(s), want) {
		t.Errorf("%+v, findings %v", s.Mesh, findings(s))
	}
}

func TestDeepNodesAreRead(t *testing.T) {
	// 20 000 nodes one below the other, each 1 m along x.
	const depth = 20_000
	data := triangle(t, func(d map[string]any) {
		nodes := []any{}
		for i := range depth {
			n := map[string]any{"translation": []any{1, 0, 0}}
			if i < depth-1 {
				n["children"] = []any{i + 1}
			} else {
				n["mesh"] = 0
			}
			nodes = append(nodes, n)
		}
		d["nodes"] = nodes
	})
	s, err := gltf.Read("deep.gltf", data, gltf.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if x := mesh.Bounds(s.Mesh).Min.X; x != depth {
		t.Errorf("the triangle is at %g, want %d", x, depth)
	}
}

// A buffer file cut off anywhere is refused, one with more behind its end is not.
func TestEveryTruncationOfTheBufferFileIsRefused(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(ours, "index-u16-separate.gltf"))
	if err != nil {
		t.Fatal(err)
	}
	bin, err := os.ReadFile(filepath.Join(ours, "cube data.bin"))
	if err != nil {
		t.Fatal(err)
	}
	cut := func(n int) error {
		_, err := gltf.Read("x.gltf", text, gltf.Options{Resource: func(string) ([]byte, error) { return bin[:n:n], nil }})
		return err
	}
	for n := range bin {
		if err := cut(n); err == nil || !strings.Contains(err.Error(), "buffer 0 (cube data.bin)") || !strings.Contains(err.Error(), fmt.Sprint("has ", n)) {
			t.Errorf("cut to %d bytes: %v", n, err)
		}
	}
	bin = append(bin, "and more"...)
	if err := cut(len(bin)); err != nil {
		t.Errorf("with more behind its end: %v", err)
	}
}

// What a file says of itself is repeated in part only: a message stays a sentence.
// The first two rows are what fuzzing found.
func TestMessagesStayShort(t *testing.T) {
	long := strings.Repeat("\u0093", 10_000)
	for name, change := range map[string]func(d map[string]any){
		"version":   func(d map[string]any) { at(d, "asset")["version"] = long },
		"needs":     func(d map[string]any) { at(d, "asset")["minVersion"] = long },
		"extension": func(d map[string]any) { d["extensionsRequired"] = []any{long} },
		"type":      func(d map[string]any) { at(d, "accessors", 0)["type"] = long },
		"address":   func(d map[string]any) { at(d, "buffers", 0)["uri"] = "http://" + long },
		"file":      func(d map[string]any) { at(d, "buffers", 0)["uri"] = long },
		"number":    func(d map[string]any) { at(d, "accessors", 0)["count"] = json.Number(strings.Repeat("1", 10_000)) },
	} {
		_, err := gltf.Read("x.gltf", triangle(t, change), gltf.Options{Resource: fromFolder(ours)})
		if err == nil || len(err.Error()) > 1000 {
			t.Errorf("%s: error of %d bytes: %.200v", name, len(fmt.Sprint(err)), err)
		}
	}
}
