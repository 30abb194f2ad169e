package register

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
)

// resamples is how often cells are drawn anew for the covariance.
const resamples = 100

// describe gathers the evidence under the final pose.
func (f *fine) describe(ctx context.Context, r *Result, say func(float64, string)) error {
	if err := f.look(ctx, 4*f.size); err != nil {
		return err
	}
	f.measure()
	sum, n := 0.0, 0.0
	r.Centre = r3.Vec{}
	for i := range f.gap {
		if f.stable(i) {
			sum, n = sum+f.gap[i]*f.gap[i], n+1
			r.Centre = r3.Add(r.Centre, f.at[i])
		}
	}
	if n > 0 {
		r.FitResidualRMS = math.Sqrt(sum / n)
		r.Centre = r3.Scale(1/n, r.Centre)
	}
	say(0.75, "Marking what did not change")
	if err := f.masks(ctx, r); err != nil {
		return err
	}
	say(0.88, "Checking in places left out")
	if err := f.check(ctx, r); err != nil {
		return err
	}
	f.gatherCells(r)
	f.bootstrap(r)
	r.facets, _ = cutOff(f.before, f.after)
	if f.smooth(r); r.SmoothMM > 0 {
		f.widen(r)
	}
	r.checkPoints(f)
	f.errorOverChange(r)
	return f.scale(ctx, r)
}

// masks marks the faces of both scans that agree, by their middles.
func (f *fine) masks(ctx context.Context, r *Result) error {
	third := [3]float64{1. / 3, 1. / 3, 1. / 3}
	mark := func(m *mesh.Mesh, w *mesh.Weld, normals []r3.Vec, ignore []bool, other *bvh.Tree, om *mesh.Mesh, ow *mesh.Weld, on []r3.Vec, otherIgnore []bool,
		to func(r3.Vec) r3.Vec, turn func(r3.Vec) r3.Vec, limit float64) ([]bool, float64, error) {
		n := m.FaceCount()
		hits := make([]bvh.Hit, n)
		middle := func(i int) r3.Vec { return m.At(mesh.SurfacePoint{Face: uint32(i), Weights: third}) }
		if err := other.ClosestAll(ctx, n, func(i int) r3.Vec { return to(middle(i)) }, 2*limit, hits); err != nil {
			return nil, 0, err
		}
		out := make([]bool, n)
		var same, all mesh.Sum
		for i, h := range hits {
			if ignore != nil && ignore[i] {
				continue
			}
			a := r3.Norm(m.AreaVector(uint32(i)))
			all.Add(a)
			if h.Face == math.MaxUint32 || otherIgnore != nil && otherIgnore[h.Face] {
				continue
			}
			na := turn(smoothNormal(m, w, normals, mesh.SurfacePoint{Face: uint32(i), Weights: third}))
			nb := smoothNormal(om, ow, on, mesh.SurfacePoint{Face: h.Face, Weights: h.Weights})
			if r3.Dot(na, nb) < facingCos {
				continue
			}
			d := r3.Sub(to(middle(i)), h.Point)
			if s := r3.Add(na, nb); math.Abs(r3.Dot(d, s))/r3.Norm(s) > limit || h.Distance > 2*limit {
				continue
			}
			out[i] = true
			same.Add(a)
		}
		if !(all.Value() > 0) {
			return out, 0, nil
		}
		return out, same.Value() / all.Value(), nil
	}
	var err error
	if r.StableAfter, r.StableShareAfter, err = mark(f.after, f.aw, f.afterNormals, f.opt.AfterIgnore, f.tree, f.before, f.bw, f.beforeNormals, f.opt.BeforeIgnore,
		f.pose.Apply, f.pose.Turn, f.limit); err != nil {
		return err
	}
	back := f.pose.Rigid.Inverse()
	scale := f.pose.Scale
	r.StableBefore, r.StableShareBefore, err = mark(f.before, f.bw, f.beforeNormals, f.opt.BeforeIgnore, bvh.Build(f.after), f.after, f.aw, f.afterNormals, f.opt.AfterIgnore,
		func(p r3.Vec) r3.Vec { return r3.Scale(1/scale, back.Apply(p)) }, back.Turn, f.limit/scale)
	return err
}

// checkerboard is the size of the cells that are left out in turn.
func (f *fine) checkerboard() float64 { return math.Max(8*f.size, f.radius/3) }

