package gltf

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// EXT_meshopt_compression: a buffer view whose bytes are packed. Decoding
// follows the extension's text, Appendix A (bitstreams) and B (filters); where
// the text of the 4-bit packing names delta1 twice, the upper half is delta0.
//
// KHR_meshopt_compression and version 1 of the attribute stream are other
// bitstreams and are refused, as is the filter QUATERNION, which no mesh needs.

// packed is the JSON of the extension on a buffer view.
type packed struct {
	Buffer     int    `json:"buffer"`
	ByteOffset int    `json:"byteOffset"`
	ByteLength int    `json:"byteLength"`
	ByteStride int    `json:"byteStride"`
	Count      int    `json:"count"`
	Mode       string `json:"mode"`
	Filter     string `json:"filter"`
}

var errPacked = errors.New("breaks off or does not fit its count")

// unpackView returns the bytes of a compressed view, unpacked once.
func (r *reader) unpackView(i int, v *BufferView) ([]byte, error) {
	if data, ok := r.unpacked[i]; ok {
		return data, nil
	}
	where := fmt.Sprintf("buffer view %d", i)
	var p packed
	if _, err := v.Extensions.get(where, extMeshopt, &p); err != nil {
		return nil, err
	}
	b, err := r.buffer(p.Buffer)
	if err != nil {
		return nil, err
	}
	if !b.holds(p.ByteOffset, p.ByteLength) {
		return nil, damaged(where, "asks for %d packed bytes from byte %d of buffer %d, which has %d", p.ByteLength, p.ByteOffset, p.Buffer, b.size)
	}
	out, err := p.unpack(b.bytes(p.ByteOffset, p.ByteLength))
	if err != nil {
		return nil, damaged(where, "is packed (%s) and %v", brief(p.Mode), err)
	}
	if v.ByteLength < 0 || v.ByteLength > len(out) {
		return nil, damaged(where, "should have %d bytes and unpacks to %d", v.ByteLength, len(out))
	}
	if r.unpacked == nil {
		r.unpacked = map[int][]byte{}
	}
	r.present += int64(len(out))
	r.unpacked[i] = out
	return out, nil
}

// unpack decodes the stream and applies the filter.
func (p *packed) unpack(data []byte) ([]byte, error) {
	if p.Count < 0 || p.ByteStride < 1 || p.ByteStride > 256 || p.Count > math.MaxInt/256 {
		return nil, fmt.Errorf("has %d elements of %d bytes", p.Count, p.ByteStride)
	}
	var out []byte
	var err error
	switch p.Mode {
	case "ATTRIBUTES":
		out, err = unpackAttributes(data, p.Count, p.ByteStride)
	case "TRIANGLES":
		out, err = unpackTriangles(data, p.Count, p.ByteStride)
	case "INDICES":
		out, err = unpackIndices(data, p.Count, p.ByteStride)
	default:
		return nil, fmt.Errorf("has the unknown mode %q", brief(p.Mode))
	}
	if err != nil {
		return nil, err
	}
	switch {
	case p.Filter == "" || p.Filter == "NONE":
		return out, nil
	case p.Filter == "OCTAHEDRAL" && (p.ByteStride == 4 || p.ByteStride == 8):
		octahedral(out, p.ByteStride/4)
		return out, nil
	case p.Filter == "EXPONENTIAL" && p.ByteStride%4 == 0:
		exponential(out)
		return out, nil
	}
	return nil, fmt.Errorf("has the filter %q, which is not read for %d bytes", brief(p.Filter), p.ByteStride)
}

// group is the number of elements whose deltas are stored together.
const group16 = 16

// blockElements is the number of elements of a full attribute block.
func blockElements(stride int) int { return min(8192/stride&^(group16-1), 256) }

// unpackAttributes decodes mode 0: for each block and each byte of the element,
// groups of 16 zigzag-coded differences from the element before.
func unpackAttributes(data []byte, count, stride int) ([]byte, error) {
	if stride%4 != 0 {
		return nil, fmt.Errorf("has elements of %d bytes", stride)
	}
	tail := max(stride, 32)
	if len(data) < 1+tail {
		return nil, errPacked
	}
	if data[0] != 0xa0 {
		return nil, fmt.Errorf("has the header %#02x, which is not read", data[0])
	}
	// The header bits alone take stride bytes for 64 elements: with fewer bytes
	// than that the count is a lie, and no memory is set aside for it.
	if least := count / 64 * stride; count/64 > len(data) || len(data) < least {
		return nil, errPacked
	}
	last := append([]byte(nil), data[len(data)-stride:]...)
	data = data[1 : len(data)-tail]
	out := make([]byte, count*stride)
	var deltas [256]byte
	for at := 0; at < count; at += blockElements(stride) {
		n := min(blockElements(stride), count-at)
		for k := range stride {
			rest, err := unpackDeltas(data, deltas[:(n+group16-1)/group16*group16])
			if err != nil {
				return nil, err
			}
			data = rest
			x := last[k]
			for i := range n {
				d := deltas[i]
				x += d>>1 ^ -(d & 1)
				out[(at+i)*stride+k] = x
			}
			last[k] = x
		}
	}
	if len(data) != 0 {
		return nil, errPacked
	}
	return out, nil
}

