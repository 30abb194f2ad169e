package frame

import "math"

// symmetricEigen returns the eigenvalues of the symmetric n×n matrix a
// (row-major, overwritten) in descending order, and the eigenvectors as rows
// in the same order, by cyclic Jacobi rotations (Golub and Van Loan, Matrix
// Computations, 8.5). Small matrices only.
func symmetricEigen(a []float64, n int) (values []float64, vectors []float64) {
	v := make([]float64, n*n)
	for i := range n {
		v[i*n+i] = 1
	}
	for range 64 {
		off, all := 0.0, 0.0
		for i := range n {
			for j := range n {
				all += a[i*n+j] * a[i*n+j]
				if i != j {
					off += a[i*n+j] * a[i*n+j]
				}
			}
		}
		if off <= 1e-34*all {
			break
		}
		for p := range n {
			for q := p + 1; q < n; q++ {
				rotateAway(a, v, n, p, q)
			}
		}
	}
	values, vectors = make([]float64, n), make([]float64, n*n)
	taken := make([]bool, n)
	for i := range n {
		best := -1
		for k := range n {
			if !taken[k] && (best < 0 || a[k*n+k] > a[best*n+best]) {
				best = k
			}
		}
		taken[best] = true
		values[i] = a[best*n+best]
		copy(vectors[i*n:], v[best*n:(best+1)*n])
	}
	return values, vectors
}

// rotateAway makes a[p][q] zero by a turn in the plane of p and q and applies
// the same turn to the rows of v.
func rotateAway(a, v []float64, n, p, q int) {
	apq := a[p*n+q]
	if apq == 0 {
		return
	}
	tau := (a[q*n+q] - a[p*n+p]) / (2 * apq)
	t := 1 / (math.Abs(tau) + math.Sqrt(1+tau*tau))
	if tau < 0 {
		t = -t
	}
	c := 1 / math.Sqrt(1+t*t)
	s := t * c
	for k := range n {
		akp, akq := a[k*n+p], a[k*n+q]
		a[k*n+p], a[k*n+q] = c*akp-s*akq, s*akp+c*akq
	}
	for k := range n {
		apk, aqk := a[p*n+k], a[q*n+k]
		a[p*n+k], a[q*n+k] = c*apk-s*aqk, s*apk+c*aqk
		vp, vq := v[p*n+k], v[q*n+k]
		v[p*n+k], v[q*n+k] = c*vp-s*vq, s*vp+c*vq
	}
	a[p*n+q], a[q*n+p] = 0, 0
}
