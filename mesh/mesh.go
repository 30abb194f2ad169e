package mesh

import "gonum.org/v1/gonum/spatial/r3"

// Mesh is a triangle mesh as read from a scan. See the package documentation
// for indexing, winding and units.
type Mesh struct {
	Origin    r3.Vec    // added to every position, same unit and frame
	Positions []float32 // 3 per vertex, about Origin
	Triangles []uint32  // 3 vertex indices per triangle

	Normals []float32 // 3 per vertex, unit length; nil if the file had none
	Colours []uint8   // 4 per vertex (RGBA, sRGB coded); nil if none
	UVs     []float32 // 2 per vertex, v downwards from the top of the image as glTF has it; nil if none

	MaterialOf []uint16 // per triangle, index into Materials; nil means all 0
	Materials  []Material
	Images     []Image

	Source []uint32 // per triangle, the scan face it came from; nil means itself
}

// Material is how the scan itself looks at a set of triangles.
type Material struct {
	Name        string
	BaseColour  [4]float32 // linear RGBA factor
	Image       int        // index into Mesh.Images, -1 for none
	Unlit       bool
	DoubleSided bool
}

// Image is a coded picture as it stood in the file; it is decoded only when
// somebody looks at it.
type Image struct {
	Name string
	MIME string // image/png or image/jpeg, by its first bytes
	Data []byte // nil when the file it names is missing
}

// VertexCount is the number of stored vertices, seams counted twice.
func (m *Mesh) VertexCount() int { return len(m.Positions) / 3 }

// FaceCount is the number of triangles, degenerate ones included.
func (m *Mesh) FaceCount() int { return len(m.Triangles) / 3 }

// Vertex returns the coordinates of vertex i in the mesh's frame.
func (m *Mesh) Vertex(i uint32) r3.Vec {
	p := m.Positions[3*i : 3*i+3 : 3*i+3]
	return r3.Vec{X: m.Origin.X + float64(p[0]), Y: m.Origin.Y + float64(p[1]), Z: m.Origin.Z + float64(p[2])}
}

// Corners returns the three corner points of face f.
func (m *Mesh) Corners(f uint32) (a, b, c r3.Vec) {
	t := m.Triangles[3*f : 3*f+3 : 3*f+3]
	return m.Vertex(t[0]), m.Vertex(t[1]), m.Vertex(t[2])
}

// AreaVector returns half the cross product of two edges of face f: its length
// is the area, its direction the outward normal.
func (m *Mesh) AreaVector(f uint32) r3.Vec {
	a, b, c := m.Corners(f)
	return r3.Scale(0.5, r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
}

// SourceFace returns the scan face behind face f.
func (m *Mesh) SourceFace(f uint32) uint32 {
	if m.Source == nil {
		return f
	}
	return m.Source[f]
}
