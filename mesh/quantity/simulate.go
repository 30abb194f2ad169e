package quantity

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
)

// Simulated is the distribution of a result, found by drawing its inputs from
// theirs (JCGM 101:2008): for results that are far from linear in their inputs,
// or whose largest input is far from normal.
type Simulated struct {
	Mean, U   float64 // estimate and standard uncertainty (JCGM 101 7.6)
	Low, High float64 // shortest interval that holds 95.45 % (JCGM 101 5.3.4)
}

// simulateBlock is the number of trials one generator makes: blocks are drawn
// side by side, and which trial gets which number does not depend on that.
const simulateBlock = 1 << 14

// Simulate draws every term independently from its distribution, a normal one
// of few degrees of freedom from Student's t with U as scale (JCGM 101 6.4.9),
// and evaluates f. The same seed gives the same result on any number of cores.
// It fails only when ctx is done. f is called from several goroutines.
func Simulate(ctx context.Context, inputs []Term, trials int, seed uint64, f func(x []float64) float64) (Simulated, error) {
	return simulate(ctx, inputs, trials, seed, coverageTwoSigma, f)
}

func simulate(ctx context.Context, inputs []Term, trials int, seed uint64, share float64, f func(x []float64) float64) (Simulated, error) {
	got := make([]float64, trials)
	blocks := (trials + simulateBlock - 1) / simulateBlock
	next := make(chan int, blocks)
	for b := range blocks {
		next <- b
	}
	close(next)
	var all sync.WaitGroup
	for range min(blocks, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			x := make([]float64, len(inputs))
			for b := range next {
				if ctx.Err() != nil {
					return
				}
				random := rand.New(rand.NewPCG(seed, uint64(b)))
				for i := b * simulateBlock; i < min(trials, (b+1)*simulateBlock); i++ {
					for k := range inputs {
						x[k] = inputs[k].draw(random)
					}
					got[i] = f(x)
				}
			}
		})
	}
	all.Wait()
	if err := ctx.Err(); err != nil || trials == 0 {
		return Simulated{}, err
	}
	slices.Sort(got) // sums in rising order are the same whoever drew what
	var out Simulated
	for _, y := range got {
		out.Mean += y / float64(trials)
	}
	for _, y := range got {
		out.U += (y - out.Mean) * (y - out.Mean) / float64(max(1, trials-1))
	}
	out.U = math.Sqrt(out.U)
	out.Low, out.High = shortest(got, share)
	return out, nil
}

// shortest is the shortest interval of sorted values that holds a share of
// them (JCGM 101 7.7.4).
func shortest(sorted []float64, share float64) (low, high float64) {
	q := min(len(sorted)-1, int(share*float64(len(sorted))+0.5))
	best := 0
	for i := 0; i+q < len(sorted); i++ {
		if sorted[i+q]-sorted[i] < sorted[best+q]-sorted[best] {
			best = i
		}
	}
	return sorted[best], sorted[best+q]
}

// draw makes one value of the term. The distributions are those of JCGM 101
// table 1; Student's t is drawn by Bailey's polar method (Math. Comp. 62:779,
// 1994).
func (t Term) draw(random *rand.Rand) float64 {
	p := random.Float64()
	switch t.Distribution {
	case Rectangular:
		return t.Value + t.U*math.Sqrt(3)*(2*p-1)
	case Triangular:
		return t.Value + t.U*math.Sqrt(6)*(p+random.Float64()-1)
	case Arcsine:
		return t.Value + t.U*math.Sqrt2*math.Sin(2*math.Pi*p)
	}
	p = 1 - p // never 0
	turn := math.Cos(2 * math.Pi * random.Float64())
	if t.finite() {
		return t.Value + t.U*math.Sqrt(t.Dof*(math.Pow(p, -2/t.Dof)-1))*turn
	}
	return t.Value + t.U*math.Sqrt(-2*math.Log(p))*turn
}

// Measured gives the result with a coverage factor that makes the symmetric
// interval about the mean hold what the shortest one does.
func (s Simulated) Measured(unit, method string) Measured {
	m := Measured{Value: s.Mean, U: s.U, K: 2, Unit: unit, Method: method}
	if s.U > 0 {
		m.K = max(s.Mean-s.Low, s.High-s.Mean) / s.U
	}
	return m
}
