package gltf

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// Whether a reader may write over the file's bytes or not, the mesh is the same: on
// every sample, on a plain scan, where it does so, and on files made to use the
// bytes of the positions twice, where it must not.
func TestWritingOverTheFileChangesNothing(t *testing.T) {
	m := solid.Icosphere(3, 25)
	for v := range m.VertexCount() {
		p := m.Vertex(uint32(v))
		m.Normals = append(m.Normals, float32(p.X/25), float32(p.Y/25), float32(p.Z/25))
		m.Colours = append(m.Colours, uint8(v), uint8(3*v), uint8(7*v), 255)
	}
	var buf bytes.Buffer
	if err := Write(&buf, m, 0.001); err != nil {
		t.Fatal(err)
	}
	plain := buf.Bytes()
	if calls := holdOwn(t, "plain", plain); calls != 1 {
		t.Errorf("of a plain scan %d arrays are read in place, want the positions", calls)
	}
	eight := edited(t, plain, func(doc map[string]any) { // the writer has colours of 16 bits
		acc := doc["accessors"].([]any)[int(attributes(doc)["COLOR_0"].(float64))].(map[string]any)
		acc["componentType"] = 5121.0
		delete(doc["bufferViews"].([]any)[int(acc["bufferView"].(float64))].(map[string]any), "byteStride")
	})
	if calls := holdOwn(t, "colours of 8 bits", eight); calls != 2 {
		t.Errorf("%d arrays are read in place, want positions and colours", calls)
	}
	for name, change := range map[string]func(doc map[string]any){
		"normals that are the positions": func(doc map[string]any) {
			acc, at := doc["accessors"].([]any), attributes(doc)
			acc[int(at["NORMAL"].(float64))].(map[string]any)["bufferView"] = acc[int(at["POSITION"].(float64))].(map[string]any)["bufferView"]
		},
		"the same accessor twice": func(doc map[string]any) {
			at := attributes(doc)
			at["NORMAL"] = at["POSITION"]
		},
		"views that overlap": func(doc map[string]any) {
			acc, views, at := doc["accessors"].([]any), doc["bufferViews"].([]any), attributes(doc)
			of := func(name string) map[string]any {
				return views[int(acc[int(at[name].(float64))].(map[string]any)["bufferView"].(float64))].(map[string]any)
			}
			offset, _ := of("POSITION")["byteOffset"].(float64)
			of("NORMAL")["byteOffset"] = offset
		},
		"placed twice": func(doc map[string]any) {
			nodes := doc["nodes"].([]any)
			doc["nodes"] = append(nodes, map[string]any{"mesh": 0.0, "translation": []any{0.1, 0.0, 0.0}})
			scene := doc["scenes"].([]any)[0].(map[string]any)
			scene["nodes"] = append(scene["nodes"].([]any), float64(len(nodes)))
		},
	} {
		if calls := holdOwn(t, name, edited(t, plain, change)); calls > 0 {
			t.Errorf("%s: it is written over", name)
		}
	}
	samples, err := filepath.Glob("../../testdata/gltf/*.glb")
	if err != nil || len(samples) == 0 {
		t.Fatal("no samples", err)
	}
	for _, name := range samples {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		holdOwn(t, filepath.Base(name), data)
	}
}

func attributes(doc map[string]any) map[string]any {
	mesh := doc["meshes"].([]any)[0].(map[string]any)
	return mesh["primitives"].([]any)[0].(map[string]any)["attributes"].(map[string]any)
}

// holdOwn compares the two ways of reading a file and returns how often it was
// written over.
func holdOwn(t *testing.T, name string, data []byte) (calls int) {
	t.Helper()
	read := func(opt Options) (*mesh.Mesh, error) {
		opt.Factor = 1000
		s, err := Read(name, bytes.Clone(data), opt)
		if err != nil {
			return nil, err
		}
		return s.Mesh, nil
	}
	want, err1 := read(Options{})
	got, err2 := read(Options{Own: func() { calls++ }})
	if (err1 == nil) != (err2 == nil) || !reflect.DeepEqual(got, want) {
		t.Errorf("%s: written over, the mesh is another (%v, %v)", name, err1, err2)
	}
	return calls
}

// edited changes the JSON of a GLB.
func edited(t *testing.T, glb []byte, change func(doc map[string]any)) []byte {
	t.Helper()
	length := binary.LittleEndian.Uint32(glb[12:])
	var doc map[string]any
	if err := json.Unmarshal(glb[20:20+length], &doc); err != nil {
		t.Fatal(err)
	}
	change(doc)
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	out := append([]byte{}, glb[:20]...)
	out = append(append(out, text...), glb[20+length:]...)
	binary.LittleEndian.PutUint32(out[8:], uint32(len(out)))
	binary.LittleEndian.PutUint32(out[12:], uint32(len(text)))
	return out
}
