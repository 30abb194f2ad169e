package gltf

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/url"

	"rigatino/mesh"
)

// ErrTooLarge is returned for a model that does not fit into one GLB, whose
// lengths are 32 bits wide.
var ErrTooLarge = errors.New("more than a GLB can hold; write it as .gltf with its .bin")

// marshal writes JSON without escapes for HTML; nil stays nil.
func marshal(v any) (json.RawMessage, error) {
	if v == nil {
		return nil, nil
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, fmt.Errorf("part of the glTF could not be written as JSON: %w", err)
	}
	return bytes.TrimRight(out.Bytes(), "\n"), nil
}

// finish makes the document ready for writing. The checks come first.
func (b *Builder) finish(uri string) (json.RawMessage, error) {
	for _, check := range b.checks {
		if err := check(); err != nil {
			return nil, err
		}
	}
	doc := b.doc
	if b.length > 0 {
		doc.Buffers = []Buffer{{URI: uri, ByteLength: b.length}}
	}
	return marshal(&doc)
}

// WriteGLB writes everything as one GLB: the BIN chunk begins at a multiple of
// eight bytes. A model of 4 GiB or more is refused with ErrTooLarge before
// anything is written.
func (b *Builder) WriteGLB(w io.Writer) error {
	text, err := b.finish("")
	if err != nil {
		return err
	}
	// 12 + 8 + JSON + 8 bytes stand before the binary data.
	for (len(text)+headerSize+2*chunkSize)%8 != 0 {
		text = append(text, ' ')
	}
	total := int64(headerSize) + chunkSize + int64(len(text))
	if b.length > 0 {
		total += chunkSize + int64(b.length)
	}
	if total > math.MaxUint32-8 {
		return fmt.Errorf("the model has %d bytes, %w", total, ErrTooLarge)
	}
	head := binary.LittleEndian.AppendUint32(nil, glbMagic)
	for _, x := range []uint32{glbVersion, uint32(total), uint32(len(text)), chunkJSON} {
		head = binary.LittleEndian.AppendUint32(head, x)
	}
	parts := [][]byte{head, text}
	if b.length > 0 {
		chunk := binary.LittleEndian.AppendUint32(nil, uint32(b.length))
		parts = append(parts, binary.LittleEndian.AppendUint32(chunk, chunkBIN))
		parts = append(parts, b.bin...)
	}
	return writeAll(w, parts)
}

// WriteGLTF writes the JSON to w and the binary data to bin, which stands
// beside it under the given name.
func (b *Builder) WriteGLTF(w, bin io.Writer, name string) error {
	text, err := b.finish(url.PathEscape(name))
	if err != nil {
		return err
	}
	if err := writeAll(bin, b.bin); err != nil {
		return err
	}
	return writeAll(w, [][]byte{text})
}

func writeAll(w io.Writer, parts [][]byte) error {
	for _, p := range parts {
		if _, err := w.Write(p); err != nil {
			return fmt.Errorf("the glTF could not be written: %w", err)
		}
	}
	return nil
}

// maxRuns is the most primitives that Write makes to keep the order of faces.
const maxRuns = 1000

// Write writes a mesh as a plain GLB: surface, normals, colours, texture
// coordinates, materials and images as far as it has them. metresPerUnit is the
// length of the mesh's unit: 0.001 for millimetres. The mesh's origin becomes
// the place of its node.
//
// Faces keep their order where their materials change less than a thousand
// times along it; else those of one material stand together.
func Write(w io.Writer, m *mesh.Mesh, metresPerUnit float64) error {
	b := NewBuilder("Rigatino")
	materials, err := b.materialsOf(m)
	if err != nil {
		return err
	}
	positions := m.Positions
	if metresPerUnit != 1 {
		positions = make([]float32, len(m.Positions))
		for i, x := range m.Positions {
			positions[i] = float32(float64(x) * metresPerUnit)
		}
	}
	whole := Geometry{Mode: Triangles, Positions: positions, Normals: m.Normals, Colours: m.Colours,
		UVs: [2][]float32{m.UVs}, Indices: m.Triangles, Material: -1}
	if err := whole.check(); err != nil {
		return fmt.Errorf("the mesh cannot be written: %w", err)
	}
	// All primitives share the vertices; each has its run of the indices.
	parts := []Geometry{whole}
	attributes, err := b.ranges(parts)
	if err != nil {
		return err
	}
	var out Mesh
	for _, run := range runsOf(m) {
		part := Geometry{Positions: positions, Indices: run.corners}
		p := Primitive{Attributes: attributes[0], Indices: b.indices([]Geometry{part})[0]}
		if len(materials) > 0 {
			p.Material = new(materials[run.material])
		}
		out.Primitives = append(out.Primitives, p)
	}
	b.doc.Meshes = []Mesh{out}
	n := Node{Mesh: new(0)}
	if o := m.Origin; o.X != 0 || o.Y != 0 || o.Z != 0 {
		n.Translation = &[3]float64{o.X * metresPerUnit, o.Y * metresPerUnit, o.Z * metresPerUnit}
	}
	b.Scene("", b.Node(n))
	return b.WriteGLB(w)
}

// materialsOf writes the materials and images of a mesh and returns the index
// of each material.
func (b *Builder) materialsOf(m *mesh.Mesh) ([]int, error) {
	textures := make([]int, len(m.Images))
	for i := range m.Images {
		textures[i] = -1
		if m.Images[i].Data == nil {
			continue // missing when it was read
		}
		image, err := b.Image(m.Images[i].Name, m.Images[i].Data)
		if err != nil {
			return nil, err
		}
		textures[i] = b.Texture(image)
	}
	var out []int
	for _, x := range m.Materials {
		pbr := &PBRMetallicRoughness{MetallicFactor: new(0.0), RoughnessFactor: new(1.0)}
		if x.BaseColour != [4]float32{1, 1, 1, 1} {
			pbr.BaseColorFactor = new([4]float64)
			for k, c := range x.BaseColour {
				pbr.BaseColorFactor[k] = float64(c)
			}
		}
		if x.Image >= 0 && x.Image < len(textures) && textures[x.Image] >= 0 && m.UVs != nil {
			pbr.BaseColorTexture = &TextureInfo{Index: textures[x.Image]}
		}
		mat := Material{Name: x.Name, PBR: pbr, DoubleSided: x.DoubleSided}
		if x.Unlit {
			mat.Extensions = Unlit()
		}
		out = append(out, b.Material(mat))
	}
	return out, nil
}

// run is a list of faces of one material.
type run struct {
	material uint16
	corners  []uint32
}

// runsOf cuts the faces where the material changes.
func runsOf(m *mesh.Mesh) []run {
	if m.MaterialOf == nil {
		return []run{{0, m.Triangles}}
	}
	var runs []run
	from := 0
	for f := 1; f <= len(m.MaterialOf); f++ {
		if f == len(m.MaterialOf) || m.MaterialOf[f] != m.MaterialOf[from] {
			runs = append(runs, run{m.MaterialOf[from], m.Triangles[3*from : 3*f]})
			from = f
		}
	}
	if len(runs) <= maxRuns {
		return runs
	}
	var grouped []run
	place := map[uint16]int{}
	for _, r := range runs {
		i, ok := place[r.material]
		if !ok {
			i = len(grouped)
			place[r.material] = i
			grouped = append(grouped, run{material: r.material})
		}
		grouped[i].corners = append(grouped[i].corners, r.corners...)
	}
	return grouped
}
