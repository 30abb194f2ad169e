package gltf

import "encoding/json"

// The JSON of a glTF file: the members of the specification that a scan can
// have, with extensions and extras as they stand. Indices that may be absent
// are pointers. Animations, skins and cameras are kept only as JSON.

// Extensions maps the name of an extension to its JSON.
type Extensions map[string]json.RawMessage

// Document is a whole glTF file without its binary data.
type Document struct {
	Asset              Asset             `json:"asset"`
	ExtensionsUsed     []string          `json:"extensionsUsed,omitempty"`
	ExtensionsRequired []string          `json:"extensionsRequired,omitempty"`
	Scene              *int              `json:"scene,omitempty"`
	Scenes             []NodeList        `json:"scenes,omitempty"`
	Nodes              []Node            `json:"nodes,omitempty"`
	Meshes             []Mesh            `json:"meshes,omitempty"`
	Materials          []Material        `json:"materials,omitempty"`
	Textures           []Texture         `json:"textures,omitempty"`
	Images             []Image           `json:"images,omitempty"`
	Samplers           []Sampler         `json:"samplers,omitempty"`
	Accessors          []Accessor        `json:"accessors,omitempty"`
	BufferViews        []BufferView      `json:"bufferViews,omitempty"`
	Buffers            []Buffer          `json:"buffers,omitempty"`
	Animations         []json.RawMessage `json:"animations,omitempty"`
	Skins              []json.RawMessage `json:"skins,omitempty"`
	Cameras            []json.RawMessage `json:"cameras,omitempty"`
	Extensions         Extensions        `json:"extensions,omitempty"`
	Extras             json.RawMessage   `json:"extras,omitempty"`
}

// Asset says which version of glTF this is and who wrote it.
type Asset struct {
	Version    string          `json:"version"`
	MinVersion string          `json:"minVersion,omitempty"`
	Generator  string          `json:"generator,omitempty"`
	Copyright  string          `json:"copyright,omitempty"`
	Extensions Extensions      `json:"extensions,omitempty"`
	Extras     json.RawMessage `json:"extras,omitempty"`
}

// NodeList is a scene of the document: its root nodes.
type NodeList struct {
	Name       string          `json:"name,omitempty"`
	Nodes      []int           `json:"nodes,omitempty"`
	Extensions Extensions      `json:"extensions,omitempty"`
	Extras     json.RawMessage `json:"extras,omitempty"`
}

// Node places a mesh. It has either a matrix (column-major) or translation,
// rotation (a unit quaternion x, y, z, w) and scale.
type Node struct {
	Name        string          `json:"name,omitempty"`
	Mesh        *int            `json:"mesh,omitempty"`
	Skin        *int            `json:"skin,omitempty"`
	Camera      *int            `json:"camera,omitempty"`
	Children    []int           `json:"children,omitempty"`
	Weights     []float64       `json:"weights,omitempty"` // of morph targets, instead of the mesh's
	Matrix      *[16]float64    `json:"matrix,omitempty"`
	Translation *[3]float64     `json:"translation,omitempty"`
	Rotation    *[4]float64     `json:"rotation,omitempty"`
	Scale       *[3]float64     `json:"scale,omitempty"`
	Extensions  Extensions      `json:"extensions,omitempty"`
	Extras      json.RawMessage `json:"extras,omitempty"`
}

// Mesh is a list of primitives.
type Mesh struct {
	Name       string          `json:"name,omitempty"`
	Primitives []Primitive     `json:"primitives"`
	Weights    []float64       `json:"weights,omitempty"`
	Extensions Extensions      `json:"extensions,omitempty"`
	Extras     json.RawMessage `json:"extras,omitempty"`
}

// Mode says how the vertices of a primitive are joined.
type Mode int

// Modes of a primitive.
const (
	Points        Mode = 0
	Lines         Mode = 1
	LineLoop      Mode = 2
	LineStrip     Mode = 3
	Triangles     Mode = 4
	TriangleStrip Mode = 5
	TriangleFan   Mode = 6
)

// Primitive is geometry with one material: accessor indices by attribute name.
type Primitive struct {
	Attributes map[string]int    `json:"attributes"`
	Indices    *int              `json:"indices,omitempty"`
	Material   *int              `json:"material,omitempty"`
	Mode       *Mode             `json:"mode,omitempty"` // absent means Triangles
	Targets    []json.RawMessage `json:"targets,omitempty"`
	Extensions Extensions        `json:"extensions,omitempty"`
	Extras     json.RawMessage   `json:"extras,omitempty"`
}

