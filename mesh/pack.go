package mesh

import "math"

// PackNormal packs the direction of a vector: it holds three components of 10 bits each, -511 to 511, good to
// about 0.1 degrees; 0 is no normal at all.
func PackNormal(x, y, z float64) uint32 {
	l := math.Sqrt(x*x + y*y + z*z)
	if !(l > 0) || math.IsInf(l, 0) {
		return 0
	}
	q := func(v float64) uint32 { return uint32(int32(math.Round(v/l*511))+512) & 1023 }
	return q(x) | q(y)<<10 | q(z)<<20 | 1<<30
}

// UnpackNormal returns the normal times 511, the zero vector for none.
func UnpackNormal(p uint32) (x, y, z float32) {
	if p == 0 {
		return 0, 0, 0
	}
	return float32(int32(p&1023) - 512), float32(int32(p>>10&1023) - 512), float32(int32(p>>20&1023) - 512)
}
