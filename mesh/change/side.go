package change

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
)

// Side is one of the two scans, prepared, with its gap to the other one.
// Slices over vertices are indexed by welded vertex.
type Side struct {
	Mesh     *mesh.Mesh // in the frame of the scan before, faces left out removed
	Weld     *mesh.Weld
	Topology *mesh.Topology
	Tree     *bvh.Tree
	Signed   *bvh.Signed

	First   []uint32  // a stored vertex of each welded one
	Gap     []float64 // signed distance to the smooth surface of the other scan, mm; NaN undefined
	Bulge   []float32 // how far that surface lies outside the other scan's flat faces there, mm
	Smooth  []float64 // Gap averaged over neighbours
	Closest []uint32  // the closest face of the other scan; bvh.None if none
	Core    []int32   // index into Change.Areas, or -1

	EdgeMM   float64 // mean edge
	SpreadMM float64 // standard deviation of Smooth where nothing changed
	NoiseMM  float64 // standard deviation of this scan's own noise, from vertex to vertex

	cosCrease float64 // faces whose normals have a smaller product are parted by a crease
}

// Vertex returns the place of a welded vertex.
func (s *Side) Vertex(v uint32) r3.Vec { return s.Mesh.Vertex(s.First[v]) }

// newSide prepares a scan, without the faces to be ignored.
func newSide(m *mesh.Mesh, ignore []bool) *Side {
	s := &Side{Mesh: without(m, ignore)}
	s.Weld = mesh.NewWeld(s.Mesh)
	s.Topology = mesh.NewTopology(s.Mesh, s.Weld)
	s.Tree = bvh.Build(s.Mesh)
	s.Signed = bvh.NewSigned(s.Mesh, s.Weld, s.Topology, s.Tree)
	s.EdgeMM = mesh.MeanEdge(s.Mesh)
	s.cosCrease = math.Cos(s.crease())
	s.First = make([]uint32, s.Weld.Count)
	for i := len(s.Weld.Of) - 1; i >= 0; i-- {
		s.First[s.Weld.Of[i]] = uint32(i)
	}
	return s
}

// without returns m less the faces marked, with Source pointing back.
func without(m *mesh.Mesh, ignore []bool) *mesh.Mesh {
	any := false
	for _, i := range ignore {
		any = any || i
	}
	if !any {
		return m
	}
	out := &mesh.Mesh{Origin: m.Origin, Positions: m.Positions}
	for f := range uint32(m.FaceCount()) {
		if int(f) < len(ignore) && ignore[f] {
			continue
		}
		out.Triangles = append(out.Triangles, m.Triangles[3*f:3*f+3]...)
		out.Source = append(out.Source, m.SourceFace(f))
	}
	return out
}

// gapChunk is the number of vertices asked about in one batch: large enough
// for the tree to put queries in order, small enough that the answers need
// little memory.
const gapChunk = 1 << 18

// measure asks the other scan about every vertex.
func (s *Side) measure(ctx context.Context, other *Side, progress func(float64)) error {
	n := s.Weld.Count
	s.Gap = make([]float64, n)
	s.Bulge = make([]float32, n)
	s.Closest = make([]uint32, n)
	hits := make([]bvh.Hit, min(n, gapChunk))
	for from := 0; from < n; from += gapChunk {
		part := hits[:min(gapChunk, n-from)]
		at := func(i int) r3.Vec { return s.Vertex(uint32(from + i)) }
		if err := other.Tree.ClosestAll(ctx, len(part), at, 0, part); err != nil {
			return err
		}
		err := mesh.Parallel(ctx, (len(part)+blockSize-1)/blockSize, func(b int) {
			for i := b * blockSize; i < min(len(part), (b+1)*blockSize); i++ {
				v := uint32(from + i)
				s.Closest[v] = part[i].Face
				d, defined := other.Signed.Distance(at(i), part[i])
				if !defined || len(s.Topology.FacesOf(v)) == 0 {
					d = math.NaN()
				} else {
					s.Bulge[v] = float32(other.bulge(&part[i]))
				}
				s.Gap[v] = d - float64(s.Bulge[v])
			}
		})
		if err != nil {
			return err
		}
		progress(float64(from+len(part)) / float64(n))
	}
	return nil
}

// blockSize is the number of vertices one worker takes at a time.
const blockSize = 1 << 13

// VertexAreas gives each welded vertex a third of the faces round it, mm².
func (s *Side) VertexAreas() []float64 {
	areas := make([]float64, s.Weld.Count)
	for f, a := range mesh.FaceAreas(s.Mesh) {
		if s.Topology.Component[f] < 0 {
			continue
		}
		i, j, k := s.Topology.Face(uint32(f))
		areas[i] += a / 3
		areas[j] += a / 3
		areas[k] += a / 3
	}
	return areas
}

// perFileVertex spreads the gap of welded vertices over the stored ones.
func (s *Side) perFileVertex() []float32 {
	out := make([]float32, len(s.Weld.Of))
	for i, v := range s.Weld.Of {
		out[i] = float32(s.Gap[v])
	}
	return out
}