// check fits the black cells of a checkerboard alone and reports the residual in
// the white ones.
func (f *fine) check(ctx context.Context, r *Result) error {
	side := f.checkerboard()
	black := func(p r3.Vec) bool {
		c := cell(p, side)
		return (c[0]+c[1]+c[2])&1 == 0
	}
	home := f.pose
	defer func() { f.pose = home }()
	where := make([]bool, len(f.at))
	for i := range f.at {
		where[i] = black(f.at[i])
	}
	stable := make([]bool, len(f.at))
	for i := range stable {
		stable[i] = f.stable(i)
	}
	for range 2 {
		sys := f.system(math.Max(4.685*f.sigma, f.size/20), func(i int) bool { return where[i] && stable[i] })
		x, ok := sys.solve(rigidPart, f.radius, 1e-9)
		if !ok {
			break
		}
		f.pose = advance(f.pose, x, rigidPart, f.middle())
		if err := f.look(ctx, 4*f.size); err != nil {
			return err
		}
	}
	sum, n := 0.0, 0.0
	for i := range f.gap {
		if !where[i] && stable[i] && f.ok[i] {
			sum, n = sum+f.gap[i]*f.gap[i], n+1
		}
	}
	if n > 0 {
		r.CheckRMS = math.Sqrt(sum / n)
	}
	f.pose = home
	return f.look(ctx, 4*f.size)
}

// gatherCells sums the stable equations cell by cell about the stable centre.
func (f *fine) gatherCells(r *Result) {
	side := 4 * f.radius / 6
	at := map[[3]int32]int{}
	f.systems = f.systems[:0]
	width := math.Max(4.685*f.sigma, f.size/20)
	for i, e := range f.gap {
		if !f.stable(i) {
			continue
		}
		key := cell(f.at[i], side)
		k, ok := at[key]
		if !ok {
			k = len(f.systems)
			at[key] = k
			f.systems = append(f.systems, cellSystem{key: key})
		}
		p := r3.Sub(f.at[i], r.Centre)
		f.systems[k].sys.add(p, r3.Sub(p, r3.Scale(e, f.facing[i])), f.facing[i], tukey(e, width))
		f.systems[k].sum2 += e * e
		f.systems[k].n++
	}
	slices.SortFunc(f.systems, func(a, b cellSystem) int { return slices.Compare(a.key[:], b.key[:]) })
}

// bootstrap draws whole cells anew and takes the spread of the poses that they
// ask for as the covariance. With few cells the spread is drawn too small; it is
// enlarged by n/(n-1), and held above what independent places would give.
func (f *fine) bootstrap(r *Result) {
	n := len(f.systems)
	r.cells = f.cells()
	var all system
	for i := range f.systems {
		all.merge(&f.systems[i].sys, 1)
	}
	random := rand.New(rand.NewPCG(11, 29))
	var draws [][rigidPart]float64
	for range resamples {
		var s system
		for range n {
			s.merge(&f.systems[random.IntN(n)].sys, 1)
		}
		x, ok := s.solve(rigidPart, f.radius, 1e-9)
		if !ok {
			continue
		}
		var d [rigidPart]float64
		copy(d[:], x[:rigidPart])
		draws = append(draws, d)
	}
	if len(draws) > 1 {
		var mean [rigidPart]float64
		for _, d := range draws {
			for a := range mean {
				mean[a] += d[a] / float64(len(draws))
			}
		}
		enlarged := enlarged(r.cells)
		for _, d := range draws {
			for a := range rigidPart {
				for b := range rigidPart {
					r.Covariance[6*a+b] += enlarged * (d[a] - mean[a]) * (d[b] - mean[b]) / float64(len(draws)-1)
				}
			}
		}
	}
	// JᵀJ alone is optimistic, so it is a floor only.
	if inv, ok := inverse(&all, f.radius); ok && all.weight > rigidPart {
		s2 := all.sum / all.weight
		for a := range rigidPart {
			for b := range rigidPart {
				r.Covariance[6*a+b] += s2 * inv[6*a+b]
			}
		}
	}
}

// cells is how many cells of one weight would be worth as much as those gathered:
// (Σw)²/Σw².
func (f *fine) cells() float64 {
	weights, squares := 0.0, 0.0
	for i := range f.systems {
		w := f.systems[i].sys.weight
		weights, squares = weights+w, squares+w*w
	}
	if squares > 0 {
		return weights * weights / squares
	}
	return 0
}