// unpackDeltas decodes the groups of one byte of a block and returns what
// follows.
func unpackDeltas(data, deltas []byte) ([]byte, error) {
	groups := len(deltas) / group16
	header := (groups + 3) / 4
	if len(data) < header {
		return nil, errPacked
	}
	bits, data := data[:header], data[header:]
	for g := range groups {
		out := deltas[g*group16 : (g+1)*group16]
		width := 0
		switch bits[g/4] >> (g % 4 * 2) & 3 {
		case 0:
			clear(out)
			continue
		case 1:
			width = 2
		case 2:
			width = 4
		case 3:
			if len(data) < group16 {
				return nil, errPacked
			}
			copy(out, data)
			data = data[group16:]
			continue
		}
		// Small differences in 2 or 4 bits, from the upper end of each byte; all
		// ones says that the difference follows the group as a byte.
		size := group16 * width / 8
		if len(data) < size {
			return nil, errPacked
		}
		small, full := data[:size], data[size:]
		ones := byte(1)<<width - 1
		for i := range out {
			x := small[i*width/8] >> (8 - width - i*width%8) & ones
			if x == ones {
				if len(full) == 0 {
					return nil, errPacked
				}
				x, full = full[0], full[1:]
			}
			out[i] = x
		}
		data = full
	}
	return data, nil
}

// varint reads an unsigned LEB128 number of at most 32 bits.
func varint(data []byte) (uint32, []byte, error) {
	var x uint32
	for i := 0; i < 5 && i < len(data); i++ {
		x |= uint32(data[i]&0x7f) << (7 * i)
		if data[i] < 0x80 {
			return x, data[i+1:], nil
		}
	}
	return 0, nil, errPacked
}

// zigzag decodes a signed number.
func zigzag(x uint32) uint32 { return x>>1 ^ -(x & 1) }

// ring remembers the last 16 things pushed; 0 is the newest.
type ring[T any] struct {
	items [16]T
	at    uint8
}

func (r *ring[T]) push(x T) {
	r.items[r.at&15] = x
	r.at++
}

func (r *ring[T]) get(i uint8) T { return r.items[(r.at-1-i)&15] }

// triangles holds the state of decoding mode 1.
type triangleStream struct {
	data       []byte // what follows the codes
	next, last uint32
	edges      ring[[2]uint32]
	vertices   ring[uint32]
	err        error
}

// index reads an explicit index.
func (s *triangleStream) index() uint32 {
	x, rest, err := varint(s.data)
	if err != nil {
		s.err = err
		return 0
	}
	s.data = rest
	s.last += zigzag(x)
	return s.last
}

// fresh returns the next index not seen before.
func (s *triangleStream) fresh() uint32 {
	s.next++
	return s.next - 1
}

// unpackTriangles decodes mode 1: one code byte a triangle.
func unpackTriangles(data []byte, count, stride int) ([]byte, error) {
	const tail = 16
	if count%3 != 0 || stride != 2 && stride != 4 {
		return nil, fmt.Errorf("has %d indices of %d bytes", count, stride)
	}
	if len(data) < 1+tail || count/3 > len(data)-1-tail {
		return nil, errPacked
	}
	if data[0] != 0xe1 {
		return nil, fmt.Errorf("has the header %#02x, which is not read", data[0])
	}
	codes, table := data[1:1+count/3], data[len(data)-tail:]
	s := triangleStream{data: data[1+count/3 : len(data)-tail]}
	out := make([]byte, 0, count*stride)
	for _, code := range codes {
		t := s.triangle(code, table)
		if s.err != nil {
			return nil, s.err
		}
		for _, v := range t {
			if stride == 4 {
				out = binary.LittleEndian.AppendUint32(out, v)
			} else {
				out = binary.LittleEndian.AppendUint16(out, uint16(v))
			}
		}
	}
	if len(s.data) != 0 {
		return nil, errPacked
	}
	return out, nil
}