// Material is the part of a glTF material that shows the base colour.
type Material struct {
	Name        string                `json:"name,omitempty"`
	PBR         *PBRMetallicRoughness `json:"pbrMetallicRoughness,omitempty"`
	AlphaMode   string                `json:"alphaMode,omitempty"` // OPAQUE if empty, MASK, BLEND
	AlphaCutoff *float64              `json:"alphaCutoff,omitempty"`
	DoubleSided bool                  `json:"doubleSided,omitempty"`
	// What the surface gives off by itself: no vertex colour is laid over it.
	EmissiveTexture *TextureInfo    `json:"emissiveTexture,omitempty"`
	EmissiveFactor  *[3]float64     `json:"emissiveFactor,omitempty"`
	Extensions      Extensions      `json:"extensions,omitempty"`
	Extras          json.RawMessage `json:"extras,omitempty"`
}

// PBRMetallicRoughness holds base colour (linear factor times sRGB texture),
// metalness and roughness; factors absent mean 1.
type PBRMetallicRoughness struct {
	BaseColorFactor  *[4]float64  `json:"baseColorFactor,omitempty"`
	BaseColorTexture *TextureInfo `json:"baseColorTexture,omitempty"`
	MetallicFactor   *float64     `json:"metallicFactor,omitempty"`
	RoughnessFactor  *float64     `json:"roughnessFactor,omitempty"`
}

// TextureInfo names a texture and the set of coordinates it is laid by.
type TextureInfo struct {
	Index      int        `json:"index"`
	TexCoord   int        `json:"texCoord,omitempty"`
	Extensions Extensions `json:"extensions,omitempty"`
}

// Texture is an image with a sampler.
type Texture struct {
	Name       string     `json:"name,omitempty"`
	Sampler    *int       `json:"sampler,omitempty"`
	Source     *int       `json:"source,omitempty"`
	Extensions Extensions `json:"extensions,omitempty"`
}

// Image is a coded picture in a buffer view or at a URI.
type Image struct {
	Name       string `json:"name,omitempty"`
	URI        string `json:"uri,omitempty"`
	MimeType   string `json:"mimeType,omitempty"`
	BufferView *int   `json:"bufferView,omitempty"`
}

// Sampler says how a texture is filtered and repeated, in OpenGL numbers.
type Sampler struct {
	MagFilter int `json:"magFilter,omitempty"`
	MinFilter int `json:"minFilter,omitempty"`
	WrapS     int `json:"wrapS,omitempty"`
	WrapT     int `json:"wrapT,omitempty"`
}

// ComponentType is the type of one number in an accessor.
type ComponentType int

// Component types, in OpenGL numbers.
const (
	Int8    ComponentType = 5120
	Uint8   ComponentType = 5121
	Int16   ComponentType = 5122
	Uint16  ComponentType = 5123
	Uint32  ComponentType = 5125
	Float32 ComponentType = 5126
)

// Size is the number of bytes of one component, 0 for an unknown type.
func (c ComponentType) Size() int {
	switch c {
	case Int8, Uint8:
		return 1
	case Int16, Uint16:
		return 2
	case Uint32, Float32:
		return 4
	}
	return 0
}

// Accessor types and their widths in components.
var widths = map[string]int{"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}

// Accessor says how numbers are laid out in a buffer view. Without a buffer
// view all are zero before Sparse is applied.
type Accessor struct {
	BufferView    *int          `json:"bufferView,omitempty"`
	ByteOffset    int           `json:"byteOffset,omitempty"`
	ComponentType ComponentType `json:"componentType"`
	Normalized    bool          `json:"normalized,omitempty"`
	Count         int           `json:"count"`
	Type          string        `json:"type"`
	Max           []float64     `json:"max,omitempty"`
	Min           []float64     `json:"min,omitempty"`
	Sparse        *Sparse       `json:"sparse,omitempty"`
	Name          string        `json:"name,omitempty"`
}

// Sparse replaces some elements of an accessor.
type Sparse struct {
	Count   int `json:"count"`
	Indices struct {
		BufferView    int           `json:"bufferView"`
		ByteOffset    int           `json:"byteOffset,omitempty"`
		ComponentType ComponentType `json:"componentType"`
	} `json:"indices"`
	Values struct {
		BufferView int `json:"bufferView"`
		ByteOffset int `json:"byteOffset,omitempty"`
	} `json:"values"`
}

// Targets of a buffer view.
const (
	ArrayBuffer        = 34962 // vertex attributes
	ElementArrayBuffer = 34963 // indices
)

// BufferView is a run of bytes of a buffer.
type BufferView struct {
	Buffer     int        `json:"buffer"`
	ByteOffset int        `json:"byteOffset,omitempty"`
	ByteLength int        `json:"byteLength"`
	ByteStride int        `json:"byteStride,omitempty"`
	Target     int        `json:"target,omitempty"`
	Name       string     `json:"name,omitempty"`
	Extensions Extensions `json:"extensions,omitempty"`
}

// Buffer is binary data: the BIN chunk of a GLB, a file, or a data URI.
type Buffer struct {
	URI        string     `json:"uri,omitempty"`
	ByteLength int        `json:"byteLength"`
	Name       string     `json:"name,omitempty"`
	Extensions Extensions `json:"extensions,omitempty"`
}
