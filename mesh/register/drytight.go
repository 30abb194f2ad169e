package register

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Numbers of tighten.
const (
	noiseCell   = 8    // patch sizes: cells in which noise is seen
	noisePlaces = 8    // places that make one
	drawnCells  = 4    // cells that a position is drawn from
	drawnOften  = 300  // times
	drawnPlaces = 2000 // places that a drawn position is counted by
	tightRounds = 6    // of the fit after it
)

// tighten looks for the position in which most of the break touches to within
// the noise. The spread of the gaps does not tell: where chips were lost from one
// end, a tilt spreads that step over the whole break and a fit keeps it, since
// every residual stays small. So cells are drawn at random, the position that a
// few of them ask for is taken, and the one kept that brings most places together
// as closely as the noise lets them (random sampling, Fischler and Bolles, Comm.
// ACM 24:381, 1981, on the linear step). Noise is seen in cells so small that
// neither tilt nor step shows in most.
func (d *dry) tighten(ctx context.Context) error {
	f := d.fine
	f.measure()
	sigma := math.Max(f.noise(), f.size/60)
	for range 2 {
		x, ok := f.drawn(2.5 * sigma)
		if !ok {
			break
		}
		f.pose = advance(f.pose, x, rigidPart, f.middle())
		if err := f.look(ctx, 4*f.size); err != nil {
			return err
		}
	}
	for range tightRounds {
		x, ok := f.system(4.685*sigma, nil).solve(rigidPart, f.radius, 1e-9)
		if !ok {
			break
		}
		f.pose = advance(f.pose, x, rigidPart, f.middle())
		if err := f.look(ctx, 4*f.size); err != nil {
			return err
		}
		if size(x, rigidPart, f.radius) < 0.05*sigma {
			break
		}
	}
	f.sigma, f.limit = sigma, math.Min(3*sigma, mostLimit*f.size)
	return nil
}

// noise is the spread of the gaps about the median of their cell.
func (f *fine) noise() float64 {
	at := map[[3]int32][]float64{}
	for i := range f.gap {
		if f.stable(i) {
			key := cell(f.points[i], noiseCell*f.size)
			at[key] = append(at[key], f.gap[i])
		}
	}
	var off []float64
	for _, g := range at {
		if len(g) < noisePlaces {
			continue
		}
		middle := mesh.Nth(g, len(g)/2)
		for _, v := range g {
			off = append(off, math.Abs(v-middle))
		}
	}
	if len(off) == 0 {
		return f.sigma
	}
	return math.Min(f.sigma, 1.4826*mesh.Nth(off, len(off)/2))
}

// drawn is the step to the position, of many that a few cells ask for, that
// brings most places together. It fails where none is better than staying.
func (f *fine) drawn(width float64) (best [unknowns]float64, ok bool) {
	type place struct {
		j [rigidPart]float64
		e float64
	}
	var places []place
	at := map[[3]int32]int{}
	var cells []cellSystem
	side := f.radius / 2
	c := f.middle()
	for i, e := range f.gap {
		// Places farther apart than a patch have no say in so small a step.
		if !f.ok[i] || math.Abs(e) > f.size {
			continue
		}
		p := r3.Sub(f.at[i], c)
		q := r3.Sub(p, r3.Scale(e, f.facing[i]))
		if len(places) < drawnPlaces {
			a, n := r3.Cross(r3.Scale(0.5, r3.Add(p, q)), f.facing[i]), f.facing[i]
			places = append(places, place{[rigidPart]float64{a.X, a.Y, a.Z, n.X, n.Y, n.Z}, e})
		}
		key := cell(f.at[i], side)
		k, known := at[key]
		if !known {
			k = len(cells)
			at[key] = k
			cells = append(cells, cellSystem{key: key})
		}
		cells[k].sys.add(p, q, f.facing[i], 1)
		cells[k].n++
	}
	cells = slices.DeleteFunc(cells, func(c cellSystem) bool { return c.n < 2*noisePlaces })
	if len(cells) <= drawnCells {
		return best, false
	}
	score := func(x [unknowns]float64) float64 {
		sum := 0.0
		for i := range places {
			e := places[i].e
			for k, v := range places[i].j {
				e += v * x[k]
			}
			sum += tukey(e, width)
		}
		return sum
	}
	most := score(best)
	random := rand.New(rand.NewPCG(31, 8))
	for range drawnOften {
		var s system
		for _, k := range random.Perm(len(cells))[:drawnCells] {
			s.merge(&cells[k].sys, 1)
		}
		x, solved := s.solve(rigidPart, f.radius, 1e-6)
		if !solved || size(x, rigidPart, f.radius) > 2*f.size {
			continue
		}
		if v := score(x); v > most {
			best, most, ok = x, v, true
		}
	}
	return best, ok
}
