package bvh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Eight boxes at once give, to the last bit, what one after the other gives
// (IEEE 754: the same operations in the same order round alike), for boxes
// round, beside and on the place, without size, and empty slots.
func TestEightAtOnceIsPlain(t *testing.T) {
	if !eightAtOnce {
		t.Skip("this processor takes no eight boxes at once")
	}
	random := rand.New(rand.NewPCG(11, 11))
	number := func() float32 { return float32(math.Pow(10, 6*random.Float64()-3) * (random.Float64() - 0.5)) }
	inside, outside := 0, 0
	for range 20_000 {
		p := probe{number(), number(), number(), float32(math.Pow(10, 8*random.Float64()-2))}
		var n node
		var l leaf
		for i := range 3 {
			l.base[i], l.step[i] = number(), max(0, number())
		}
		for k := range width {
			low, size := [3]float32{number(), number(), number()}, [3]float32{}
			for i := range size {
				size[i] = max(0, number())
			}
			n.set(k, &box{low, [3]float32{low[0] + size[0], low[1] + size[1], low[2] + size[2]}}, 0)
			if random.IntN(8) == 0 {
				n.clear(k)
			}
			for _, side := range []*uint8{&l.lowX[k], &l.lowY[k], &l.lowZ[k], &l.highX[k], &l.highY[k], &l.highZ[k]} {
				*side = uint8(random.Uint32())
			}
		}
		check := func(what string, fast, plain func(*[width]float32) uint32) {
			var a, b [width]float32
			one, other := fast(&a), plain(&b)
			if one != other {
				t.Fatalf("%s: boxes %08b at once, %08b one by one, distances %v, bound %g", what, one, other, b, p.bound2)
			}
			within := p.bound2
			for _, bound := range []float32{b[0], float32(math.Inf(1))} {
				p.bound2 = bound // met exactly by the first, and by all
				if one, other := fast(&a), plain(&b); one != other || one&1 == 0 {
					t.Fatalf("%s: boxes %08b at once, %08b one by one, distances %v, bound %g", what, one, other, b, bound)
				}
			}
			p.bound2 = within
			for k := range width {
				if math.Float32bits(a[k]) != math.Float32bits(b[k]) {
					t.Fatalf("%s: box %d is %g away at once, %g one by one", what, k, a[k], b[k])
				}
				if one>>k&1 == 1 {
					inside++
				} else {
					outside++
				}
			}
		}
		check("node", func(d *[width]float32) uint32 { return nearNode(&n, &p, d) }, func(d *[width]float32) uint32 { return n.nearPlain(&p, d) })
		check("leaf", func(d *[width]float32) uint32 { return nearLeaf(&l, &p, d) }, func(d *[width]float32) uint32 { return l.nearPlain(&p, d) })
	}
	if inside < 10_000 || outside < 10_000 {
		t.Errorf("%d boxes within the bound and %d beyond: the test proves little", inside, outside)
	}
}
