package ply

import (
	"encoding/binary"
	"fmt"
	"math"
	"sync/atomic"
)

// fastFaces reads the commonest binary body of faces: nothing but one list of
// 32-bit corners with a length of one byte, always 3. It says whether it did;
// if not nothing has been read.
func (r *reader) fastFaces(e *element) (done bool, err error) {
	if r.head.format == ascii || len(e.properties) != 1 || e.count == 0 {
		return false, nil
	}
	p := &e.properties[0]
	if p.length.size() != 1 || p.kind.size() != 4 || p.kind.isFloat() {
		return false, nil
	}
	const record = 13
	if (len(r.body.data)-r.body.at)/record < e.count {
		return false, nil
	}
	data := r.body.data[r.body.at : r.body.at+record*e.count]
	var others atomic.Bool
	if err := r.blocks(e.count, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			if data[record*i] != 3 {
				others.Store(true)
				return
			}
		}
	}); err != nil {
		return false, err
	}
	if others.Load() {
		return false, nil
	}
	out := make([]uint32, 3*e.count)
	vertices := uint32(r.vertex.count)
	var first atomic.Int64
	first.Store(math.MaxInt64)
	swap := r.head.format == bigEndian
	err = r.blocks(e.count, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			from, to := data[record*i+1:record*i+record:record*i+record], out[3*i:3*i+3:3*i+3]
			var a, b, c uint32
			if swap {
				a, b, c = binary.BigEndian.Uint32(from), binary.BigEndian.Uint32(from[4:]), binary.BigEndian.Uint32(from[8:])
			} else {
				a, b, c = binary.LittleEndian.Uint32(from), binary.LittleEndian.Uint32(from[4:]), binary.LittleEndian.Uint32(from[8:])
			}
			// A negative corner is a very large one here.
			if a >= vertices || b >= vertices || c >= vertices {
				for {
					old := first.Load()
					if int64(i) >= old || first.CompareAndSwap(old, int64(i)) {
						break
					}
				}
			}
			to[0], to[1], to[2] = a, b, c
		}
	})
	if err != nil {
		return false, err
	}
	if i := first.Load(); i != math.MaxInt64 {
		return false, damaged(fmt.Sprintf("face %d", i), "has the corners %d, %d, %d and there are %d vertices",
			int32(out[3*i]), int32(out[3*i+1]), int32(out[3*i+2]), r.vertex.count)
	}
	r.body.at += len(data)
	if r.faces.triangles == nil {
		r.faces.triangles = out
	} else {
		r.faces.triangles = append(r.faces.triangles, out...) // after triangle strips
	}
	return true, nil
}
