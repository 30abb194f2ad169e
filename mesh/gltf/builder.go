package gltf

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"

	"rigatino/mesh"
)

// Builder puts a glTF document and its binary data together. Every buffer view
// begins at a multiple of eight bytes, as EXT_structural_metadata asks. Slices
// given to it are kept until it is written and must not change.
//
// What the specification forbids and the reference validator does not see is
// checked when the file is written: names of variants, indices of materials,
// variants and tables, feature ids beyond their table.
type Builder struct {
	doc    Document
	bin    [][]byte
	length int // of bin, a multiple of 8
	checks []func() error

	variants []string
	tables   []Table
}

// NewBuilder begins a document. generator says which program writes it.
func NewBuilder(generator string) *Builder {
	return &Builder{doc: Document{Asset: Asset{Version: "2.0", Generator: generator}}}
}

// Document is the JSON as it stands, for what has no method of its own.
func (b *Builder) Document() *Document { return &b.doc }

// Uses declares an extension.
func (b *Builder) Uses(extension string) {
	if !slices.Contains(b.doc.ExtensionsUsed, extension) {
		b.doc.ExtensionsUsed = append(b.doc.ExtensionsUsed, extension)
		slices.Sort(b.doc.ExtensionsUsed)
	}
}

// View adds bytes as a buffer view of its own, of at least one byte.
func (b *Builder) View(data []byte) int { return b.view(BufferView{}, data) }

// view adds the parts end to end as one buffer view.
func (b *Builder) view(v BufferView, parts ...[]byte) int {
	v.ByteOffset = b.length
	for _, p := range parts {
		v.ByteLength += len(p)
		b.bin = append(b.bin, p)
	}
	if v.ByteLength == 0 {
		v.ByteLength = 1 // specification 5.11.3
		b.bin = append(b.bin, []byte{0})
	}
	b.length += v.ByteLength
	if pad := -b.length & 7; pad > 0 {
		b.bin = append(b.bin, make([]byte, pad))
		b.length += pad
	}
	b.doc.BufferViews = append(b.doc.BufferViews, v)
	return len(b.doc.BufferViews) - 1
}

// Image adds a coded picture, unchanged. Its kind is told by its first bytes:
// PNG or JPEG, other kinds are refused.
func (b *Builder) Image(name string, data []byte) (int, error) {
	kind := mesh.ImageType(data)
	if kind == "" {
		return 0, fmt.Errorf("image %q is neither PNG nor JPEG; convert it first", name)
	}
	b.doc.Images = append(b.doc.Images, Image{Name: name, MimeType: kind, BufferView: new(b.View(data))})
	return len(b.doc.Images) - 1, nil
}

// repeating is the sampler of textures: smooth, with mip levels, repeated.
var repeating = Sampler{MagFilter: 9729, MinFilter: 9987, WrapS: 10497, WrapT: 10497}

// Texture adds a texture that repeats the image.
func (b *Builder) Texture(image int) int {
	if len(b.doc.Samplers) == 0 {
		b.doc.Samplers = []Sampler{repeating}
	}
	b.doc.Textures = append(b.doc.Textures, Texture{Sampler: new(0), Source: new(image)})
	return len(b.doc.Textures) - 1
}

// Material adds a material.
func (b *Builder) Material(m Material) int {
	if _, ok := m.Extensions[ExtUnlit]; ok {
		b.Uses(ExtUnlit)
	}
	b.doc.Materials = append(b.doc.Materials, m)
	return len(b.doc.Materials) - 1
}

// Unlit is the extension of a material that is shown without lighting.
func Unlit() Extensions { return Extensions{ExtUnlit: json.RawMessage("{}")} }

// Node adds a node.
func (b *Builder) Node(n Node) int {
	b.doc.Nodes = append(b.doc.Nodes, n)
	return len(b.doc.Nodes) - 1
}

// Scene adds a scene with the given root nodes; the first is the default.
func (b *Builder) Scene(name string, roots ...int) {
	b.doc.Scenes = append(b.doc.Scenes, NodeList{Name: name, Nodes: roots})
	b.doc.Scene = new(0)
}

// Variants names the material variants, once.
func (b *Builder) Variants(names ...string) error {
	root := variantsRoot{}
	for i, name := range names {
		if name == "" || slices.Contains(names[:i], name) {
			return fmt.Errorf("variant name %q is empty or stands twice", name)
		}
		root.Variants = append(root.Variants, variantName{name})
	}
	b.variants = names
	return b.rootExtension(ExtVariants, root)
}

