package facemap

import (
	"math/bits"
	"slices"

	"rigatino/mesh"
)

// MaxLevel is the finest subdivision of a face: 4^3 = 64 cells.
const MaxLevel = 3

// Sub is the labels of a face that an outline crosses: 4^Level cells of its
// uniform subdivision in quadtree order. Each step cuts a triangle (a, b, c) at
// the middles of its sides into (a, ab, ca), (ab, b, bc), (ca, bc, c) and
// (bc, ca, ab), in this order; the first base-4 digit of a cell number is the
// first step. A Sub is never changed once made.
type Sub struct {
	Level     uint8
	Substance []uint16  // one region number per cell, 0 unassigned
	Over      []SubOver // sorted by region, none empty
}

// SubOver says in which cells an applied or condition region lies: bit i for
// cell i.
type SubOver struct {
	Region uint16
	Layer  Layer
	Cells  uint64
}

// Cells returns the number of cells at a level.
func Cells(level uint8) int { return 1 << (2 * level) }

// allCells is the mask of every cell at a level.
func allCells(level uint8) uint64 { return ^uint64(0) >> (64 - Cells(level)) }

// CellAt returns the cell of a face at a level that holds the place with the
// given barycentric weights.
func CellAt(level uint8, w [3]float64) int {
	cell := 0
	for range level {
		switch {
		case w[0] >= 0.5:
			cell, w = 4*cell, [3]float64{2*w[0] - 1, 2 * w[1], 2 * w[2]}
		case w[1] >= 0.5:
			cell, w = 4*cell+1, [3]float64{2 * w[0], 2*w[1] - 1, 2 * w[2]}
		case w[2] >= 0.5:
			cell, w = 4*cell+2, [3]float64{2 * w[0], 2 * w[1], 2*w[2] - 1}
		default:
			cell, w = 4*cell+3, [3]float64{1 - 2*w[0], 1 - 2*w[1], 1 - 2*w[2]}
		}
	}
	return cell
}

// CellCorners returns the barycentric weights of the three corners of a cell.
// They are multiples of 2^-level, so exact.
func CellCorners(level uint8, cell int) [3][3]float64 {
	t := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	mid := func(a, b [3]float64) [3]float64 {
		return [3]float64{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2}
	}
	for step := int(level) - 1; step >= 0; step-- {
		ab, bc, ca := mid(t[0], t[1]), mid(t[1], t[2]), mid(t[2], t[0])
		switch cell >> (2 * step) & 3 {
		case 0:
			t = [3][3]float64{t[0], ab, ca}
		case 1:
			t = [3][3]float64{ab, t[1], bc}
		case 2:
			t = [3][3]float64{ca, bc, t[2]}
		default:
			t = [3][3]float64{bc, ca, ab}
		}
	}
	return t
}

// cellCentres[level][cell] is the barycentric centroid of a cell.
var cellCentres = func() (out [MaxLevel + 1][][3]float64) {
	for level := range out {
		out[level] = make([][3]float64, Cells(uint8(level)))
		for cell := range out[level] {
			t := CellCorners(uint8(level), cell)
			for k := range 3 {
				out[level][cell][k] = (t[0][k] + t[1][k] + t[2][k]) / 3
			}
		}
	}
	return out
}()

// centreOf returns the place of a cell's centroid.
func centreOf(face uint32, level uint8, cell int) mesh.SurfacePoint {
	return mesh.SurfacePoint{Face: face, Weights: cellCentres[level][cell]}
}

// finerMask spreads a mask of cells over the cells of a finer level.
func finerMask(mask uint64, from, to uint8) uint64 {
	for ; from < to; from++ {
		var out uint64
		for i := range Cells(from) {
			if mask>>i&1 == 1 {
				out |= 0xF << (4 * i)
			}
		}
		mask = out
	}
	return mask
}

// finer returns a copy of s at a finer (or the same) level.
func (s *Sub) finer(level uint8) *Sub {
	out := &Sub{Level: level, Substance: make([]uint16, Cells(level))}
	shift := 2 * (level - s.Level)
	for i := range out.Substance {
		out.Substance[i] = s.Substance[i>>shift]
	}
	for _, o := range s.Over {
		out.Over = append(out.Over, SubOver{o.Region, o.Layer, finerMask(o.Cells, s.Level, level)})
	}
	return out
}

// over returns the cells of an applied or condition region.
func (s *Sub) over(region uint16) uint64 {
	if i, ok := slices.BinarySearchFunc(s.Over, region, compareOver); ok {
		return s.Over[i].Cells
	}
	return 0
}

// setOver replaces the cells of a region; only for a Sub still being made.
func (s *Sub) setOver(region uint16, layer Layer, cells uint64) {
	i, ok := slices.BinarySearchFunc(s.Over, region, compareOver)
	switch {
	case ok && cells == 0:
		s.Over = slices.Delete(s.Over, i, i+1)
	case ok:
		s.Over[i].Cells = cells
	case cells != 0:
		s.Over = slices.Insert(s.Over, i, SubOver{region, layer, cells})
	}
}

func compareOver(o SubOver, region uint16) int { return int(o.Region) - int(region) }

// uniform says whether all cells hold the same labels, so that no Sub is
// needed.
func (s *Sub) uniform() bool {
	for _, l := range s.Substance[1:] {
		if l != s.Substance[0] {
			return false
		}
	}
	for _, o := range s.Over {
		if o.Cells != allCells(s.Level) {
			return false
		}
	}
	return true
}

// majority returns the number that most cells hold; of equals the lowest.
func (s *Sub) majority() uint16 {
	best, most := uint16(0), 0
	for _, l := range s.Substance {
		n := 0
		for _, k := range s.Substance {
			if k == l {
				n++
			}
		}
		if n > most || (n == most && l < best) {
			best, most = l, n
		}
	}
	return best
}

// mostly says whether a region holds at least half of the cells.
func (s *Sub) mostly(region uint16) bool {
	return 2*bits.OnesCount64(s.over(region)) >= Cells(s.Level)
}

func (s *Sub) equal(o *Sub) bool {
	if s == nil || o == nil {
		return s == o
	}
	return s.Level == o.Level && slices.Equal(s.Substance, o.Substance) && slices.Equal(s.Over, o.Over)
}
