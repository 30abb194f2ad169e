package quality

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Resolution says how fine a scan is. Fine is not accurate: how far the surface
// is from the specimen no scan can say of itself.
type Resolution struct {
	MeanEdge float64
	// Edge5 and Edge95 are the lengths below which 5 % and 95 % of the edges
	// lie, an inner edge counted for both its faces.
	Edge5, Edge95 float64
	// Noise estimates the standard deviation by which single vertices lie off
	// the surface along its normal; nil where the scan is too small to tell. It
	// is what differs from vertex to vertex: scan error that is smooth over a
	// few edges is not in it, and is as a rule larger.
	Noise *float64
}

const (
	// noiseSample is the number of vertices at which noise is looked for, and
	// noiseFewest the number below which it is not estimated.
	noiseSample, noiseFewest = 4000, 50
	// noiseRings is how far over edges the vertices are that the fit uses,
	// noiseMost how many.
	noiseRings, noiseMost = 3, 36
	// perMAD makes the median absolute deviation of normally distributed
	// values their standard deviation.
	perMAD = 1.482602218505602
)

func (s *surface) resolution(ctx context.Context) (Resolution, error) {
	out := Resolution{MeanEdge: mesh.MeanEdge(s.m)}
	lengths := make([]float64, 0, 3*s.m.FaceCount())
	for f := range uint32(s.m.FaceCount()) {
		if s.t.Component[f] < 0 {
			continue
		}
		a, b, c := s.m.Corners(f)
		lengths = append(lengths, r3.Norm2(r3.Sub(b, a)), r3.Norm2(r3.Sub(c, b)), r3.Norm2(r3.Sub(a, c)))
	}
	if len(lengths) > 0 {
		slices.Sort(lengths)
		out.Edge5 = math.Sqrt(lengths[len(lengths)/20])
		out.Edge95 = math.Sqrt(lengths[len(lengths)*19/20])
	}
	var err error
	out.Noise, err = s.noise(ctx)
	return out, err
}

// noise fits a quadric to the vertices about each vertex of a sample, without
// itself, and takes the median of how far the vertex lies off, each divided by
// what the fit lets through (the root of one plus its leverage).
func (s *surface) noise(ctx context.Context) (*float64, error) {
	n := s.w.Count
	at := make([]r3.Vec, n)
	for v, of := range s.w.Of {
		at[of] = s.m.Vertex(uint32(v))
	}
	step := max(1, n/noiseSample)
	count := (n + step - 1) / step
	off := make([]float64, count)
	const block = 64
	err := mesh.Parallel(ctx, (count+block-1)/block, func(b int) {
		for i := b * block; i < min(count, (b+1)*block); i++ {
			off[i] = s.offQuadric(uint32(i*step), at)
		}
	})
	if err != nil {
		return nil, err
	}
	off = slices.DeleteFunc(off, math.IsNaN)
	if len(off) < noiseFewest {
		return nil, nil
	}
	slices.Sort(off)
	sigma := perMAD * off[len(off)/2]
	return &sigma, nil
}

// offQuadric is how far vertex v lies off the quadric through its neighbours
// along the normal, without sign; not a number where it cannot be said.
func (s *surface) offQuadric(v uint32, at []r3.Vec) float64 {
	near := []uint32{v}
	var ring []uint32
	for from, r := 0, 0; r < noiseRings && len(near) < noiseMost; r++ {
		to := len(near)
		for _, u := range near[from:to] {
			ring = s.t.Ring(u, ring[:0])
			for _, w := range ring {
				if len(near) < noiseMost && !slices.Contains(near, w) {
					near = append(near, w)
				}
			}
		}
		from = to
	}
	near = near[1:]
	if len(near) < 12 {
		return math.NaN()
	}
	for _, f := range s.t.FacesOf(v) { // at a border the fit would reach out
		for k := range uint32(3) {
			if s.t.Neighbour[3*f+k] < 0 {
				return math.NaN()
			}
		}
	}
	var normal r3.Vec
	size := 0.0
	for _, u := range near {
		size += r3.Norm(r3.Sub(at[u], at[v])) / float64(len(near))
		for _, f := range s.t.FacesOf(u) {
			normal = r3.Add(normal, s.m.AreaVector(f))
		}
	}
	if !(r3.Norm(normal) > 0) || !(size > 0) {
		return math.NaN()
	}
	x, y, z := axesOn(r3.Unit(normal))
	rows, heights := mat.NewDense(len(near), 6, nil), mat.NewVecDense(len(near), nil)
	for i, u := range near {
		d := r3.Scale(1/size, r3.Sub(at[u], at[v]))
		p, q := r3.Dot(d, x), r3.Dot(d, y)
		rows.SetRow(i, []float64{1, p, q, p * p, p * q, q * q})
		heights.SetVec(i, r3.Dot(d, z))
	}
	var normalMatrix mat.SymDense
	normalMatrix.SymOuterK(1, rows.T())
	var c mat.Cholesky
	if !c.Factorize(&normalMatrix) || c.Cond() > 1e8 {
		return math.NaN()
	}
	var right, fit, unit, lever mat.VecDense
	right.MulVec(rows.T(), heights)
	e := mat.NewVecDense(6, []float64{1, 0, 0, 0, 0, 0})
	unit.CloneFromVec(e)
	if c.SolveVecTo(&fit, &right) != nil || c.SolveVecTo(&lever, &unit) != nil {
		return math.NaN()
	}
	// At the vertex itself the quadric has the height of its constant term,
	// whose variance is the first entry of the inverse.
	return math.Abs(fit.AtVec(0)) * size / math.Sqrt(1+lever.AtVec(0))
}

// axesOn returns three axes at right angles, the third being n.
func axesOn(n r3.Vec) (x, y, z r3.Vec) {
	other := r3.Vec{X: 1}
	if math.Abs(n.X) > 0.7 {
		other = r3.Vec{Y: 1}
	}
	x = r3.Unit(r3.Cross(n, other))
	return x, r3.Cross(n, x), n
}
