package mesh

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Box is an axis-parallel box. An empty mesh has the zero Box.
type Box struct{ Min, Max r3.Vec }

// Diagonal is the length of the box's diagonal.
func (b Box) Diagonal() float64 { return r3.Norm(r3.Sub(b.Max, b.Min)) }

// Centre is the middle of the box.
func (b Box) Centre() r3.Vec { return r3.Scale(0.5, r3.Add(b.Min, b.Max)) }

// boundsBlock is the number of corners one worker looks at at a time.
const boundsBlock = 3 * topologyBlock

// Bounds returns the box round all vertices that a triangle uses; a scan
// program may leave stray vertices behind.
func Bounds(m *Mesh) Box {
	if len(m.Triangles) == 0 {
		return Box{}
	}
	type corners struct{ lo, hi [3]float32 }
	const far = math.MaxFloat32
	none := corners{[3]float32{far, far, far}, [3]float32{-far, -far, -far}}
	n := len(m.Triangles)
	parts := make([]corners, (n+boundsBlock-1)/boundsBlock)
	_ = Parallel(context.Background(), len(parts), func(b int) {
		c := none
		for _, v := range m.Triangles[b*boundsBlock : min(n, (b+1)*boundsBlock)] {
			p := m.Positions[3*v : 3*v+3 : 3*v+3]
			c.lo[0], c.lo[1], c.lo[2] = min(c.lo[0], p[0]), min(c.lo[1], p[1]), min(c.lo[2], p[2])
			c.hi[0], c.hi[1], c.hi[2] = max(c.hi[0], p[0]), max(c.hi[1], p[1]), max(c.hi[2], p[2])
		}
		parts[b] = c
	})
	lo, hi := none.lo, none.hi
	for _, c := range parts {
		for k := range 3 {
			lo[k], hi[k] = min(lo[k], c.lo[k]), max(hi[k], c.hi[k])
		}
	}
	o := m.Origin
	return Box{
		Min: r3.Vec{X: o.X + float64(lo[0]), Y: o.Y + float64(lo[1]), Z: o.Z + float64(lo[2])},
		Max: r3.Vec{X: o.X + float64(hi[0]), Y: o.Y + float64(hi[1]), Z: o.Z + float64(hi[2])},
	}
}

// Area is the area of all faces, in the square of the mesh's unit. Noise
// inflates it: for noise σ on edges e by about 1 + 2(σ/e)².
func Area(m *Mesh) float64 {
	return SumBlocks(m.FaceCount(), func(f int) float64 { return norm(m.AreaVector(uint32(f))) })
}

// AreaOf is the area of the faces listed.
func AreaOf(m *Mesh, faces []uint32) float64 {
	return SumBlocks(len(faces), func(i int) float64 { return norm(m.AreaVector(faces[i])) })
}