// XMP adds a packet of metadata (KHR_xmp_json_ld) and puts it on the asset.
func (b *Builder) XMP(packet any) error {
	if err := b.rootExtension(ExtXMP, map[string]any{"packets": []any{packet}}); err != nil {
		return err
	}
	b.doc.Asset.Extensions = Extensions{ExtXMP: json.RawMessage(`{"packet":0}`)}
	return nil
}

// Extras sets the extras of the root.
func (b *Builder) Extras(v any) (err error) {
	b.doc.Extras, err = marshal(v)
	return err
}

// rootExtension sets an extension of the root.
func (b *Builder) rootExtension(name string, v any) error {
	raw, err := marshal(v)
	if err != nil {
		return err
	}
	if b.doc.Extensions == nil {
		b.doc.Extensions = Extensions{}
	}
	b.doc.Extensions[name] = raw
	b.Uses(name)
	return nil
}

// Geometry is one primitive to be written. Slices that are nil are left out.
type Geometry struct {
	Mode      Mode         // Triangles or one of the line modes or Points; take care: its zero is Points
	Positions []float32    // 3 per vertex
	Normals   []float32    // 3 per vertex; brought to unit length
	Colours   []uint8      // RGBA per vertex, sRGB; written linear in 16 bits
	UVs       [2][]float32 // 2 per vertex, TEXCOORD_0 and TEXCOORD_1
	IDs       [][]uint16   // _FEATURE_ID_n, one per vertex
	Indices   []uint32     // nil joins the vertices as they come
	Material  int          // -1 for none
	Mappings  []Mapping
	Features  []FeatureSet
	Extras    any
}

// Mesh adds a mesh of the given primitives. Vertices are stored in ranges: one
// buffer view per attribute, in it the primitives one after the other, each
// with an accessor of its own and indices that count from its first vertex.
func (b *Builder) Mesh(name string, parts []Geometry, extras any) (int, error) {
	m := Mesh{Name: name}
	for i := range parts {
		if err := parts[i].check(); err != nil {
			return 0, fmt.Errorf("mesh %q primitive %d: %w", name, i, err)
		}
	}
	attributes, err := b.ranges(parts)
	if err != nil {
		return 0, fmt.Errorf("mesh %q: %w", name, err)
	}
	indices := b.indices(parts)
	for i := range parts {
		g := &parts[i]
		p := Primitive{Attributes: attributes[i], Indices: indices[i]}
		if g.Mode != Triangles {
			p.Mode = new(g.Mode)
		}
		if g.Material >= 0 {
			p.Material = new(g.Material)
		}
		if err := b.annotate(&p, g); err != nil {
			return 0, fmt.Errorf("mesh %q primitive %d: %w", name, i, err)
		}
		m.Primitives = append(m.Primitives, p)
	}
	if m.Extras, err = marshal(extras); err != nil {
		return 0, err
	}
	b.doc.Meshes = append(b.doc.Meshes, m)
	return len(b.doc.Meshes) - 1, nil
}

// check refuses what glTF cannot hold.
func (g *Geometry) check() error {
	n := len(g.Positions) / 3
	switch {
	case n == 0 || len(g.Positions) != 3*n:
		return fmt.Errorf("%d coordinates are no vertices", len(g.Positions))
	case g.Normals != nil && len(g.Normals) != 3*n,
		g.Colours != nil && len(g.Colours) != 4*n,
		g.UVs[0] != nil && len(g.UVs[0]) != 2*n,
		g.UVs[1] != nil && len(g.UVs[1]) != 2*n:
		return fmt.Errorf("an attribute has not one element for each of %d vertices", n)
	case g.UVs[0] == nil && g.UVs[1] != nil:
		return errors.New("the second texture coordinates stand without the first")
	case g.Mode < Points || g.Mode > TriangleFan:
		return fmt.Errorf("mode %d does not exist", g.Mode)
	case g.Indices != nil && len(g.Indices) == 0:
		return errors.New("it has no faces")
	case g.Mode == Triangles && g.Indices != nil && len(g.Indices)%3 != 0,
		g.Mode == Triangles && g.Indices == nil && n%3 != 0:
		return errors.New("its corners are not a multiple of 3")
	}
	for _, ids := range g.IDs {
		if len(ids) != n {
			return fmt.Errorf("a set of feature ids has not one for each of %d vertices", n)
		}
	}
	for i, v := range g.Indices {
		if int64(v) >= int64(n) {
			return fmt.Errorf("index %d is %d and there are %d vertices", i, v, n)
		}
	}
	for _, f := range [][]float32{g.Positions, g.Normals, g.UVs[0], g.UVs[1]} {
		if i := firstBad(f, 0, len(f)); i >= 0 {
			return fmt.Errorf("number %d of an attribute is %g", i, f[i])
		}
	}
	return nil
}

