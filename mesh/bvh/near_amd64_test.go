package bvh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Eight boxes at once give, to the last bit, what one after the other gives
// (IEEE 754: the same operations in the same order round alike), for boxes
// round, beside and on the place, and without size.
func TestEightAtOnceIsPlain(t *testing.T) {
	if !eightAtOnce {
		t.Skip("this processor takes no eight boxes at once")
	}
	random := rand.New(rand.NewPCG(11, 11))
	number := func() float32 { return float32(math.Pow(10, 6*random.Float64()-3) * (random.Float64() - 0.5)) }
	inside, outside := 0, 0
	for range 20_000 {
		p := probe{number(), number(), number(), float32(math.Pow(10, 8*random.Float64()-2))}
		var n eight
		for i := range 3 {
			n.base[i], n.step[i] = number(), max(0, number())
		}
		for k := range width {
			for _, side := range []*uint8{&n.lowX[k], &n.lowY[k], &n.lowZ[k], &n.highX[k], &n.highY[k], &n.highZ[k]} {
				*side = uint8(random.Uint32())
			}
		}
		var a, b [width]float32
		one, other := near8(&n, &p, &a), n.nearPlain(&p, &b)
		if one != other {
			t.Fatalf("boxes %08b at once, %08b one by one, distances %v, bound %g", one, other, b, p.bound2)
		}
		for k := range width {
			if math.Float32bits(a[k]) != math.Float32bits(b[k]) {
				t.Fatalf("box %d is %g away at once, %g one by one", k, a[k], b[k])
			}
			if one>>k&1 == 1 {
				inside++
			} else {
				outside++
			}
		}
	}
	if inside < 10_000 || outside < 10_000 {
		t.Errorf("%d boxes within the bound and %d beyond: the test proves little", inside, outside)
	}
}