// triangle decodes one triangle.
func (s *triangleStream) triangle(code byte, table []byte) [3]uint32 {
	if code < 0xf0 {
		return s.acrossEdge(code>>4, code&15)
	}
	explicit := code >= 0xfe
	pick := table[code&15]
	if explicit {
		if len(s.data) == 0 {
			s.err = errPacked
			return [3]uint32{}
		}
		pick, s.data = s.data[0], s.data[1:]
		if pick == 0 {
			s.next = 0
		}
	}
	z, w := pick>>4, pick&15
	// corner finds b or c: a new index, one lately seen, or an explicit one.
	corner := func(x byte) uint32 {
		switch {
		case x == 0:
			return s.fresh()
		case x == 15 && explicit:
			return s.index()
		}
		return s.vertices.get(x - 1)
	}
	var a uint32
	if code == 0xff {
		a = s.index()
	} else {
		a = s.fresh()
	}
	b := corner(z)
	c := corner(w)
	s.edges.push([2]uint32{b, a})
	s.edges.push([2]uint32{c, b})
	s.edges.push([2]uint32{a, c})
	s.vertices.push(a)
	if z == 0 || z == 15 && explicit {
		s.vertices.push(b)
	}
	if w == 0 || w == 15 && explicit {
		s.vertices.push(c)
	}
	return [3]uint32{a, b, c}
}

// acrossEdge decodes a triangle on edge x of those lately seen, whose third
// corner y says how to find.
func (s *triangleStream) acrossEdge(x, y byte) [3]uint32 {
	e := s.edges.get(x)
	var c uint32
	switch y {
	case 0:
		c = s.fresh()
	case 13:
		s.last--
		c = s.last
	case 14:
		s.last++
		c = s.last
	case 15:
		c = s.index()
	default:
		c = s.vertices.get(y)
	}
	s.edges.push([2]uint32{c, e[1]})
	s.edges.push([2]uint32{e[0], c})
	if y == 0 || y >= 13 {
		s.vertices.push(c)
	}
	return [3]uint32{e[0], e[1], c}
}

// unpackIndices decodes mode 2: differences from one of two running indices.
func unpackIndices(data []byte, count, stride int) ([]byte, error) {
	const tail = 4
	if stride != 2 && stride != 4 {
		return nil, fmt.Errorf("has indices of %d bytes", stride)
	}
	if len(data) < 1+tail || count > len(data)-1-tail {
		return nil, errPacked
	}
	if data[0] != 0xd1 {
		return nil, fmt.Errorf("has the header %#02x, which is not read", data[0])
	}
	data = data[1 : len(data)-tail]
	out := make([]byte, 0, count*stride)
	var last [2]uint32
	for range count {
		x, rest, err := varint(data)
		if err != nil {
			return nil, err
		}
		data = rest
		last[x&1] += zigzag(x >> 1)
		if stride == 4 {
			out = binary.LittleEndian.AppendUint32(out, last[x&1])
		} else {
			out = binary.LittleEndian.AppendUint16(out, uint16(last[x&1]))
		}
	}
	if len(data) != 0 {
		return nil, errPacked
	}
	return out, nil
}

// octahedral turns octahedral unit vectors of four components of the given size
// into plain ones, in place. The third component holds 1; the fourth stays. The
// arithmetic is float32, as that of the reference decoder, so that the last bit is
// the same.
func octahedral(data []byte, size int) {
	get := func(p []byte, k int) float32 {
		if size == 1 {
			return float32(int8(p[k]))
		}
		return float32(int16(binary.LittleEndian.Uint16(p[2*k:])))
	}
	largest := float32(127)
	if size == 2 {
		largest = math.MaxInt16
	}
	for ; len(data) >= 4*size; data = data[4*size:] {
		x, y := get(data, 0), get(data, 1)
		z := get(data, 2) - abs32(x) - abs32(y)
		// The lower half of the octahedron is folded outward.
		if t := min(z, 0); t < 0 {
			x, y = toward0(x, t), toward0(y, t)
		}
		l := float32(math.Sqrt(float64(float32(x*x) + float32(y*y) + float32(z*z))))
		if !(l > 0) {
			x, y, z, l = 0, 0, 0, 1 // not a direction
		}
		s := largest / l
		for k, v := range [3]float32{x, y, z} {
			n := int16(math.RoundToEven(float64(float32(v * s))))
			if size == 1 {
				data[k] = byte(n)
			} else {
				binary.LittleEndian.PutUint16(data[2*k:], uint16(n))
			}
		}
	}
}

func abs32(x float32) float32 { return max(x, -x) }

// toward0 adds t, which is negative, to the size of x.
func toward0(x, t float32) float32 {
	if x >= 0 {
		return x + t
	}
	return x - t
}

// exponential turns numbers of 8 bits of exponent and 24 of mantissa into
// float32, in place.
func exponential(data []byte) {
	for ; len(data) >= 4; data = data[4:] {
		x := int32(binary.LittleEndian.Uint32(data))
		f := float32(math.Ldexp(float64(x<<8>>8), int(x>>24)))
		binary.LittleEndian.PutUint32(data, math.Float32bits(f))
	}
}