// norm is the length of a vector. The care that r3.Norm takes against overflow
// is not needed where coordinates are float32: even fourth powers stay inside
// float64.
func norm(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

// FaceAreas returns the area of every face.
func FaceAreas(m *Mesh) []float64 {
	areas := make([]float64, m.FaceCount())
	forFaces(m, func(f uint32) { areas[f] = norm(m.AreaVector(f)) })
	return areas
}

// forFaces calls f for every face, in parallel over fixed blocks.
func forFaces(m *Mesh, f func(face uint32)) {
	n := m.FaceCount()
	_ = Parallel(context.Background(), (n+topologyBlock-1)/topologyBlock, func(b int) {
		for i := b * topologyBlock; i < min(n, (b+1)*topologyBlock); i++ {
			f(uint32(i))
		}
	})
}

// Volume is the volume inside the surface by the divergence theorem, summed
// about the centre of the bounding box so that a specimen far from zero keeps
// its digits. It is positive when the faces look outward. It means something
// only for a closed surface (see Topology.Closed and ClosureRatio): on an open
// one it changes with the place of the specimen.
func Volume(m *Mesh) float64 {
	o := Bounds(m).Centre()
	return SumBlocks(m.FaceCount(), func(f int) float64 { return tetra(m, uint32(f), o) })
}

// tetra is the signed volume of the tetrahedron from o to face f.
func tetra(m *Mesh, f uint32, o r3.Vec) float64 {
	a, b, c := m.Corners(f)
	a, b, c = r3.Sub(a, o), r3.Sub(b, o), r3.Sub(c, o)
	return r3.Dot(a, r3.Cross(b, c)) / 6
}

// ClosureRatio is |Σ area vectors| / Σ |area vectors|: 0 for a closed surface,
// whatever its shape, and of the order of the missing share for an open one.
// It is 0 for a mesh without area.
func ClosureRatio(m *Mesh) float64 {
	s := sumVectors(m.FaceCount(), func(f int) [4]float64 {
		a := m.AreaVector(uint32(f))
		return [4]float64{a.X, a.Y, a.Z, norm(a)}
	})
	if s[3] == 0 {
		return 0
	}
	return math.Sqrt(s[0]*s[0]+s[1]*s[1]+s[2]*s[2]) / s[3]
}

// MassMoments are the integrals of 1, x and x·x over the body inside a closed
// surface, of density 1.
type MassMoments struct {
	Volume   float64
	Centroid r3.Vec
	// Second[i][j] is the integral of (x-c)ᵢ(x-c)ⱼ about the centroid c. The
	// moment of inertia about axis k is the sum of the other two diagonal
	// entries.
	Second [3][3]float64
}

// Moments integrates over the body inside the surface, tetrahedron by
// tetrahedron (equivalent to Mirtich, J. Graphics Tools 1(2), 1996). It means
// something only for a closed surface. Without volume the centroid is the
// centre of the box.
func Moments(m *Mesh) MassMoments {
	o := Bounds(m).Centre()
	s := sumVectors(m.FaceCount(), func(f int) [10]float64 {
		a, b, c := m.Corners(uint32(f))
		a, b, c = r3.Sub(a, o), r3.Sub(b, o), r3.Sub(c, o)
		v := r3.Dot(a, r3.Cross(b, c)) / 6
		t := r3.Add(a, r3.Add(b, c))
		second := func(ai, bi, ci, ti, aj, bj, cj, tj float64) float64 {
			return v / 20 * (ai*aj + bi*bj + ci*cj + ti*tj)
		}
		return [10]float64{
			v, v / 4 * t.X, v / 4 * t.Y, v / 4 * t.Z,
			second(a.X, b.X, c.X, t.X, a.X, b.X, c.X, t.X),
			second(a.Y, b.Y, c.Y, t.Y, a.Y, b.Y, c.Y, t.Y),
			second(a.Z, b.Z, c.Z, t.Z, a.Z, b.Z, c.Z, t.Z),
			second(a.X, b.X, c.X, t.X, a.Y, b.Y, c.Y, t.Y),
			second(a.Y, b.Y, c.Y, t.Y, a.Z, b.Z, c.Z, t.Z),
			second(a.Z, b.Z, c.Z, t.Z, a.X, b.X, c.X, t.X),
		}
	})
	out := MassMoments{Volume: s[0], Centroid: o}
	if s[0] == 0 {
		return out
	}
	// Parallel axis: about the centroid instead of the box centre.
	d := r3.Scale(1/s[0], r3.Vec{X: s[1], Y: s[2], Z: s[3]})
	out.Centroid = r3.Add(o, d)
	xy, yz, zx := s[7]-s[0]*d.X*d.Y, s[8]-s[0]*d.Y*d.Z, s[9]-s[0]*d.Z*d.X
	out.Second = [3][3]float64{
		{s[4] - s[0]*d.X*d.X, xy, zx},
		{xy, s[5] - s[0]*d.Y*d.Y, yz},
		{zx, yz, s[6] - s[0]*d.Z*d.Z},
	}
	return out
}

// MeanEdge is the mean length of the sides of all faces that have three
// different corners; an inner edge counts for both its faces. 0 without faces.
func MeanEdge(m *Mesh) float64 {
	s := sumVectors(m.FaceCount(), func(f int) [4]float64 {
		a, b, c := m.Corners(uint32(f))
		if a == b || b == c || c == a {
			return [4]float64{}
		}
		return [4]float64{norm(r3.Sub(b, a)) + norm(r3.Sub(c, b)) + norm(r3.Sub(a, c)), 3}
	})
	if s[1] == 0 {
		return 0
	}
	return s[0] / s[1]
}
