package mesh

// SelectNth brings the n-th smallest of a to place n and smaller ones before it
// (selection after Hoare, Comm. ACM 4:321, 1961, the pivot a median of three).
func SelectNth[T any](a []T, n int, less func(x, y T) bool) {
	for lo, hi := 0, len(a)-1; lo < hi; {
		m := lo + (hi-lo)/2
		if less(a[m], a[lo]) {
			a[m], a[lo] = a[lo], a[m]
		}
		if less(a[hi], a[lo]) {
			a[hi], a[lo] = a[lo], a[hi]
		}
		if less(a[hi], a[m]) {
			a[hi], a[m] = a[m], a[hi]
		}
		pivot := a[m]
		i, j := lo, hi
		for i <= j {
			for less(a[i], pivot) {
				i++
			}
			for less(pivot, a[j]) {
				j--
			}
			if i <= j {
				a[i], a[j] = a[j], a[i]
				i++
				j--
			}
		}
		switch {
		case n <= j:
			hi = j
		case n >= i:
			lo = i
		default:
			return
		}
	}
}

// Nth is the n-th smallest of a, counted from 0; a is reordered.
func Nth(a []float64, n int) float64 {
	SelectNth(a, n, func(x, y float64) bool { return x < y })
	return a[n]
}
