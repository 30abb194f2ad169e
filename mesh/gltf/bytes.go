package gltf

import (
	"encoding/binary"
	"math"
	"unsafe"
)

// glTF is little-endian. Where the machine is too and the bytes lie on a
// multiple of four, arrays of float32 and uint32 are looked at in place; else
// they are decoded number by number.
var littleEndian = binary.NativeEndian.Uint16([]byte{1, 0}) == 1

// aligned says whether b may be looked at as 4-byte numbers in place.
func aligned(b []byte) bool {
	return littleEndian && len(b) >= 4 && uintptr(unsafe.Pointer(unsafe.SliceData(b)))%4 == 0
}

// float32sOf looks at b, which must be aligned, as float32.
func float32sOf(b []byte) []float32 {
	return unsafe.Slice((*float32)(unsafe.Pointer(unsafe.SliceData(b))), len(b)/4)
}

// uint32sOf looks at b, which must be aligned, as uint32.
func uint32sOf(b []byte) []uint32 {
	return unsafe.Slice((*uint32)(unsafe.Pointer(unsafe.SliceData(b))), len(b)/4)
}

// bytesOfFloat32s returns the little-endian bytes of f, in place if it can.
func bytesOfFloat32s(f []float32) []byte {
	if len(f) == 0 {
		return nil
	}
	if littleEndian {
		return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(f))), 4*len(f))
	}
	b := make([]byte, 0, 4*len(f))
	for _, x := range f {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	return b
}

// bytesOfUint32s returns the little-endian bytes of u, in place if it can.
func bytesOfUint32s(u []uint32) []byte {
	if len(u) == 0 {
		return nil
	}
	if littleEndian {
		return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(u))), 4*len(u))
	}
	b := make([]byte, 0, 4*len(u))
	for _, x := range u {
		b = binary.LittleEndian.AppendUint32(b, x)
	}
	return b
}
