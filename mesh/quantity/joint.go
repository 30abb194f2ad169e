package quantity

import (
	"fmt"
	"math"
)

// Joint holds estimates of several quantities that may be correlated: found
// from the same observations, or resting on the same scale.
type Joint struct {
	Values     []float64
	Covariance []float64 // n × n, row-major; the diagonal holds u²
}

// observed returns the means of quantities that were observed together and the
// covariance of those means (GUM 4.2.3 and 5.2.3). Every row holds one
// observation of all quantities; at least two rows are needed.
func observed(rows [][]float64) (Joint, error) {
	if len(rows) < 2 {
		return Joint{}, fmt.Errorf("%d observations show no spread: give two or more", len(rows))
	}
	n := len(rows[0])
	out := Joint{Values: make([]float64, n), Covariance: make([]float64, n*n)}
	for i, r := range rows {
		if len(r) != n {
			return Joint{}, fmt.Errorf("observation %d has %d values, the first has %d", i+1, len(r), n)
		}
		for k, x := range r {
			out.Values[k] += x / float64(len(rows))
		}
	}
	m := float64(len(rows))
	for _, r := range rows {
		for i := range n {
			for k := range n {
				out.Covariance[i*n+k] += (r[i] - out.Values[i]) * (r[k] - out.Values[k]) / (m * (m - 1))
			}
		}
	}
	return out, nil
}

// Sharing returns values that rest on one common factor of relative standard
// uncertainty `relative`, such as a scale of which the first depends on the
// power powers[0], besides their own standard uncertainties u (GUM F.1.2.3).
func Sharing(values, u, powers []float64, relative float64) Joint {
	n := len(values)
	out := Joint{Values: append([]float64(nil), values...), Covariance: make([]float64, n*n)}
	for i := range n {
		for k := range n {
			out.Covariance[i*n+k] = powers[i] * values[i] * powers[k] * values[k] * relative * relative
		}
		out.Covariance[i*n+i] += u[i] * u[i]
	}
	return out
}

// U is the standard uncertainty of value i.
func (j Joint) U(i int) float64 { return math.Sqrt(max(0, j.Covariance[i*len(j.Values)+i])) }

// correlation is the correlation coefficient of values i and k, -1 to 1; 0
// where one of them is exact.
func (j Joint) correlation(i, k int) float64 {
	u := j.U(i) * j.U(k)
	if u == 0 {
		return 0
	}
	return j.Covariance[i*len(j.Values)+k] / u
}

// Through returns the results of f with their covariance, by the law of
// propagation for correlated inputs (GUM 5.2.2, for several results JCGM 102
// 6.2.1.3). Sensitivities are central differences over ±u of each input (GUM
// 5.1.3, note 2), so that f must be smooth over that stretch.
func (j Joint) Through(f func(x []float64) []float64) Joint {
	n := len(j.Values)
	out := Joint{Values: f(append([]float64(nil), j.Values...))}
	m := len(out.Values)
	c := make([]float64, m*n) // sensitivities
	x := append([]float64(nil), j.Values...)
	for i := range n {
		u := j.U(i)
		if u == 0 {
			continue
		}
		x[i] = j.Values[i] + u
		up := f(x)
		x[i] = j.Values[i] - u
		down := f(x)
		x[i] = j.Values[i]
		for r := range m {
			c[r*n+i] = (up[r] - down[r]) / (2 * u)
		}
	}
	out.Covariance = make([]float64, m*m)
	for r := range m {
		for s := range m {
			for i := range n {
				for k := range n {
					out.Covariance[r*m+s] += c[r*n+i] * j.Covariance[i*n+k] * c[s*n+k]
				}
			}
		}
	}
	return out
}

// Measured gives value i with k = 2: correlated inputs have no effective
// degrees of freedom by Welch and Satterthwaite (GUM G.4.1 asks for independent
// ones), so that many are assumed and the caller must have them.
func (j Joint) Measured(i int, unit, method string) Measured {
	return Measured{Value: j.Values[i], U: j.U(i), K: 2, Unit: unit, Method: method}
}
