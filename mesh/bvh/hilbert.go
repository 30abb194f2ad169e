package bvh

import (
	"context"
	"math/bits"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// curveBits is the number of bits an axis along the curve; points in one of the
// cells keep the order they have.
const curveBits = 8

// turn is what the curve does in one octant of a cell: how manieth it is and
// how the curve lies in it.
type turn struct{ rank, next uint8 }

// turns is the table of the three-dimensional Hilbert curve: 24 ways to lie in
// a cell, 8 octants each, made by the rules of Hamilton and Rau-Chaplin
// (Information Processing Letters 105:155, 2008).
var turns = func() (table [24][8]turn) {
	rotate := func(x, by uint) uint { by %= 3; return (x<<by | x>>(3-by)) & 7 }
	gray := func(x uint) uint { return x ^ x>>1 }
	for entry := range uint(8) {
		for axis := range uint(3) {
			for octant := range uint(8) {
				l := rotate(octant^entry, 3-(axis+1)%3)
				rank := l ^ l>>1 ^ l>>2
				var e, d uint
				if rank > 0 {
					e = gray((rank - 1) &^ 1)
					if rank%2 == 0 {
						d = uint(bits.TrailingZeros(^(rank - 1)))
					} else {
						d = uint(bits.TrailingZeros(^rank))
					}
				}
				next := (entry^rotate(e, axis+1))*3 + (axis+d%3+1)%3
				table[entry*3+axis][octant] = turn{uint8(rank), uint8(next)}
			}
		}
	}
	return table
}()

// curve is the place of a cell along the curve, coordinates of curveBits bits.
func curve(x, y, z uint32) uint64 {
	state := uint8(0)
	var h uint64
	for b := curveBits - 1; b >= 0; b-- {
		octant := x>>b&1 | y>>b&1<<1 | z>>b&1<<2
		t := turns[state%24][octant]
		h = h<<3 | uint64(t.rank)
		state = t.next
	}
	return h
}

// curveOrder returns the numbers of n points along the curve through a box a
// little larger than the tree's; points outside count as on its border. Equal
// places keep the order of their numbers.
func (t *Tree) curveOrder(ctx context.Context, n int, at func(i int) r3.Vec) ([]uint32, error) {
	const indexBits = 64 - 3*curveBits
	keys := make([]uint64, n)
	var low, step [3]float64
	for k := range 3 {
		size := float64(t.box.high[k]) - float64(t.box.low[k])
		low[k] = float64(t.box.low[k]) - size/16
		step[k] = (1 << curveBits) / (size * 9 / 8)
	}
	cell := func(x float64, k int) uint32 {
		// Not a number, without size and outside all end on the border.
		if c := (x - low[k]) * step[k]; c >= 1<<curveBits {
			return 1<<curveBits - 1
		} else if c > 0 {
			return uint32(c)
		}
		return 0
	}
	err := mesh.Parallel(ctx, (n+queryBlock-1)/queryBlock, func(b int) {
		for i := b * queryBlock; i < min(n, (b+1)*queryBlock); i++ {
			q := t.inTree(at(i))
			keys[i] = curve(cell(q.X, 0), cell(q.Y, 1), cell(q.Z, 2))<<indexBits | uint64(i)
		}
	})
	if err != nil {
		return nil, err
	}
	keys = sortKeys(keys, indexBits)
	order := make([]uint32, n)
	for i, k := range keys {
		order[i] = uint32(k & (1<<indexBits - 1))
	}
	return order, nil
}

// sortBlock is the number of keys that one worker counts at a time.
const sortBlock = 1 << 16

// sortKeys sorts by the bits from `shift` up: a radix sort of 12 bits a pass
// that keeps the order of equal keys.
func sortKeys(keys []uint64, shift int) []uint64 {
	const digit = 12
	n := len(keys)
	blocks := (n + sortBlock - 1) / sortBlock
	other := make([]uint64, n)
	counts := make([][1 << digit]uint32, blocks)
	for ; shift < 64; shift += digit {
		_ = mesh.Parallel(context.Background(), blocks, func(b int) {
			counts[b] = [1 << digit]uint32{}
			for _, k := range keys[b*sortBlock : min(n, (b+1)*sortBlock)] {
				counts[b][k>>shift&(1<<digit-1)]++
			}
		})
		var sum uint32
		for d := range 1 << digit {
			for b := range blocks {
				counts[b][d], sum = sum, sum+counts[b][d]
			}
		}
		_ = mesh.Parallel(context.Background(), blocks, func(b int) {
			for _, k := range keys[b*sortBlock : min(n, (b+1)*sortBlock)] {
				at := &counts[b][k>>shift&(1<<digit-1)]
				other[*at] = k
				*at++
			}
		})
		keys, other = other, keys
	}
	return keys
}
