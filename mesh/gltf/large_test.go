package gltf_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
)

// far is a glTF of one triangle whose corners lie in a file of size bytes at
// byte from, and whose indices lie at the file's beginning.
func far(t *testing.T, size, from int64) []byte {
	return triangle(t, func(d map[string]any) {
		d["buffers"] = []any{map[string]any{"byteLength": size, "uri": "far.bin"}}
		d["bufferViews"] = []any{
			map[string]any{"buffer": 0, "byteOffset": from, "byteLength": 36},
			map[string]any{"buffer": 0, "byteOffset": 4, "byteLength": 6},
		}
		d["accessors"] = append(d["accessors"].([]any), map[string]any{"bufferView": 1, "componentType": 5123, "count": 3, "type": "SCALAR"})
		at(d, "meshes", 0, "primitives", 0)["indices"] = 1
	})
}

// A buffer of more than 4 GiB beside the .gltf is read in parts: only what is
// used is asked for, at offsets that need more than 32 bits.
func TestBuffersBeyond4GiBAreReadInParts(t *testing.T) {
	const size, where = 5<<30 + 4, 4<<30 + 120
	corners := make([]byte, 0, 36)
	for _, x := range []float32{0, 0, 0, 2, 0, 0, 0, 1, 0} {
		corners = binary.LittleEndian.AppendUint32(corners, math.Float32bits(x))
	}
	var asked []gltf.Run
	parts := func(name string, runs []gltf.Run) ([][]byte, int64, error) {
		if name != "far.bin" {
			return nil, 0, fmt.Errorf("no file %q", name)
		}
		asked = runs
		var out [][]byte
		for _, r := range runs {
			data := make([]byte, r.To-r.From)
			if r.From <= 4 {
				copy(data[4-r.From:], []byte{0, 0, 1, 0, 2, 0})
			} else {
				copy(data[where-r.From:], corners)
			}
			out = append(out, data)
		}
		return out, size, nil
	}
	s, err := gltf.Read("far.gltf", far(t, size, where), gltf.Options{Parts: parts})
	if err != nil {
		t.Fatal(err)
	}
	if mesh.Area(s.Mesh) != 1 {
		t.Errorf("area %g, want 1", mesh.Area(s.Mesh))
	}
	if want := []gltf.Run{{From: 0, To: 10}, {From: where, To: where + 36}}; len(asked) != 2 || asked[0] != want[0] || asked[1] != want[1] {
		t.Errorf("asked for %v, want %v", asked, want)
	}
	// A file that ends before the buffer does.
	_, err = gltf.Read("far.gltf", far(t, size+1, where), gltf.Options{Parts: parts})
	if err == nil || !strings.Contains(err.Error(), "should have 5368709125 bytes and has 5368709124") {
		t.Errorf("error %v", err)
	}
	// A view that ends after the buffer.
	_, err = gltf.Read("far.gltf", far(t, size, size-8), gltf.Options{Parts: parts})
	if err == nil || !strings.Contains(err.Error(), "asks for 36 bytes from byte 5368709116") {
		t.Errorf("error %v", err)
	}
}

// One file that stands for many buffers, each holding all of it, is refused.
func TestAFileNamedAsManyBuffersIsRefused(t *testing.T) {
	const size = 4 << 20
	data := triangle(t, func(d map[string]any) {
		var buffers, views, accessors, primitives []any
		for i := range 100 {
			buffers = append(buffers, map[string]any{"byteLength": size, "uri": "same.bin"})
			views = append(views, map[string]any{"buffer": i, "byteLength": size})
			accessors = append(accessors, map[string]any{"bufferView": i, "componentType": 5126, "count": 3, "type": "VEC3"})
			primitives = append(primitives, map[string]any{"attributes": map[string]any{"POSITION": i}})
		}
		d["buffers"], d["bufferViews"], d["accessors"] = buffers, views, accessors
		at(d, "meshes", 0)["primitives"] = primitives
	})
	var err error
	used := allocated(func() {
		_, err = gltf.Read("same.gltf", data, gltf.Options{Parts: func(_ string, runs []gltf.Run) ([][]byte, int64, error) {
			out := make([][]byte, len(runs))
			for i, r := range runs {
				out[i] = make([]byte, r.To-r.From)
			}
			return out, size, nil
		}})
	})
	if err == nil || !strings.Contains(err.Error(), "several buffers") || used > 50<<20 {
		t.Errorf("%d MB, error %v", used>>20, err)
	}
	// Read whole, the file is asked for once.
	asked := 0
	if _, err = gltf.Read("same.gltf", data, gltf.Options{Resource: func(string) ([]byte, error) {
		asked++
		return make([]byte, size), nil
	}}); err != nil || asked != 1 {
		t.Errorf("asked %d times, error %v", asked, err)
	}
}
