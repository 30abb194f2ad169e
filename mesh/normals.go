package mesh

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// VertexNormals returns a unit normal per welded vertex: the normals of the
// faces round it weighted by their angle there (Thürmer and Wüthrich, J.
// Graphics Tools 3(1), 1998), so that the way a fan is cut into triangles does
// not matter. A vertex without faces of any area has the zero vector.
func VertexNormals(m *Mesh, w *Weld) []r3.Vec {
	normals := make([]r3.Vec, w.Count)
	NormalShares(m, w, func(v uint32, share r3.Vec) { normals[v] = r3.Add(normals[v], share) })
	for v, n := range normals {
		if l := norm(n); l > 0 {
			normals[v] = r3.Scale(1/l, n)
		}
	}
	return normals
}

// NormalShares calls add with what every face gives to the normals of its three
// corners, welded ids, in the order of the faces: VertexNormals for who keeps them
// in another way.
func NormalShares(m *Mesh, w *Weld, add func(v uint32, share r3.Vec)) {
	// Shares are computed side by side, and added one by one.
	const chunk = 4 * topologyBlock
	n := m.FaceCount()
	shares := make([][3]r3.Vec, min(n, chunk))
	for from := 0; from < n; from += chunk {
		part := shares[:min(n-from, chunk)]
		_ = Parallel(context.Background(), (len(part)+topologyBlock-1)/topologyBlock, func(b int) {
			for i := b * topologyBlock; i < min(len(part), (b+1)*topologyBlock); i++ {
				part[i] = normalShares(m.Corners(uint32(from + i)))
			}
		})
		for i := range part {
			a, b, c := w.Face(m, uint32(from+i))
			add(a, part[i][0])
			add(b, part[i][1])
			add(c, part[i][2])
		}
	}
}

// normalShares is the unit normal of a face times its angle at each corner;
// zero for a face without area.
func normalShares(a, b, c r3.Vec) (shares [3]r3.Vec) {
	n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
	l := norm(n)
	if !(l > 0) {
		return shares
	}
	n = r3.Scale(1/l, n)
	return [3]r3.Vec{
		r3.Scale(CornerAngle(a, b, c), n),
		r3.Scale(CornerAngle(b, c, a), n),
		r3.Scale(CornerAngle(c, a, b), n),
	}
}

// CornerAngle is the angle at corner a of triangle a b c in radians, exact for
// needles too. It is 0 where two corners coincide.
func CornerAngle(a, b, c r3.Vec) float64 {
	u, v := r3.Sub(b, a), r3.Sub(c, a)
	return math.Atan2(norm(r3.Cross(u, v)), r3.Dot(u, v))
}