// ranges writes the vertex attributes of all parts.
func (b *Builder) ranges(parts []Geometry) ([]map[string]int, error) {
	out := make([]map[string]int, len(parts))
	for i := range out {
		out[i] = map[string]int{}
	}
	// attribute writes one attribute of the parts that have it.
	attribute := func(name, kind string, component ComponentType, stride int, normalized bool, bytes func(g *Geometry) []byte) {
		v := BufferView{ByteStride: stride, Target: ArrayBuffer}
		var data [][]byte
		at := 0
		view := len(b.doc.BufferViews)
		for i := range parts {
			g := &parts[i]
			raw := bytes(g)
			if raw == nil {
				continue
			}
			a := Accessor{BufferView: new(view), ByteOffset: at, ComponentType: component, Normalized: normalized,
				Count: len(g.Positions) / 3, Type: kind}
			if name == "POSITION" {
				a.Min, a.Max = bounds(g.Positions)
			}
			out[i][name] = len(b.doc.Accessors)
			b.doc.Accessors = append(b.doc.Accessors, a)
			data = append(data, raw)
			at += len(raw)
		}
		if data != nil {
			b.view(v, data...)
		}
	}
	attribute("POSITION", "VEC3", Float32, 12, false, func(g *Geometry) []byte { return bytesOfFloat32s(g.Positions) })
	attribute("NORMAL", "VEC3", Float32, 12, false, func(g *Geometry) []byte { return bytesOfFloat32s(unit(g.Normals)) })
	attribute("COLOR_0", "VEC4", Uint16, 8, true, func(g *Geometry) []byte { return linearOf(g.Colours) })
	attribute("TEXCOORD_0", "VEC2", Float32, 8, false, func(g *Geometry) []byte { return bytesOfFloat32s(g.UVs[0]) })
	attribute("TEXCOORD_1", "VEC2", Float32, 8, false, func(g *Geometry) []byte { return bytesOfFloat32s(g.UVs[1]) })
	sets := 0
	for i := range parts {
		sets = max(sets, len(parts[i].IDs))
	}
	if sets > maxFeatureSets {
		return nil, fmt.Errorf("it has %d sets of feature ids, more than %d", sets, maxFeatureSets)
	}
	for n := range sets {
		attribute(fmt.Sprintf("_FEATURE_ID_%d", n), "SCALAR", Uint16, 4, false, func(g *Geometry) []byte {
			if n >= len(g.IDs) {
				return nil
			}
			// Elements of vertex attributes begin at multiples of four bytes.
			out := make([]byte, 4*len(g.IDs[n]))
			for i, id := range g.IDs[n] {
				binary.LittleEndian.PutUint16(out[4*i:], id)
			}
			return out
		})
	}
	return out, nil
}

// indices writes the indices of all parts: 16 bits where all vertices can be
// named without the type's largest number, which is forbidden, else 32.
func (b *Builder) indices(parts []Geometry) []*int {
	out := make([]*int, len(parts))
	for _, component := range []ComponentType{Uint16, Uint32} {
		var data [][]byte
		at, view := 0, len(b.doc.BufferViews)
		for i := range parts {
			g := &parts[i]
			if narrow := len(g.Positions)/3 <= math.MaxUint16; g.Indices == nil || narrow != (component == Uint16) {
				continue
			}
			raw := bytesOfUint32s(g.Indices)
			if component == Uint16 {
				raw = make([]byte, 0, 2*len(g.Indices))
				for _, v := range g.Indices {
					raw = binary.LittleEndian.AppendUint16(raw, uint16(v))
				}
			}
			out[i] = new(len(b.doc.Accessors))
			b.doc.Accessors = append(b.doc.Accessors, Accessor{BufferView: new(view), ByteOffset: at,
				ComponentType: component, Count: len(g.Indices), Type: "SCALAR"})
			data = append(data, raw)
			at += len(raw)
		}
		if data != nil {
			b.view(BufferView{Target: ElementArrayBuffer}, data...)
		}
	}
	return out
}