// enlarged is by what a variance drawn from so many cells comes out too small.
func enlarged(cells float64) float64 {
	if cells > 1.5 {
		return cells / (cells - 1)
	}
	return 1
}

// inverse inverts the rigid part of a system.
func inverse(s *system, radius float64) (out [36]float64, ok bool) {
	scale := [rigidPart]float64{1 / radius, 1 / radius, 1 / radius, 1, 1, 1}
	a := mat.NewSymDense(rigidPart, nil)
	for i := range rigidPart {
		for k := i; k < rigidPart; k++ {
			a.SetSym(i, k, s.h[i*unknowns+k]*scale[i]*scale[k])
		}
	}
	var c mat.Cholesky
	if !c.Factorize(a) {
		return out, false
	}
	var inv mat.SymDense
	if c.InverseTo(&inv) != nil {
		return out, false
	}
	for i := range rigidPart {
		for k := range rigidPart {
			out[6*i+k] = inv.At(i, k) * scale[i] * scale[k]
		}
	}
	return out, true
}

// scale estimates the relative size on the stable area: the fit is taken up
// again with the scale free until it stands still, from wide weights to narrow
// ones, so that a difference that pushed places out of the stable area brings
// them back in. Its uncertainty comes from drawing cells anew there; where little
// is left there are few of them, and twice their spread does not cover 95 %: it is
// enlarged as that of the pose is, by Student's factor too. The pose is left as it
// was.
func (f *fine) scale(ctx context.Context, r *Result) error {
	home, limit, sigma, systems := f.pose, f.limit, f.sigma, f.systems
	defer func() { f.pose, f.limit, f.sigma, f.systems = home, limit, sigma, systems }()
	f.use = min(2*fewSamples, len(f.points))
	for k := range 10 {
		if err := f.look(ctx, 4*f.size); err != nil {
			return err
		}
		f.measure()
		width := math.Max(math.Max(4.685*f.sigma, f.size/20), f.size*math.Pow(0.5, float64(k)))
		x, ok := f.system(width, nil).solve(unknowns, f.radius, 1e-9)
		if !ok {
			return nil
		}
		f.pose = advance(f.pose, x, unknowns, f.middle())
		if f.use == len(f.points) {
			break
		}
		if k > 2 && math.Abs(x[rigidPart]) < 0.1*scaleFloor || k == 8 {
			f.use = len(f.points)
		}
	}
	f.use = len(f.points)
	r.RelativeScale = f.pose.Scale
	if err := f.look(ctx, 4*f.size); err != nil {
		return err
	}
	f.measure()
	f.gatherCells(r)
	n := len(f.systems)
	random := rand.New(rand.NewPCG(5, 17))
	sum, count := 0.0, 0.0
	for range resamples {
		var s system
		for range n {
			s.merge(&f.systems[random.IntN(n)].sys, 1)
		}
		if x, ok := s.solve(unknowns, f.radius, 1e-9); ok {
			sum, count = sum+x[rigidPart]*x[rigidPart], count+1
		}
	}
	if count > 1 {
		// Rough places are cut off more than the mean tells: the bound itself.
		facets, radius := cutOff(f.before, f.after)
		drawn := few(f.cells()) * math.Sqrt(enlarged(f.cells())*sum/(count-1))
		r.RelativeScaleU = math.Hypot(drawn, math.Sqrt(3)*facets/radius)
	}
	f.pose = home
	return f.look(ctx, 4*f.size)
}

// cutOff is how far, mm, the two scans may lie apart because triangles cut off
// what they span: those of edge e on a body of radius R lie e²/(6R) inside it in
// the mean, and how far that cancels between two scans depends on their shapes.
// The sum of both is taken as a bound (rectangular). The second result is R.
func cutOff(before, after *mesh.Mesh) (mm, radius float64) {
	area := mesh.Area(before)
	if !(area > 0) {
		return 0, 1
	}
	radius = math.Sqrt(area / (4 * math.Pi))
	// Edges from the mean area of a triangle, taken for equilateral.
	edge2 := func(m *mesh.Mesh) float64 { return mesh.Area(m) / float64(m.FaceCount()) * 4 / math.Sqrt(3) }
	return (edge2(before) + edge2(after)) / (6 * radius) / math.Sqrt(3), radius
}
