package register

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"rigatino/mesh"
)

// ErrorAt is how far off, mm, the pose may put a place of the before frame: not
// farther with a probability of 95 %, as far as the scans themselves can tell. It
// comes from the covariance, whose three directions at the place are taken
// together as one chi-squared variable of the same mean and variance
// (Satterthwaite), widened by Student's factor for the number of cells that were
// drawn, counted by weight, by what triangles cut off, and by smooth error of the
// scans where it shows. An error as long as the specimen cannot show: only check
// points tell.
func (r *Result) ErrorAt(p r3.Vec) float64 {
	s := r.covarianceAt(p)
	trace := s[0][0] + s[1][1] + s[2][2]
	squares := 0.0
	for a := range 3 {
		for b := range 3 {
			squares += s[a][b] * s[b][a]
		}
	}
	if !(trace > 0) || !(squares > 0) {
		return math.Hypot(r.SmoothMM, r.facets)
	}
	nu := trace * trace / squares
	radius := math.Sqrt(trace / nu * distuv.ChiSquared{K: nu}.Quantile(0.95))
	few := distuv.StudentsT{Sigma: 1, Nu: math.Max(2, r.cells-1)}.Quantile(0.975) / distuv.UnitNormal.Quantile(0.975)
	return math.Hypot(few*radius, math.Hypot(r.SmoothMM, r.facets))
}

// covarianceAt is the covariance, mm², of where the pose puts a place of the
// before frame: shift at p is t + w × d.
func (r *Result) covarianceAt(p r3.Vec) (out [3][3]float64) {
	d := r3.Sub(p, r.Centre)
	j := [3][6]float64{
		{0, d.Z, -d.Y, 1, 0, 0},
		{-d.Z, 0, d.X, 0, 1, 0},
		{d.Y, -d.X, 0, 0, 0, 1},
	}
	for k := range 3 {
		for l := range 3 {
			for a := range 6 {
				for b := range 6 {
					out[k][l] += j[k][a] * r.Covariance[6*a+b] * j[l][b]
				}
			}
		}
	}
	return out
}

// smoothPart is the share of the residuals' spread from which on error that
// hangs together counts as shown.
const smoothPart = 0.25

// smooth looks for error that hangs together over whole cells of the stable area:
// what the cells' mean gaps spread by more than independent noise of the vertices
// would make them. Such error bends the surface as a motion would, so a fit takes
// part of it for motion and its residual hardly grows.
func (f *fine) smooth(r *Result) {
	side := f.checkerboard()
	type mean struct{ sum, weight, n float64 }
	at := map[[3]int32]*mean{}
	width := math.Max(4.685*f.sigma, f.size/20)
	used := 0.0
	for i, e := range f.gap {
		if !f.ok[i] {
			continue
		}
		w := tukey(e, width)
		if w == 0 {
			continue
		}
		key := cell(f.at[i], side)
		m := at[key]
		if m == nil {
			m = &mean{}
			at[key] = m
		}
		m.sum, m.weight, m.n = m.sum+w*e, m.weight+w, m.n+1
		used++
	}
	// A place between vertices has about half their variance, and places in one
	// triangle share it: there are no more independent ones than half the vertices.
	each := math.Min(1, 0.5*float64(f.after.VertexCount())/float64(max(1, len(f.points))))
	var excess []float64
	for _, m := range at {
		if n := m.n * each; n >= 8 {
			mean := m.sum / m.weight
			excess = append(excess, mean*mean-0.455*f.sigma*f.sigma/n)
		}
	}
	if len(excess) < 4 {
		return
	}
	slices.Sort(excess)
	// The median of a squared normal variable is 0.455 of its mean.
	if v := excess[len(excess)/2] / 0.455; v > smoothPart*smoothPart*f.sigma*f.sigma {
		r.SmoothMM = math.Sqrt(v)
	}
}

// errorOverChange is the largest stated error where the scans do not agree, which
// is where change will be measured.
func (f *fine) errorOverChange(r *Result) {
	step := max(1, f.after.FaceCount()/2000)
	third := [3]float64{1. / 3, 1. / 3, 1. / 3}
	for face := 0; face < f.after.FaceCount(); face += step {
		if r.StableAfter[face] || f.opt.afterSupport != nil && f.opt.afterSupport[face] {
			continue
		}
		p := f.pose.Apply(f.after.At(mesh.SurfacePoint{Face: uint32(face), Weights: third}))
		r.ErrorOverChange = math.Max(r.ErrorOverChange, r.ErrorAt(p))
	}
}

// worth adds to an accepted verdict what the pose is worth.
func (r *Result) worth() {
	if r.ErrorOverChange > 0 {
		r.Reason += fmt.Sprintf("; where it changed the pose is good to %.3f\u00a0mm (95\u00a0%%, from the scans alone)", r.ErrorOverChange)
	}
	if r.CheckPoints > 0 {
		r.Reason += "; " + r.checkWords()
	}
	if r.SmoothMM > 0 {
		r.Reason += fmt.Sprintf("; what is left hangs together over whole patches by %.3f\u00a0mm: smooth error of the scans, which no fit can tell from motion", r.SmoothMM)
		if r.CheckPoints < leastChecks {
			r.NextStep = "measure check points: marks in both scans that take no part in the fit"
		}
	}
}
