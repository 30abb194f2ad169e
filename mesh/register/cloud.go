package register

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// cloud is a surface as even patches: the faces that fall into one cell of a
// cubic grid, parted where they look different ways. A patch stands for all
// faces in it, so scan noise averages out and every face counts once; a thin
// wall gives two patches, one a side.
type cloud struct {
	size    float64  // mm, edge of the grid's cells
	points  []r3.Vec // area-weighted centre of each patch
	vectors []r3.Vec // sum of the area vectors of its faces
	normals []r3.Vec // unit, averaged with the patches around (see smooth)
	areas   []float64
	total   float64 // mm², sum of areas
	tree    *kdTree

	// patchOf[i] is the patch of piece i. Faces are cut into pieces no longer
	// than a cell; pieces[f] … pieces[f+1] are those of face f, and a nil
	// pieces means one piece a face.
	patchOf []uint32
	pieces  []uint32
}

// noPatch marks a piece that is in no patch: of a face without area, with a
// corner that is no number, or left out.
const noPatch = ^uint32(0)

// Grid coordinates take 20 bits each in a key.
const gridBits = 20

// patchBlock is the number of patches one worker takes at a time; sums over
// patches are made block by block.
const patchBlock = 1 << 11

// compatible is the cosine below which patches count as different surfaces.
const compatible = 0.5

// piece is a part of a face: its centre and area vector.
type piece struct {
	centre, vector r3.Vec
}

// chunk is the number of faces cut into pieces at a time.
const chunk = 1 << 14

// gather makes the patches of m on a grid of the given size. Faces with
// ignore[f] take no part (ignore may be nil).
func gather(ctx context.Context, m *mesh.Mesh, ignore []bool, size float64) (*cloud, error) {
	c := &cloud{size: size}
	n := m.FaceCount()
	low := mesh.Bounds(m).Min
	sums := &slots{low: low, size: size}
	c.patchOf = make([]uint32, 0, n)
	// A group of chunks is cut in parallel, then added up in the order of the
	// faces, so that sums do not depend on the number of processors.
	const group = 16
	cut := make([][]piece, group)
	counts := make([][]uint32, group)
	for b := range min(group, (n+chunk-1)/chunk) {
		cut[b], counts[b] = make([]piece, 0, 2*chunk), make([]uint32, 0, chunk)
	}
	for from := 0; from < n; from += group * chunk {
		blocks := min(group, (n-from+chunk-1)/chunk)
		err := mesh.Parallel(ctx, blocks, func(b int) {
			cut[b], counts[b] = cut[b][:0], counts[b][:0]
			for f := from + b*chunk; f < min(n, from+(b+1)*chunk); f++ {
				before := len(cut[b])
				if ignore == nil || !ignore[f] {
					x, y, z := m.Corners(uint32(f))
					cut[b] = cutFace(cut[b], x, y, z, size)
				}
				counts[b] = append(counts[b], uint32(len(cut[b])-before))
			}
		})
		if err != nil {
			return nil, err
		}
		for b := range blocks {
			at := 0
			for i, k := range counts[b] {
				c.countPieces(from+b*chunk+i, n, int(k))
				if k == 0 {
					c.patchOf = append(c.patchOf, noPatch)
					continue
				}
				for _, p := range cut[b][at : at+int(k)] {
					c.patchOf = append(c.patchOf, sums.add(p))
				}
				at += int(k)
			}
		}
	}
	if c.pieces != nil {
		c.pieces = append(c.pieces, uint32(len(c.patchOf)))
	}
	patch := c.takeSlots(sums)
	for i, slot := range c.patchOf {
		if slot != noPatch {
			c.patchOf[i] = patch[slot]
		}
	}
	c.finish()
	return c, nil
}

// countPieces notes that face f of n is about to add k pieces (0 adds one
// mark).
func (c *cloud) countPieces(f, n, k int) {
	if c.pieces == nil {
		if k <= 1 {
			return
		}
		c.pieces = make([]uint32, f, n+1)
		for i := range c.pieces {
			c.pieces[i] = uint32(i)
		}
	}
	c.pieces = append(c.pieces, uint32(len(c.patchOf)))
}

// cutFace appends the pieces of a triangle: it is halved across its longest
// side until it is no longer than a cell, or so thin that its area does not
// count.
func cutFace(out []piece, a, b, c r3.Vec, size float64) []piece {
	v := r3.Scale(0.5, r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
	area := length(v)
	if !(area > 0) || math.IsInf(area, 0) {
		return out
	}
	ab, bc, ca := r3.Norm2(r3.Sub(b, a)), r3.Norm2(r3.Sub(c, b)), r3.Norm2(r3.Sub(a, c))
	if max(ab, bc, ca) <= size*size || area <= size*size/8 {
		return append(out, piece{r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c))), v})
	}
	switch {
	case bc >= ab && bc >= ca:
		a, b, c = b, c, a
	case ca >= ab && ca >= bc:
		a, b, c = c, a, b
	}
	middle := r3.Scale(0.5, r3.Add(a, b))
	return cutFace(cutFace(out, a, middle, c, size), middle, b, c, size)
}

// slots holds running sums by (grid cell, side looked at).
type slots struct {
	keys keyTable
	sums []slotSum
	low  r3.Vec
	size float64
}

type slotSum struct {
	moment, vector r3.Vec // moment about low
	area           float64
}

// add puts a piece into its slot and returns the slot's number.
func (s *slots) add(p piece) uint32 {
	i := s.keys.put(cellKey(p.centre, s.low, s.size)*8 + uint64(side(p.vector)))
	if int(i) == len(s.sums) {
		s.sums = append(s.sums, slotSum{})
	}
	area := length(p.vector)
	sum := &s.sums[i]
	sum.moment = r3.Add(sum.moment, r3.Scale(area, r3.Sub(p.centre, s.low)))
	sum.vector = r3.Add(sum.vector, p.vector)
	sum.area += area
	return i
}

