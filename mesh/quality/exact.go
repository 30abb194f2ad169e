package quality

import (
	"math"
	"math/big"
)

// point is a stored vertex, about the mesh's Origin.
type point [3]float32

// Error bounds of the determinants below for one rounding unit of 2⁻⁵³, after
// Shewchuk, Discrete & Computational Geometry 18 (1997) 305-363.
const (
	unit      = 0x1p-53
	doubtIn3D = (7 + 56*unit) * unit
	doubtIn2D = (3 + 16*unit) * unit
)

// side says on which side of the plane through a, b, c the point d lies: 1 on
// the side from which they turn clockwise, -1 on the other, 0 in the plane. The answer
// is exact for every float32.
func side(a, b, c, d *point) int {
	ax, ay, az := float64(a[0])-float64(d[0]), float64(a[1])-float64(d[1]), float64(a[2])-float64(d[2])
	bx, by, bz := float64(b[0])-float64(d[0]), float64(b[1])-float64(d[1]), float64(b[2])-float64(d[2])
	cx, cy, cz := float64(c[0])-float64(d[0]), float64(c[1])-float64(d[1]), float64(c[2])-float64(d[2])
	bxcy, cxby := bx*cy, cx*by
	cxay, axcy := cx*ay, ax*cy
	axby, bxay := ax*by, bx*ay
	det := az*(bxcy-cxby) + bz*(cxay-axcy) + cz*(axby-bxay)
	size := (math.Abs(bxcy)+math.Abs(cxby))*math.Abs(az) +
		(math.Abs(cxay)+math.Abs(axcy))*math.Abs(bz) +
		(math.Abs(axby)+math.Abs(bxay))*math.Abs(cz)
	switch doubt := doubtIn3D * size; {
	case det > doubt:
		return 1
	case det < -doubt:
		return -1
	case size == 0:
		return 0
	}
	return exactSide(a, b, c, d)
}

// exactSide is side in whole numbers.
func exactSide(a, b, c, d *point) int {
	var m [3][3]*big.Int
	for i, p := range [3]*point{a, b, c} {
		for k := range 3 {
			m[i][k] = new(big.Int).Sub(whole(p[k]), whole(d[k]))
		}
	}
	det := new(big.Int)
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		minor := cross(m[j][0], m[j][1], m[k][0], m[k][1])
		det.Add(det, minor.Mul(minor, m[i][2]))
	}
	return det.Sign()
}

// turn says which way a, b, c turn in the plane of axes u and v: 1 to the left,
// -1 to the right, 0 not at all. The answer is exact.
func turn(a, b, c *point, u, v int) int {
	left := (float64(a[u]) - float64(c[u])) * (float64(b[v]) - float64(c[v]))
	right := (float64(a[v]) - float64(c[v])) * (float64(b[u]) - float64(c[u]))
	det, size := left-right, math.Abs(left)+math.Abs(right)
	switch doubt := doubtIn2D * size; {
	case det > doubt:
		return 1
	case det < -doubt:
		return -1
	case size == 0:
		return 0
	}
	sub := func(p, q float32) *big.Int { return new(big.Int).Sub(whole(p), whole(q)) }
	return cross(sub(a[u], c[u]), sub(a[v], c[v]), sub(b[u], c[u]), sub(b[v], c[v])).Sign()
}

// cross is ax·by - ay·bx.
func cross(ax, ay, bx, by *big.Int) *big.Int {
	p, q := new(big.Int).Mul(ax, by), new(big.Int).Mul(ay, bx)
	return p.Sub(p, q)
}

// whole is x in units of the smallest float32.
func whole(x float32) *big.Int {
	bits := math.Float32bits(x)
	mantissa, exponent := int64(bits&(1<<23-1)), uint(bits>>23&0xff)
	if exponent > 0 {
		mantissa |= 1 << 23
		exponent--
	}
	n := new(big.Int).Lsh(big.NewInt(mantissa), exponent)
	if bits>>31 == 1 {
		n.Neg(n)
	}
	return n
}
