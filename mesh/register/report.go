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
// farther with a probability of 95 %. It is stated from the scans alone (see
// fromScans) where no smooth error of theirs shows; where it does, from the check
// points. known is false where neither tells: an error that hangs together over
// whole patches bends the surface as a motion would, so that no fit can know it.
// An error as long as the specimen does not even show: only check points tell.
func (r *Result) ErrorAt(p r3.Vec) (mm float64, known bool) {
	if r.SmoothMM == 0 {
		return r.fromScans(p), true
	}
	if r.checked == nil {
		return 0, false
	}
	return r.checked.errorAt(p)
}

// fromScans is the error at a place, mm, 95 %, as far as the scans themselves can
// tell. It comes from the covariance, whose three directions at the place are
// taken together as one chi-squared variable of the same mean and variance
// (Satterthwaite), widened by Student's factor for the number of cells that were
// drawn, counted by weight, and by what triangles cut off.
func (r *Result) fromScans(p r3.Vec) float64 {
	s := r.covarianceAt(p)
	trace := s[0][0] + s[1][1] + s[2][2]
	squares := 0.0
	for a := range 3 {
		for b := range 3 {
			squares += s[a][b] * s[b][a]
		}
	}
	if !(trace > 0) || !(squares > 0) {
		return r.facets
	}
	nu := trace * trace / squares
	radius := math.Sqrt(trace / nu * distuv.ChiSquared{K: nu}.Quantile(0.95))
	return math.Hypot(few(r.cells)*radius, r.facets)
}

// few is Student's factor for a spread drawn from so many cells: its 95 % over
// the normal one.
func few(cells float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: math.Max(2, cells-1)}.Quantile(0.975) / distuv.UnitNormal.Quantile(0.975)
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

// smoothReach is how far smooth error is taken to hang together, in radii of the
// specimen. What shows in cells a third of it wide may be that long and longer,
// and the longer, the more of a fit it takes.
const smoothReach = 1.0

// widen adds to the covariance what smooth error of the scans may do to the
// pose, for budgets and limits, which need a term even where no number can be
// stated: places of the stable area count as so many independent ones as fields
// of that reach have room on it, A/(πa²/5) (Anderson, ESPL 44:1015, 2019), less
// the six that the fit bends to its will.
func (f *fine) widen(r *Result) {
	var all system
	area := 0.0
	for i := range f.systems {
		all.merge(&f.systems[i].sys, 1)
		area += f.systems[i].n
	}
	area *= mesh.Area(f.after) * f.pose.Scale * f.pose.Scale / float64(max(1, f.use))
	inv, ok := inverse(&all, f.radius)
	if !ok {
		return
	}
	reach := smoothReach * f.radius
	independent := math.Max(1, 5*area/(math.Pi*reach*reach)-rigidPart)
	by := r.SmoothMM * r.SmoothMM * all.weight / independent
	for k := range inv {
		r.Covariance[k] += by * inv[k]
	}
}

// errorOverChange is the largest stated error where the scans do not agree, which
// is where change will be measured, and the reason where there is none.
func (f *fine) errorOverChange(r *Result) {
	step := max(1, f.after.FaceCount()/2000)
	third := [3]float64{1. / 3, 1. / 3, 1. / 3}
	for face := 0; face < f.after.FaceCount(); face += step {
		if r.StableAfter[face] || f.opt.afterSupport != nil && f.opt.afterSupport[face] {
			continue
		}
		p := f.pose.Apply(f.after.At(mesh.SurfacePoint{Face: uint32(face), Weights: third}))
		e, known := r.ErrorAt(p)
		if !known {
			break
		}
		r.ErrorOverChange = math.Max(r.ErrorOverChange, e)
	}
	if r.SmoothMM == 0 {
		return
	}
	smooth := fmt.Sprintf("what is left hangs together over whole patches by %.3f\u00a0mm: smooth error of the scans, which no fit can tell from motion", r.SmoothMM)
	switch {
	case r.CheckPoints < leastChecks:
		r.ErrorUnknown = smooth
	case r.checked == nil:
		r.ErrorUnknown = smooth + ", and the check points lie nearly in a line"
	}
}

// measureChecks is the next step where only check points can tell the error.
const measureChecks = "measure three or more check points, far apart and not in a line: marks in both scans that take no part in the fit"

// worth adds to an accepted verdict what the pose is worth.
func (r *Result) worth() {
	switch {
	case r.ErrorUnknown != "":
		r.Reason += "; how far off the pose may be is not known: " + r.ErrorUnknown
		r.NextStep = measureChecks
	case r.ErrorOverChange > 0:
		by := "from the scans alone"
		if r.SmoothMM > 0 {
			by = fmt.Sprintf("by the check points; smooth error of the scans, %.3f\u00a0mm, hides it from the fit", r.SmoothMM)
		}
		r.Reason += fmt.Sprintf("; where it changed the pose is good to %.3f\u00a0mm (95\u00a0%%, %s)", r.ErrorOverChange, by)
	}
	if r.CheckPoints > 0 {
		r.Reason += "; " + r.checkWords()
	}
}
