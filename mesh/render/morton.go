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
	keys := make([]uint64, n)
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
			key := uint64(notANumber)
			if x >= 0 && y >= 0 && z >= 0 && x < 1024 && y < 1024 && z < 1024 {
				key = spread(uint32(x)) | spread(uint32(y))<<1 | spread(uint32(z))<<2
			}
			keys[f] = key<<32 | uint64(f)
		}
	})
	keys = radixSort(keys)
	for len(keys) > 0 && keys[len(keys)-1]>>32 == notANumber {
		keys = keys[:len(keys)-1]
	}
	order := make([]uint32, len(keys))
	for i, k := range keys {
		order[i] = uint32(k)
	}
	return order
}

// notANumber sorts behind every cell, which has 30 bits.
const notANumber = 1 << 30

// spread puts two zero bits between the ten lowest bits of x.
func spread(x uint32) uint64 {
	x &= 0x3FF
	x = (x | x<<16) & 0x030000FF
	x = (x | x<<8) & 0x0300F00F
	x = (x | x<<4) & 0x030C30C3
	x = (x | x<<2) & 0x09249249
	return uint64(x)
}

// radixSort sorts by the bits from 32 to 63 in passes of 11 bits, keeping the
// order of equals. It may return either of two slices.
func radixSort(a []uint64) []uint64 {
	b := make([]uint64, len(a))
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
