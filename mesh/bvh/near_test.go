package bvh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Eight boxes at once give, to the last bit, what one after the other gives: on
// boxes near and far, flat and empty, from places inside, on their sides and
// outside, and with bounds that a distance meets exactly or that are infinite. Only
// distances that overflow are left out: coordinates of a tree are small numbers, and
// empty slots stand at 1e18, whose square does not. Reference: the plain
// arithmetic of IEEE 754 singles, which both follow operation by operation.
func TestEightBoxesAtOnce(t *testing.T) {
	if !eightAtOnce {
		t.Skip("this processor takes one box after the other")
	}
	random := rand.New(rand.NewPCG(5, 8))
	number := func() float32 {
		switch random.IntN(8) {
		case 0:
			return 0
		case 1:
			return float32(random.IntN(5) - 2)
		}
		return float32(random.NormFloat64() * math.Pow(10, float64(random.IntN(7)-3)))
	}
	same := func(what string, set, want uint32, d2, wanted [width]float32) {
		t.Helper()
		for k := range width {
			if math.Float32bits(d2[k]) != math.Float32bits(wanted[k]) {
				t.Fatalf("%s: distance %d is %v, one after the other %v", what, k, d2[k], wanted[k])
			}
		}
		if set != want {
			t.Fatalf("%s: the set is %08b, one after the other %08b", what, set, want)
		}
	}
	for range 20_000 {
		var n node
		var l leaf
		for k := range width {
			sides := [6]float32{number(), number(), number(), number(), number(), number()}
			n.lowX[k], n.highX[k] = min(sides[0], sides[1]), max(sides[0], sides[1])
			n.lowY[k], n.highY[k] = min(sides[2], sides[3]), max(sides[2], sides[3])
			n.lowZ[k], n.highZ[k] = min(sides[4], sides[5]), max(sides[4], sides[5])
			if random.IntN(4) == 0 {
				n.clear(k)
			}
			l.lowX[k], l.highX[k] = uint8(random.IntN(256)), uint8(random.IntN(256))
			l.lowY[k], l.highY[k] = uint8(random.IntN(256)), uint8(random.IntN(256))
			l.lowZ[k], l.highZ[k] = uint8(random.IntN(256)), uint8(random.IntN(256))
		}
		for k := range 3 {
			l.base[k], l.step[k] = number(), float32(math.Abs(float64(number())))
		}
		p := probe{number(), number(), number(), float32(math.Abs(float64(number())))}
		var d2, wanted [width]float32
		for _, bound := range []int{-1, -2, 0, 3, 7} {
			if bound == -2 {
				p.bound2 = float32(math.Inf(1))
			}
			if bound >= 0 { // a bound that one of them meets exactly
				n.nearPlain(&p, &wanted)
				p.bound2 = wanted[bound]
			}
			want := n.nearPlain(&p, &wanted)
			same("node", n.near(&p, &d2), want, d2, wanted)
			if bound >= 0 && want>>bound&1 == 0 {
				t.Fatalf("a box at the bound of %v is left out", p.bound2)
			}
			if bound >= 0 {
				l.nearPlain(&p, &wanted)
				p.bound2 = wanted[bound]
			}
			want = l.nearPlain(&p, &wanted)
			same("leaf", l.near(&p, &d2), want, d2, wanted)
		}
	}
}
