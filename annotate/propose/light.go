package propose

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/colour"
)

// harmonics is the number of spherical harmonics up to the second order.
const harmonics = 9

// light is how the light of the scan after differs from that of the scan
// before: the logarithm of the factor of every channel, as a function of the
// surface normal in the piece's frame.
type light struct{ channel [3][harmonics]float64 }

// basis is the real spherical harmonics up to the second order at a unit
// vector, without their constants.
func basis(n r3.Vec) [harmonics]float64 {
	return [harmonics]float64{1, n.X, n.Y, n.Z, n.X * n.Y, n.Y * n.Z, n.X * n.Z, n.X*n.X - n.Y*n.Y, 3*n.Z*n.Z - 1}
}

// factor is what a channel's light is multiplied by at a normal.
func (l *light) factor(k int, y *[harmonics]float64) float64 {
	sum := 0.0
	for i, c := range l.channel[k] {
		sum += c * y[i]
	}
	return math.Exp(sum)
}

// on is a colour of the scan before as it would look in the light of the scan
// after.
func (l *light) on(c colour.Linear, n r3.Vec) colour.Linear {
	y := basis(n)
	return colour.Linear{R: c.R * l.factor(0, &y), G: c.G * l.factor(1, &y), B: c.B * l.factor(2, &y)}
}

const (
	// mostSampled is how many vertices the light is fitted on.
	mostSampled = 60_000
	// dark is added to linear light before the logarithm, so that black pixels
	// do not decide.
	dark = 0.004
	// tukey is the usual tuning constant of Tukey's biweight (95 % efficiency).
	tukey       = 4.685
	lightRounds = 12
	madToSigma  = 1.4826
)

// fitLight fits the light on the surface whose shape did not change, by
// reweighted least squares with Tukey's biweight, so that retouched places do
// not count.
func fitLight(ctx context.Context, w *work, before, after []colour.Linear) light {
	var at []int
	stride := max(1, len(after)/mostSampled)
	for v := 0; v < len(after); v += stride {
		if w.unchanged(v) {
			at = append(at, v)
		}
	}
	var out light
	for k := range 3 {
		channel := func(c colour.Linear) float64 { return math.Log(max(0, [3]float64{c.R, c.G, c.B}[k]) + dark) }
		ratio := make([]float64, len(at))
		for i, v := range at {
			ratio[i] = channel(after[v]) - channel(before[v])
		}
		out.channel[k] = fitHarmonics(ctx, w, at, ratio)
	}
	return out
}

// fitHarmonics fits one channel. What it returns is of no use once ctx is done.
func fitHarmonics(ctx context.Context, w *work, at []int, ratio []float64) (c [harmonics]float64) {
	if len(at) < 10*harmonics {
		return c
	}
	c[0] = median(append([]float64(nil), ratio...))
	left := make([]float64, len(at))
	for range lightRounds {
		if ctx.Err() != nil {
			return c
		}
		for i, v := range at {
			y := basis(w.normals[v])
			left[i] = ratio[i]
			for n := range c {
				left[i] -= c[n] * y[n]
			}
		}
		size := make([]float64, len(left))
		for i, r := range left {
			size[i] = math.Abs(r)
		}
		sigma := max(madToSigma*median(size), 1e-4)
		var square [harmonics * harmonics]float64
		var side [harmonics]float64
		total := 0.0
		for i, v := range at {
			u := left[i] / (tukey * sigma)
			if math.Abs(u) >= 1 {
				continue
			}
			weight := (1 - u*u) * (1 - u*u) * w.areas[v]
			total += weight
			y := basis(w.normals[v])
			for p := range harmonics {
				side[p] += weight * y[p] * ratio[i]
				for q := p; q < harmonics; q++ {
					square[p*harmonics+q] += weight * y[p] * y[q]
				}
			}
		}
		// A little ridge keeps directions that nothing looks in at zero.
		for p := 1; p < harmonics; p++ {
			square[p*harmonics+p] += 1e-3 * total
		}
		a := mat.NewSymDense(harmonics, square[:]) // reads the upper half
		b := mat.NewVecDense(harmonics, side[:])
		var chol mat.Cholesky
		var x mat.VecDense
		if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil {
			return c
		}
		for p := range c {
			c[p] = x.AtVec(p)
		}
	}
	return c
}
