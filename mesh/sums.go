package mesh

import (
	"context"
	"math"
)

// sumBlock is the number of terms added by one worker at a time. It is part of
// the result: another block size rounds differently.
const sumBlock = 8192

// Sum adds float64 terms with Neumaier's compensation (Z. Angew. Math. Mech.
// 54:39, 1974), so that many small terms beside a few large ones keep their
// digits. The zero value is an empty sum.
type Sum struct{ s, c float64 }

// Add adds one term.
func (a *Sum) Add(x float64) {
	t := a.s + x
	if math.Abs(a.s) >= math.Abs(x) {
		a.c += (a.s - t) + x
	} else {
		a.c += (x - t) + a.s
	}
	a.s = t
}

// Value returns the compensated sum.
func (a *Sum) Value() float64 { return a.s + a.c }

// SumBlocks returns f(0) + … + f(n-1), added in fixed blocks with
// compensation, so that the result has the same bits on any number of
// processors. f is called from several goroutines at once.
func SumBlocks(n int, f func(i int) float64) float64 {
	sums := sumVectors(n, func(i int) [1]float64 { return [1]float64{f(i)} })
	return sums[0]
}

// sumVectors is SumBlocks for several sums made in one pass.
func sumVectors[V [1]float64 | [4]float64 | [10]float64](n int, f func(i int) V) V {
	blocks := (n + sumBlock - 1) / sumBlock
	parts := make([]V, blocks)
	// A nil context is never done, so there is no error to look at.
	_ = Parallel(context.Background(), blocks, func(b int) {
		var acc [10]Sum
		for i := b * sumBlock; i < min(n, (b+1)*sumBlock); i++ {
			v := f(i)
			for k := range len(v) {
				acc[k].Add(v[k])
			}
		}
		for k := range len(parts[b]) {
			parts[b][k] = acc[k].Value()
		}
	})
	var total [10]Sum
	var out V
	for _, p := range parts {
		for k := range len(p) {
			total[k].Add(p[k])
		}
	}
	for k := range len(out) {
		out[k] = total[k].Value()
	}
	return out
}
