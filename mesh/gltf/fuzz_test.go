package gltf_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
)

// FuzzRead reads whatever it is given. What can be read must be whole (indices
// within range, numbers finite), and written again it must read back as the
// same surface.
func FuzzRead(f *testing.F) {
	paths, err := filepath.Glob(filepath.Join(ours, "*.gl*"))
	if err != nil || len(paths) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		if len(data) < 16<<10 {
			f.Add(data)
		}
	}
	var small bytes.Buffer
	if err := annotated(f).WriteGLB(&small); err != nil {
		f.Fatal(err)
	}
	f.Add(small.Bytes())
	resource := fromFolder(ours)
	f.Fuzz(func(t *testing.T, data []byte) { readAndWrite(t, data, resource) })
}

// FuzzDocument changes the JSON and the binary data of a GLB, whose container is
// then made to fit, so that more of what is tried is read to the end.
func FuzzDocument(f *testing.F) {
	paths, err := filepath.Glob(filepath.Join(ours, "*.glb"))
	if err != nil || len(paths) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		n := int(binary.LittleEndian.Uint32(data[12:]))
		if len(data) < 16<<10 && 28+n <= len(data) {
			f.Add(data[20:20+n], data[28+n:])
		}
	}
	var small bytes.Buffer
	if err := annotated(f).WriteGLB(&small); err != nil {
		f.Fatal(err)
	}
	n := int(binary.LittleEndian.Uint32(small.Bytes()[12:]))
	f.Add(small.Bytes()[20:20+n], small.Bytes()[28+n:])
	f.Fuzz(func(t *testing.T, text, bin []byte) {
		var data []byte
		for _, x := range []int{0x46546C67, 2, 28 + len(text) + len(bin), len(text), 0x4E4F534A} {
			data = binary.LittleEndian.AppendUint32(data, uint32(x))
		}
		data = append(data, text...)
		data = binary.LittleEndian.AppendUint32(data, uint32(len(bin)))
		data = append(append(data, "BIN\x00"...), bin...)
		readAndWrite(t, data, nil)
	})
}

// readAndWrite is what both ways of fuzzing ask for.
func readAndWrite(t *testing.T, data []byte, resource func(string) ([]byte, error)) {
	s, err := gltf.Read("fuzz", data, gltf.Options{Factor: 1000, Resource: func(name string) ([]byte, error) {
		if resource == nil || name != "cube data.bin" && name != "nodes-transforms.bin" {
			return nil, os.ErrNotExist
		}
		return resource(name)
	}})
	if err != nil {
		if len(err.Error()) > 4096 {
			t.Errorf("an error of %d bytes", len(err.Error()))
		}
		return
	}
	whole(t, s.Mesh)
	for n := range s.FeatureIDs {
		s.FaceFeatures(n)
	}
	for i := range s.Aside {
		whole(t, s.Aside[i].Mesh)
	}
	if s.Mesh.FaceCount() == 0 {
		return
	}
	var out bytes.Buffer
	if err := gltf.Write(&out, s.Mesh, 1); err != nil {
		t.Fatalf("what was read cannot be written: %v", err)
	}
	again, err := gltf.Read("again", out.Bytes(), gltf.Options{})
	if err != nil {
		t.Fatalf("what was written cannot be read: %v", err)
	}
	if again.Mesh.FaceCount() != s.Mesh.FaceCount() || !slices.Equal(again.Mesh.Colours, s.Mesh.Colours) {
		t.Fatal("what was written reads back differently")
	}
	if s.Mesh.MaterialOf == nil && !slices.Equal(again.Mesh.Triangles, s.Mesh.Triangles) {
		t.Fatal("the triangles read back differently")
	}
}

// whole fails the test where a mesh would make others fail.
func whole(t *testing.T, m *mesh.Mesh) {
	t.Helper()
	n := uint32(m.VertexCount())
	for i, v := range m.Triangles {
		if v >= n {
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
	if len(m.Positions) != 3*int(n) || m.Normals != nil && len(m.Normals) != 3*int(n) ||
		m.UVs != nil && len(m.UVs) != 2*int(n) || m.Colours != nil && len(m.Colours) != 4*int(n) ||
		m.MaterialOf != nil && len(m.MaterialOf) != m.FaceCount() || len(m.Triangles)%3 != 0 {
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
