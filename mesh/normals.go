package mesh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// VertexNormals returns a unit normal per welded vertex: the normals of the
// faces round it weighted by their angle there (Thürmer and Wüthrich, J.
// Graphics Tools 3(1), 1998), so that the way a fan is cut into triangles does
// not matter. A vertex without faces of any area has the zero vector.
func VertexNormals(m *Mesh, w *Weld) []r3.Vec {
	normals := make([]r3.Vec, w.Count)
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
		l := r3.Norm(n)
		if l == 0 || math.IsNaN(l) {
			continue
		}
		n = r3.Scale(1/l, n)
		ia, ib, ic := w.Face(m, f)
		normals[ia] = r3.Add(normals[ia], r3.Scale(CornerAngle(a, b, c), n))
		normals[ib] = r3.Add(normals[ib], r3.Scale(CornerAngle(b, c, a), n))
		normals[ic] = r3.Add(normals[ic], r3.Scale(CornerAngle(c, a, b), n))
	}
	for v, n := range normals {
		if l := r3.Norm(n); l > 0 {
			normals[v] = r3.Scale(1/l, n)
		}
	}
	return normals
}

// CornerAngle is the angle at corner a of triangle a b c in radians, exact for
// needles too. It is 0 where two corners coincide.
func CornerAngle(a, b, c r3.Vec) float64 {
	u, v := r3.Sub(b, a), r3.Sub(c, a)
	return math.Atan2(r3.Norm(r3.Cross(u, v)), r3.Dot(u, v))
}
