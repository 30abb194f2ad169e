package glb

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// box is a bounding box, mm in the specimen frame.
type box struct{ min, max r3.Vec }

func emptyBox() box {
	inf := math.Inf(1)
	return box{r3.Vec{X: inf, Y: inf, Z: inf}, r3.Vec{X: -inf, Y: -inf, Z: -inf}}
}

func (b box) empty() bool    { return b.min.X > b.max.X }
func (b box) centre() r3.Vec { return r3.Scale(0.5, r3.Add(b.min, b.max)) }
func (b box) size() r3.Vec   { return r3.Sub(b.max, b.min) }

func (b box) with(o box) box {
	return box{
		r3.Vec{X: math.Min(b.min.X, o.min.X), Y: math.Min(b.min.Y, o.min.Y), Z: math.Min(b.min.Z, o.min.Z)},
		r3.Vec{X: math.Max(b.max.X, o.max.X), Y: math.Max(b.max.Y, o.max.Y), Z: math.Max(b.max.Z, o.max.Z)},
	}
}

// boxOf bounds the corners of all faces of a placed mesh.
func boxOf(m *mesh.Mesh, at placer) box {
	out := emptyBox()
	for _, v := range m.Triangles {
		p := at.millimetres(m.Vertex(v))
		out = out.with(box{p, p})
	}
	return out
}
