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

	First   []uint32     // a stored vertex of each welded one
	Stars   []Star       // the faces round each
	Gap     []float64    // signed distance to the smooth surface of the other scan, mm; NaN undefined
	Bulge   []float32    // how far that surface lies outside the other scan's flat faces there, mm
	Smooth  []float64    // Gap averaged over neighbours
	Closest []uint32     // the closest face of the other scan; bvh.None if none
	Place   [][2]float32 // where on it: the weights of its first two corners
	Core    []int32      // index into Change.Areas, or -1

	EdgeMM     float64 // mean edge
	DiagonalMM float64 // of the box round the scan
	SpreadMM   float64 // standard deviation of Smooth where nothing changed
	NoiseMM    float64 // standard deviation of this scan's own noise, from vertex to vertex

	cosCrease float64 // faces whose normals have a smaller product are parted by a crease
}

// Star is the surface round a vertex.
type Star struct {
	// Vector is the sum of the area vectors of the faces round the vertex, mm².
	Vector [3]float32
	// AreaMM2 is a third of their area.
	AreaMM2 float32
	// Even says that no crease parts any of these faces from another.
	Even bool
}

// Vertex returns the place of a welded vertex.
func (s *Side) Vertex(v uint32) r3.Vec { return s.Mesh.Vertex(s.First[v]) }

// placeRounding is more than the rounding of the weights in Place.
const placeRounding = 1e-6

// Facing returns the place of the other scan that is closest to a welded vertex:
// a face of the other side's mesh and the weights of its corners. ok is false
// where nothing is.
func (s *Side) Facing(v uint32) (face uint32, weights [3]float64, ok bool) {
	if s.Closest[v] == bvh.None {
		return bvh.None, weights, false
	}
	x, y := float64(s.Place[v][0]), float64(s.Place[v][1])
	z := 1 - x - y
	if z < placeRounding {
		z = 0 // on the edge between the first two
	}
	return s.Closest[v], [3]float64{x, y, z}, true
}

// newSide prepares a scan, without the faces to be ignored.
func newSide(m *mesh.Mesh, ignore []bool) *Side {
	s := &Side{Mesh: without(m, ignore)}
	s.Weld = mesh.NewWeld(s.Mesh)
	s.Topology = mesh.NewTopology(s.Mesh, s.Weld)
	s.EdgeMM = mesh.MeanEdge(s.Mesh)
	s.DiagonalMM = mesh.Bounds(s.Mesh).Diagonal()
	s.cosCrease = math.Cos(s.crease())
	s.First = make([]uint32, s.Weld.Count)
	for i := len(s.Weld.Of) - 1; i >= 0; i-- {
		s.First[s.Weld.Of[i]] = uint32(i)
	}
	s.Stars = s.stars()
	return s
}

// Sum is the sum of the area vectors of the faces round the vertex, mm².
func (s *Star) Sum() r3.Vec {
	return r3.Vec{X: float64(s.Vector[0]), Y: float64(s.Vector[1]), Z: float64(s.Vector[2])}
}

// stars gathers the faces round every vertex.
func (s *Side) stars() []Star {
	out := make([]Star, s.Weld.Count)
	// Two faces that each lie within half a crease of the mean lie within a
	// crease of each other.
	half := math.Sqrt((1 + s.cosCrease) / 2)
	_ = mesh.Parallel(context.Background(), (len(out)+blockSize-1)/blockSize, func(b int) {
		var few [32]r3.Vec
		for v := b * blockSize; v < min(len(out), (b+1)*blockSize); v++ {
			var sum r3.Vec
			area := 0.0
			round := few[:0]
			for _, f := range s.Topology.FacesOf(uint32(v)) {
				a := s.Mesh.AreaVector(f)
				sum = r3.Add(sum, a)
				area += length(a)
				round = append(round, a)
			}
			even, limit := true, half*length(sum)
			for _, a := range round {
				even = even && r3.Dot(a, sum) > limit*length(a)
			}
			out[v] = Star{[3]float32{float32(sum.X), float32(sum.Y), float32(sum.Z)}, float32(area / 3), even}
		}
	})
	return out
}

// length is the length of a vector of float32 coordinates or their products,
// which cannot overflow.
func length(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

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

// measure asks the other scan about every vertex. The other scan's tree is
// made here and let go afterwards: two at once would take more memory than
// everything else.
func (s *Side) measure(ctx context.Context, other *Side, progress func(float64)) error {
	n := s.Weld.Count
	tree := bvh.Build(other.Mesh)
	signed := bvh.NewSigned(other.Mesh, other.Weld, other.Topology, tree)
	s.Gap = make([]float64, n)
	s.Bulge = make([]float32, n)
	s.Closest = make([]uint32, n)
	s.Place = make([][2]float32, n)
	hits := make([]bvh.Hit, min(n, gapChunk))
	for from := 0; from < n; from += gapChunk {
		part := hits[:min(gapChunk, n-from)]
		at := func(i int) r3.Vec { return s.Vertex(uint32(from + i)) }
		if err := tree.ClosestAll(ctx, len(part), at, 0, part); err != nil {
			return err
		}
		err := mesh.Parallel(ctx, (len(part)+blockSize-1)/blockSize, func(b int) {
			for i := b * blockSize; i < min(len(part), (b+1)*blockSize); i++ {
				v := uint32(from + i)
				s.Closest[v] = part[i].Face
				s.Place[v] = [2]float32{float32(part[i].Weights[0]), float32(part[i].Weights[1])}
				d, defined := signed.Distance(at(i), part[i])
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
	areas := make([]float64, len(s.Stars))
	for v := range s.Stars {
		areas[v] = float64(s.Stars[v].AreaMM2)
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
