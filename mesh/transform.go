package mesh

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Transform returns a copy of m with every vertex moved by f, which must be
// affine (a motion, perhaps with a scale): stored normals follow its linear
// part. The new origin is the old one moved, so that float32 positions keep
// their precision. A mirroring f leaves the copy inside out. Triangles,
// texture coordinates, colours, images and Source are shared with m.
func Transform(m *Mesh, f func(r3.Vec) r3.Vec) *Mesh {
	out := *m
	out.Origin = f(m.Origin)
	out.Positions = make([]float32, len(m.Positions))
	n := m.VertexCount()
	blocks := (n + topologyBlock - 1) / topologyBlock
	_ = Parallel(context.Background(), blocks, func(b int) {
		for i := b * topologyBlock; i < min(n, (b+1)*topologyBlock); i++ {
			p := r3.Sub(f(m.Vertex(uint32(i))), out.Origin)
			out.Positions[3*i], out.Positions[3*i+1], out.Positions[3*i+2] = float32(p.X), float32(p.Y), float32(p.Z)
		}
	})
	if m.Normals == nil {
		return &out
	}
	// Columns of the linear part. A normal turns with its cofactor matrix,
	// whose columns are the cross products of the columns.
	x := r3.Sub(f(r3.Add(m.Origin, r3.Vec{X: 1})), out.Origin)
	y := r3.Sub(f(r3.Add(m.Origin, r3.Vec{Y: 1})), out.Origin)
	z := r3.Sub(f(r3.Add(m.Origin, r3.Vec{Z: 1})), out.Origin)
	cx, cy, cz := r3.Cross(y, z), r3.Cross(z, x), r3.Cross(x, y)
	out.Normals = make([]float32, len(m.Normals))
	_ = Parallel(context.Background(), blocks, func(b int) {
		for i := b * topologyBlock; i < min(len(m.Normals)/3, (b+1)*topologyBlock); i++ {
			s := m.Normals[3*i : 3*i+3]
			p := r3.Add(r3.Scale(float64(s[0]), cx), r3.Add(r3.Scale(float64(s[1]), cy), r3.Scale(float64(s[2]), cz)))
			if l := r3.Norm(p); l > 0 && !math.IsInf(l, 0) {
				p = r3.Scale(1/l, p)
			}
			out.Normals[3*i], out.Normals[3*i+1], out.Normals[3*i+2] = float32(p.X), float32(p.Y), float32(p.Z)
		}
	})
	return &out
}