// cellKey packs the grid cell of a point.
func cellKey(p, low r3.Vec, size float64) uint64 {
	part := func(x float64) uint64 {
		return uint64(min(max(int64(math.Floor(x/size))+1, 0), 1<<gridBits-1))
	}
	return part(p.X-low.X)<<(2*gridBits) | part(p.Y-low.Y)<<gridBits | part(p.Z-low.Z)
}

// length is |v|, without the care that r3.Norm takes for overflow.
func length(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

// side is the one of the six directions of the axes that v is closest to.
func side(v r3.Vec) uint8 {
	x, y, z := math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)
	switch {
	case x >= y && x >= z:
		return uint8(b2i(v.X < 0))
	case y >= z:
		return uint8(2 + b2i(v.Y < 0))
	}
	return uint8(4 + b2i(v.Z < 0))
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// takeSlots makes patches of the slots and returns the patch of each slot. The
// slots of one cell are put together again unless they look different ways:
// noise alone must not part a surface.
func (c *cloud) takeSlots(s *slots) []uint32 {
	patch := make([]uint32, len(s.sums))
	for i := range patch {
		patch[i] = noPatch
	}
	var moments []r3.Vec
	var areas []float64
	for i := range s.sums {
		if patch[i] != noPatch {
			continue
		}
		// The slots of this cell, the largest first.
		var cell [6]uint32
		k := 0
		for d := range uint64(6) {
			j, ok := s.keys.get(s.keys.keys[i]&^7 | d)
			if !ok {
				continue
			}
			at := k
			for at > 0 && s.sums[cell[at-1]].area < s.sums[j].area {
				cell[at] = cell[at-1]
				at--
			}
			cell[at] = j
			k++
		}
		first := len(moments)
		for _, j := range cell[:k] {
			sum := &s.sums[j]
			to := first
			for to < len(moments) && r3.Dot(sum.vector, c.vectors[to]) <= 0.2*length(sum.vector)*length(c.vectors[to]) {
				to++
			}
			if to == len(moments) {
				moments, areas = append(moments, r3.Vec{}), append(areas, 0)
				c.vectors = append(c.vectors, r3.Vec{})
			}
			moments[to] = r3.Add(moments[to], sum.moment)
			areas[to] += sum.area
			c.vectors[to] = r3.Add(c.vectors[to], sum.vector)
			patch[j] = uint32(to)
		}
	}
	c.points, c.areas = moments, make([]float64, len(moments))
	for i, m := range moments {
		c.points[i] = r3.Add(s.low, r3.Scale(1/areas[i], m))
		c.areas[i] = length(c.vectors[i])
		c.total += c.areas[i]
	}
	return patch
}

// coarser puts the patches together on a coarser grid.
func (c *cloud) coarser(size float64) *cloud {
	out := &cloud{size: size}
	s := slots{low: c.low(), size: size}
	for i, p := range c.points {
		if c.areas[i] > 0 {
			s.add(piece{p, c.vectors[i]})
		}
	}
	out.takeSlots(&s)
	out.finish()
	return out
}

// low is the lowest corner of the box round the patches.
func (c *cloud) low() r3.Vec {
	inf := math.Inf(1)
	low := r3.Vec{X: inf, Y: inf, Z: inf}
	for _, p := range c.points {
		low = r3.Vec{X: min(low.X, p.X), Y: min(low.Y, p.Y), Z: min(low.Z, p.Z)}
	}
	return low
}

// finish averages the normals of the patches with those of the patches in the
// cells around that look the same way, so that the noise of one patch's rim
// does not turn its normal, and makes the tree.
func (c *cloud) finish() {
	low := c.low()
	var cells keyTable
	var first []uint32 // of the patches of each cell …
	next := make([]uint32, len(c.points))
	for i, p := range c.points {
		at := cells.put(cellKey(p, low, c.size))
		if int(at) == len(first) {
			first = append(first, noPatch)
		}
		next[i], first[at] = first[at], uint32(i) // … chained
	}
	c.normals = make([]r3.Vec, len(c.points))
	_ = mesh.Parallel(context.Background(), (len(c.points)+patchBlock-1)/patchBlock, func(b int) {
		for i := b * patchBlock; i < min(len(c.points), (b+1)*patchBlock); i++ {
			v := c.vectors[i]
			limit := compatible * length(v)
			key := cellKey(c.points[i], low, c.size)
			sum := v
			for dx := -1; dx <= 1; dx++ {
				for dy := -1; dy <= 1; dy++ {
					for dz := -1; dz <= 1; dz++ {
						at, ok := cells.get(uint64(int64(key) + int64(dx)<<(2*gridBits) + int64(dy)<<gridBits + int64(dz)))
						if !ok {
							continue
						}
						for j := first[at]; j != noPatch; j = next[j] {
							if w := c.vectors[j]; int(j) != i && r3.Dot(v, w) > limit*length(w) {
								sum = r3.Add(sum, w)
							}
						}
					}
				}
			}
			if l := length(sum); l > 0 {
				c.normals[i] = r3.Scale(1/l, sum)
			}
		}
	})
	c.tree = newKDTree(c.points, c.normals)
}

// centroid is the area-weighted middle of the patches.
func (c *cloud) centroid() r3.Vec {
	var sum r3.Vec
	for i, p := range c.points {
		sum = r3.Add(sum, r3.Scale(c.areas[i]/c.total, p))
	}
	return sum
}