// annotate writes extensions and extras of a primitive, and keeps what can be
// checked only at the end.
func (b *Builder) annotate(p *Primitive, g *Geometry) (err error) {
	if p.Extras, err = marshal(g.Extras); err != nil {
		return err
	}
	set := func(name string, v any) error {
		raw, err := marshal(v)
		if err != nil {
			return err
		}
		if p.Extensions == nil {
			p.Extensions = Extensions{}
		}
		p.Extensions[name] = raw
		b.Uses(name)
		return nil
	}
	if g.Mappings != nil {
		if err := set(ExtVariants, variantsOfPrimitive{g.Mappings}); err != nil {
			return err
		}
	}
	if g.Features != nil {
		if err := set(ExtFeatures, featuresOfPrimitive{g.Features}); err != nil {
			return err
		}
	}
	highest := make([]uint16, len(g.IDs))
	for n, ids := range g.IDs {
		highest[n] = slices.Max(ids)
	}
	material, mappings, features := g.Material, g.Mappings, g.Features
	b.checks = append(b.checks, func() error { return b.checkPrimitive(material, mappings, features, highest) })
	return nil
}

// checkPrimitive checks what a primitive refers to.
func (b *Builder) checkPrimitive(material int, mappings []Mapping, features []FeatureSet, highest []uint16) error {
	materials := len(b.doc.Materials)
	if material >= materials {
		return fmt.Errorf("a primitive has material %d of %d", material, materials)
	}
	seen := map[int]bool{}
	for _, m := range mappings {
		if m.Material < 0 || m.Material >= materials {
			return fmt.Errorf("a variant has material %d of %d", m.Material, materials)
		}
		for _, v := range m.Variants {
			if v < 0 || v >= len(b.variants) || seen[v] {
				return fmt.Errorf("a primitive maps variant %d of %d, or maps it twice", v, len(b.variants))
			}
			seen[v] = true
		}
	}
	for _, f := range features {
		if f.Attribute == nil || *f.Attribute < 0 || *f.Attribute >= len(highest) {
			return errors.New("a feature set has no ids")
		}
		if f.PropertyTable == nil {
			continue
		}
		if t := *f.PropertyTable; t < 0 || t >= len(b.tables) {
			return fmt.Errorf("a feature set has property table %d of %d", t, len(b.tables))
		} else if int(highest[*f.Attribute]) >= b.tables[t].Count {
			return fmt.Errorf("feature id %d is past the %d rows of the table %q", highest[*f.Attribute], b.tables[t].Count, b.tables[t].Name)
		}
	}
	return nil
}

// bounds returns min and max as float32 numbers, which readers compare exactly.
func bounds(positions []float32) (lo, hi []float64) {
	lo, hi = make([]float64, 3), make([]float64, 3)
	for k := range 3 {
		lo[k], hi[k] = float64(positions[k]), float64(positions[k])
	}
	for i, x := range positions {
		lo[i%3] = min(lo[i%3], float64(x))
		hi[i%3] = max(hi[i%3], float64(x))
	}
	return lo, hi
}

// unit returns normals at unit length; the slice itself if all are. A normal
// without direction, as at a vertex whose faces have no area, becomes +Y: any
// direction is as good.
func unit(normals []float32) []float32 {
	out, shared := normals, true
	for i := 0; i < len(normals); i += 3 {
		x, y, z := float64(normals[i]), float64(normals[i+1]), float64(normals[i+2])
		l := x*x + y*y + z*z
		if math.Abs(l-1) < 1e-4 {
			continue
		}
		if shared {
			out, shared = slices.Clone(normals), false
		}
		if l == 0 {
			out[i], out[i+1], out[i+2] = 0, 1, 0
			continue
		}
		l = math.Sqrt(l)
		out[i], out[i+1], out[i+2] = float32(x/l), float32(y/l), float32(z/l)
	}
	return out
}

// linearOf turns sRGB in 8 bits into linear light in 16, which holds all 256
// steps apart.
func linearOf(colours []uint8) []byte {
	if colours == nil {
		return nil
	}
	table := linearTable()
	out := make([]byte, 0, 2*len(colours))
	for i, c := range colours {
		x := table[c]
		if i%4 == 3 {
			x = uint16(c) * 257 // alpha is linear already
		}
		out = binary.LittleEndian.AppendUint16(out, x)
	}
	return out
}
