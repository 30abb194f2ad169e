package gltf

import (
	"math"
	"sync"
)

// srgbTable maps linear light, in steps of 1/65535, to sRGB in 8 bits
// (IEC 61966-2-1).
var srgbTable = sync.OnceValue(func() *[65536]uint8 {
	var t [65536]uint8
	for i := range t {
		l := float64(i) / 65535
		s := 12.92 * l
		if l > 0.0031308 {
			s = 1.055*math.Pow(l, 1/2.4) - 0.055
		}
		t[i] = uint8(math.Round(255 * s))
	}
	return &t
})

// linearTable maps sRGB in 8 bits to linear light in steps of 1/65535.
var linearTable = sync.OnceValue(func() *[256]uint16 {
	var t [256]uint16
	for i := range t {
		s := float64(i) / 255
		l := s / 12.92
		if s > 0.04045 {
			l = math.Pow((s+0.055)/1.055, 2.4)
		}
		t[i] = uint16(math.Round(65535 * l))
	}
	return &t
})

// share16 rounds a number meant to lie in [0, 1] to steps of 1/65535.
func share16(x float64) uint16 {
	if !(x > 0) {
		return 0
	}
	return uint16(math.Round(65535 * min(x, 1)))
}
