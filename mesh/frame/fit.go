package frame

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// What a closed-form fit cannot do.
var (
	// ErrTooFew: fewer than three pairs.
	ErrTooFew = errors.New("at least three pairs of points are needed")
	// ErrCollinear: the points lie on one line (or at one place), so the turn
	// about that line is free.
	ErrCollinear = errors.New("the points lie on one line and leave a turn free: pick one well off that line")
)

// freeTurn is the gap between the two largest eigenvalues of Horn's matrix,
// as a share of the largest singular value of the points' cross-covariance,
// below which the best turn is not determined.
const freeTurn = 1e-3

// Fit says how well a closed-form fit agrees with its pairs. None of it is an
// accuracy of the pose away from the pairs; TargetError predicts that.
type Fit struct {
	Residuals []float64 // mm, distance of each pair after the fit, in the before frame
	RMS       float64   // mm, weighted root mean square of Residuals
	Max       float64   // mm

	// Eigenvalues of Horn's 4×4 matrix of centred sums (mm²), descending. Their
	// gap says how well the turn is determined.
	Eigenvalues [4]float64
	// SymmetricScale is the ratio of the spreads of before and after about
	// their centroids (Horn 1987): the relative scale that takes neither side
	// for exact. LeastSquaresScale is Umeyama's (1991), lower when the after
	// points are noisy or the pairs do not fit.
	SymmetricScale, LeastSquaresScale float64
	// Mirrored is set when the pairs fit clearly better after a reflection
	// than after a turn: one of the two scans is probably mirrored. Three
	// pairs, or pairs in one plane, cannot show it.
	Mirrored bool

	centre r3.Vec     // of the before points
	axes   [3]r3.Vec  // principal axes of the before points
	spread [3]float64 // mm, RMS distance of the before points from each axis
}

// FitRigid finds the rotation and translation that bring the after points to
// the before points with the least weighted sum of squared distances: Horn's
// unit quaternion (J. Opt. Soc. Am. A 4:629, 1987), always a proper rotation.
// weights may be nil (all one). Points in one plane are fine; points on one
// line give ErrCollinear, fewer than three pairs ErrTooFew.
func FitRigid(before, after []r3.Vec, weights []float64) (afterToBefore Rigid, fit Fit, err error) {
	s, fit, err := fitPairs(before, after, weights, false)
	return s.Rigid, fit, err
}

// FitSimilarity is FitRigid with a scale: the symmetric one of Horn, which
// inverts when before and after change places.
func FitSimilarity(before, after []r3.Vec, weights []float64) (afterToBefore Similarity, fit Fit, err error) {
	return fitPairs(before, after, weights, true)
}

func fitPairs(before, after []r3.Vec, weights []float64, scaled bool) (Similarity, Fit, error) {
	none := Similarity{Scale: 1, Rigid: Identity()}
	if len(before) != len(after) || (weights != nil && len(weights) != len(before)) {
		return none, Fit{}, fmt.Errorf("%d points before, %d after and %d weights do not make pairs", len(before), len(after), len(weights))
	}
	weight := func(i int) float64 {
		if weights == nil {
			return 1
		}
		return weights[i]
	}
	var total float64
	counted := 0
	for i := range before {
		w := weight(i)
		if !(w >= 0) || math.IsInf(w, 0) || !finite(before[i]) || !finite(after[i]) {
			return none, Fit{}, fmt.Errorf("pair %d has a coordinate or weight that is not a usable number", i+1)
		}
		total += w
		if w > 0 {
			counted++
		}
	}
	if counted < 3 {
		return none, Fit{}, fmt.Errorf("%w: %d given", ErrTooFew, counted)
	}
	var mb, ma r3.Vec
	for i := range before {
		mb = r3.Add(mb, r3.Scale(weight(i)/total, before[i]))
		ma = r3.Add(ma, r3.Scale(weight(i)/total, after[i]))
	}
	// m[a][b] = Σ w xₐ y_b over the centred points, x after, y before.
	var m [3][3]float64
	var sx, sy float64
	for i := range before {
		x, y, w := r3.Sub(after[i], ma), r3.Sub(before[i], mb), weight(i)
		for a, xa := range [3]float64{x.X, x.Y, x.Z} {
			for b, yb := range [3]float64{y.X, y.Y, y.Z} {
				m[a][b] += w * xa * yb
			}
		}
		sx += w * r3.Norm2(x)
		sy += w * r3.Norm2(y)
	}
	values, vectors := symmetricEigen([]float64{
		m[0][0] + m[1][1] + m[2][2], m[1][2] - m[2][1], m[2][0] - m[0][2], m[0][1] - m[1][0],
		m[1][2] - m[2][1], m[0][0] - m[1][1] - m[2][2], m[0][1] + m[1][0], m[2][0] + m[0][2],
		m[2][0] - m[0][2], m[0][1] + m[1][0], -m[0][0] + m[1][1] - m[2][2], m[1][2] + m[2][1],
		m[0][1] - m[1][0], m[2][0] + m[0][2], m[1][2] + m[2][1], -m[0][0] - m[1][1] + m[2][2],
	}, 4)
	var fit Fit
	copy(fit.Eigenvalues[:], values)
	// With d₁ ≥ d₂ ≥ d₃ the singular values of m and s the sign of its
	// determinant, the eigenvalues are d₁+d₂+s·d₃, d₁-d₂-s·d₃, -d₁+d₂-s·d₃ and
	// -d₁-d₂+s·d₃.
	d1 := (values[0] + values[1]) / 2
	sd3 := (values[0] + values[3]) / 2
	if !(values[0]-values[1] > freeTurn*d1) || !(d1 > 0) {
		return none, fit, ErrCollinear
	}
	fit.SymmetricScale = math.Sqrt(sy / sx)
	fit.LeastSquaresScale = values[0] / sx
	out := Similarity{Scale: 1, Rigid: fromQuaternion(vectors[:4])}
	if scaled {
		out.Scale = fit.SymmetricScale
	}
	out.T = r3.Sub(mb, out.Turn(r3.Scale(out.Scale, ma)))

	fit.Residuals = make([]float64, len(before))
	var sum float64
	for i := range before {
		r := r3.Norm(r3.Sub(before[i], out.Apply(after[i])))
		fit.Residuals[i] = r
		fit.Max = max(fit.Max, r)
		sum += weight(i) * r * r
	}
	fit.RMS = math.Sqrt(sum / total)
	// A reflection of the thinnest direction would gain 4·|d₃| of the sum of
	// squares. It counts when the points are not in one plane but for their
	// noise, and it leaves less than a third of what the turn leaves.
	if sd3 < -1e-3*d1 {
		fit.Mirrored = sum+4*sd3*out.Scale < sum/9
	}
	fit.describe(before, mb, weight, total)
	return out, fit, nil
}

