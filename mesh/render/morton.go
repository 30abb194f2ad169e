package render

import (
	"context"
	"math"

	"rigatino/mesh"
)

const sortBlock = 1 << 14

// mortonOrder returns the faces of a mesh along a Morton curve through their
// middles, with 1024 cells along the longest side of the box: faces that are
// near each other come together, whatever the order of the file. Faces with a
// corner that is not a number are left out. Faces of one cell stay in the
// file's order.
func mortonOrder(m *mesh.Mesh, box mesh.Box) []uint32 {
	n := m.FaceCount()
	side := max(box.Max.X-box.Min.X, box.Max.Y-box.Min.Y, box.Max.Z-box.Min.Z)
	scale := 0.0
	if side > 0 && !math.IsInf(side, 0) {
		scale = 1023.999 / (3 * side)
	}
	ox, oy, oz := m.Origin.X-box.Min.X, m.Origin.Y-box.Min.Y, m.Origin.Z-box.Min.Z
	keys := make([]uint32, n)
	_ = mesh.Parallel(context.Background(), (n+sortBlock-1)/sortBlock, func(b int) {
		for f := b * sortBlock; f < min(n, (b+1)*sortBlock); f++ {
			t := m.Triangles[3*f : 3*f+3 : 3*f+3]
			var s [3]float64
			for _, v := range t {
				p := m.Positions[3*v : 3*v+3 : 3*v+3]
				s[0] += float64(p[0])
				s[1] += float64(p[1])
				s[2] += float64(p[2])
			}
			x, y, z := (s[0]+3*ox)*scale, (s[1]+3*oy)*scale, (s[2]+3*oz)*scale
			keys[f] = notANumber
			if x >= 0 && y >= 0 && z >= 0 && x < 1024 && y < 1024 && z < 1024 {
				keys[f] = spread(uint32(x)) | spread(uint32(y))<<1 | spread(uint32(z))<<2
			}
		}
	})
	return sortedPlaces(keys)
}

// bucketBits is the number of low bits of a key that tell places in a bucket
// apart; there is one bucket more, of what is no number.
const (
	bucketBits = 18
	buckets    = 1 << (30 - bucketBits)
)

// sortedPlaces returns the places of keys in the order of their values, those of
// equal value in their own order, but for those that are no number. Places are
// dealt out to buckets by the highest bits, then each bucket is sorted, several at
// once; beside keys and result it takes 16 bytes for each place in the fullest
// buckets.
func sortedPlaces(keys []uint32) []uint32 {
	n := len(keys)
	// Blocks are so large that their counts are few beside the keys.
	const block = 1 << 18
	at := make([][buckets + 1]uint32, (n+block-1)/block) // where a block's places of a bucket begin
	each := func(do func(b, from, to int)) {
		_ = mesh.Parallel(context.Background(), len(at), func(b int) { do(b, b*block, min(n, (b+1)*block)) })
	}
	each(func(b, from, to int) {
		for _, k := range keys[from:to] {
			at[b][k>>bucketBits]++
		}
	})
	var ends [buckets]uint32
	sum := uint32(0)
	for k := range buckets + 1 {
		for b := range at {
			at[b][k], sum = sum, sum+at[b][k]
		}
		if k < buckets {
			ends[k] = sum
		}
	}
	order := make([]uint32, n, (n+slots-1)/slots*slots) // so that newLevel can keep it
	each(func(b, from, to int) {
		for i, k := range keys[from:to] {
			order[at[b][k>>bucketBits]] = uint32(from + i)
			at[b][k>>bucketBits]++
		}
	})
	order = order[:ends[buckets-1]]
	const share = 64 // buckets of one worker at a time
	_ = mesh.Parallel(context.Background(), buckets/share, func(s int) {
		var pairs, spare []uint64
		for k := s * share; k < (s+1)*share; k++ {
			from := uint32(0)
			if k > 0 {
				from = ends[k-1]
			}
			places := order[from:ends[k]]
			if len(places) > len(pairs) {
				pairs, spare = make([]uint64, len(places)), make([]uint64, len(places))
			}
			for i, f := range places {
				pairs[i] = uint64(keys[f])<<32 | uint64(f)
			}
			for i, p := range radixSort(pairs[:len(places)], spare[:len(places)]) {
				places[i] = uint32(p)
			}
		}
	})
	return order
}

// notANumber sorts behind every cell, which has 30 bits.
const notANumber = 1 << 30

// spread puts two zero bits between the ten lowest bits of x.
func spread(x uint32) uint32 {
	x &= 0x3FF
	x = (x | x<<16) & 0x030000FF
	x = (x | x<<8) & 0x0300F00F
	x = (x | x<<4) & 0x030C30C3
	x = (x | x<<2) & 0x09249249
	return x
}

// radixSort sorts by the bits from 32 to 63 in passes of 11 bits, keeping the
// order of equals. b is as long as a; the result is in either of the two.
func radixSort(a, b []uint64) []uint64 {
	for shift := 32; shift < 64; shift += 11 {
		var count [2048]int
		for _, k := range a {
			count[k>>shift&2047]++
		}
		if count[a0(a)>>shift&2047] == len(a) {
			continue // one value only: nothing to do
		}
		at := 0
		for i, c := range count {
			count[i] = at
			at += c
		}
		for _, k := range a {
			d := k >> shift & 2047
			b[count[d]] = k
			count[d]++
		}
		a, b = b, a
	}
	return a
}

func a0(a []uint64) uint64 {
	if len(a) == 0 {
		return 0
	}
	return a[0]
}