// describe stores what TargetError needs of the before points.
func (f *Fit) describe(before []r3.Vec, centre r3.Vec, weight func(int) float64, total float64) {
	var c [9]float64
	for i := range before {
		d := r3.Sub(before[i], centre)
		v := [3]float64{d.X, d.Y, d.Z}
		for a := range 3 {
			for b := range 3 {
				c[3*a+b] += weight(i) / total * v[a] * v[b]
			}
		}
	}
	values, vectors := symmetricEigen(c[:], 3)
	f.centre = centre
	for k := range 3 {
		f.axes[k] = r3.Vec{X: vectors[3*k], Y: vectors[3*k+1], Z: vectors[3*k+2]}
		f.spread[k] = math.Sqrt(max(0, values[(k+1)%3]+values[(k+2)%3]))
	}
}

// TargetError predicts the root mean square distance (mm) by which the fit
// misplaces a point p of the before frame, from where the pairs lie and how
// well they were picked: TRE² = FLE²/N·(1 + ⅓ Σ dₖ²/fₖ²) (Fitzpatrick, West and
// Maurer, IEEE Trans. Medical Imaging 17:694, 1998). pickError is the RMS
// distance between the two members of a pair that picking alone leaves; 0
// takes it from the residuals, ⟨FRE²⟩ = (1 - 2/N)·FLE², which says little for
// few pairs: residual and target error are not correlated (Fitzpatrick, Proc.
// SPIE 7261, 2009). Weights are not considered.
func (f Fit) TargetError(p r3.Vec, pickError float64) float64 {
	n := float64(len(f.Residuals))
	fle2 := pickError * pickError
	if pickError <= 0 {
		var sum float64
		for _, r := range f.Residuals {
			sum += r * r
		}
		fle2 = sum / n / (1 - 2/n)
	}
	d := r3.Sub(p, f.centre)
	ratio := 0.0
	for k, axis := range f.axes {
		off2 := r3.Norm2(r3.Sub(d, r3.Scale(r3.Dot(d, axis), axis)))
		if f.spread[k] > 0 {
			ratio += off2 / (f.spread[k] * f.spread[k])
		}
	}
	return math.Sqrt(fle2 / n * (1 + ratio/3))
}

// LeaveOneOut returns, for every pair, the distance (mm) that it keeps under
// the rigid fit of the others: a slip of one pick shows here, while a fit that
// includes it spreads the slip over all. NaN where the others do not determine
// a fit, as always with three pairs.
func LeaveOneOut(before, after []r3.Vec) []float64 {
	out := make([]float64, len(before))
	b, a := make([]r3.Vec, 0, len(before)), make([]r3.Vec, 0, len(after))
	for i := range before {
		b, a = append(append(b[:0], before[:i]...), before[i+1:]...), append(append(a[:0], after[:i]...), after[i+1:]...)
		g, _, err := FitRigid(b, a, nil)
		if err != nil {
			out[i] = math.NaN()
			continue
		}
		out[i] = r3.Norm(r3.Sub(before[i], g.Apply(after[i])))
	}
	return out
}

// fromQuaternion returns the rotation of a quaternion (w, x, y, z), which is
// normalised first.
func fromQuaternion(q []float64) Rigid {
	l := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
	w, x, y, z := q[0]/l, q[1]/l, q[2]/l, q[3]/l
	return Rigid{R: [9]float64{
		w*w + x*x - y*y - z*z, 2 * (x*y - w*z), 2 * (x*z + w*y),
		2 * (x*y + w*z), w*w - x*x + y*y - z*z, 2 * (y*z - w*x),
		2 * (x*z - w*y), 2 * (y*z + w*x), w*w - x*x - y*y + z*z,
	}}
}

func finite(p r3.Vec) bool {
	s := p.X + p.Y + p.Z
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}
