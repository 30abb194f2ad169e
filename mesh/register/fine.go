package register

import (
	"context"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/frame"
)

// Places of the after-scan that the last step looks at: a fifth of its faces, and
// of few faces three for two as long as they are under manySamples, so that where
// little is left all of its noise averages out (on bones of 32 000 faces and three
// quarters changed the turn's error was 0.0227° against 0.0241° with half a place
// a face); always within these limits.
const (
	leastSamples = 16_000
	manySamples  = 48_000
	mostSamples  = 100_000
)

// facingCos is the cosine of 25 degrees: places agree only where their normals do.
const facingCos = 0.906

// fine is the last fit: even places of the after-scan against the whole surface
// of the before-scan.
type fine struct {
	before, after *mesh.Mesh
	opt           Options
	tree          *bvh.Tree
	beforeNormals []r3.Vec // per welded vertex
	afterNormals  []r3.Vec
	bw, aw        *mesh.Weld
	points        []r3.Vec // of the after-scan
	normals       []r3.Vec
	use           int // how many of them are looked at
	pose          frame.Similarity
	size, radius  float64

	// under the pose:
	at      []r3.Vec // moved points
	facing  []r3.Vec // half the sum of both normals, unit
	mine    []r3.Vec // normals of the after-scan, turned …
	theirs  []r3.Vec // … and of the before-scan
	gap     []float64
	ok      []bool // there is a place of the before-scan that looks the same way
	sigma   float64
	limit   float64 // of |gap| on stable surface
	systems []cellSystem
}

// cellSystem is the stable part of one cell.
type cellSystem struct {
	key  [3]int32
	sys  system
	sum2 float64
	n    float64
}

func newFine(ctx context.Context, before, after *mesh.Mesh, pose frame.Similarity, opt Options, l *levels) (*fine, error) {
	f := &fine{before: before, after: after, opt: opt, pose: pose, size: l.size, radius: l.radius}
	f.bw, f.aw = mesh.NewWeld(before), mesh.NewWeld(after)
	f.beforeNormals, f.afterNormals = mesh.VertexNormals(before, f.bw), mesh.VertexNormals(after, f.aw)
	f.tree = bvh.Build(before)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	n := after.FaceCount()
	n = min(mostSamples, max(n/5, leastSamples, min(manySamples, n+n/2)))
	places := mesh.Sample(after, n, 1)
	// In no order, so that the first of them are even too.
	random := rand.New(rand.NewPCG(2, 71))
	random.Shuffle(len(places), func(i, j int) { places[i], places[j] = places[j], places[i] })
	for _, p := range places {
		if opt.AfterIgnore != nil && opt.AfterIgnore[p.Face] {
			continue
		}
		f.points = append(f.points, after.At(p))
		f.normals = append(f.normals, smoothNormal(after, f.aw, f.afterNormals, p))
	}
	n = len(f.points)
	f.use = n
	f.at, f.facing, f.gap, f.ok = make([]r3.Vec, n), make([]r3.Vec, n), make([]float64, n), make([]bool, n)
	f.mine, f.theirs = make([]r3.Vec, n), make([]r3.Vec, n)
	return f, nil
}

// smoothNormal is the normal at a place, from those of its corners.
func smoothNormal(m *mesh.Mesh, w *mesh.Weld, normals []r3.Vec, p mesh.SurfacePoint) r3.Vec {
	a, b, c := w.Face(m, p.Face)
	n := r3.Add(r3.Add(r3.Scale(p.Weights[0], normals[a]), r3.Scale(p.Weights[1], normals[b])), r3.Scale(p.Weights[2], normals[c]))
	if l := math.Sqrt(r3.Norm2(n)); l > 0 { // r3.Norm, safe where squares overflow, takes four times as long
		return r3.Scale(1/l, n)
	}
	return r3.Vec{}
}

// look finds for every place its partner under the pose.
func (f *fine) look(ctx context.Context, within float64) error {
	for i, p := range f.points[:f.use] {
		f.at[i] = f.pose.Apply(p)
	}
	for i := f.use; i < len(f.points); i++ {
		f.ok[i] = false
	}
	hits := make([]bvh.Hit, f.use)
	if err := f.tree.ClosestAll(ctx, f.use, func(i int) r3.Vec { return f.at[i] }, within, hits); err != nil {
		return err
	}
	for i, h := range hits {
		f.ok[i], f.gap[i] = false, math.NaN()
		if h.Face == math.MaxUint32 || f.opt.BeforeIgnore != nil && f.opt.BeforeIgnore[h.Face] {
			continue
		}
		nb := smoothNormal(f.before, f.bw, f.beforeNormals, mesh.SurfacePoint{Face: h.Face, Weights: h.Weights})
		na := f.pose.Turn(f.normals[i])
		if r3.Dot(nb, na) < facingCos {
			continue
		}
		f.mine[i], f.theirs[i] = na, nb
		sum := r3.Add(na, nb)
		f.facing[i] = r3.Scale(1/r3.Norm(sum), sum)
		f.gap[i] = r3.Dot(r3.Sub(f.at[i], h.Point), f.facing[i])
		f.ok[i] = true
	}
	return nil
}

// Stable surface agrees within mostLimit patch sizes, whatever the residuals of
// the fit are: two shapes that have nothing to do with one another agree within a
// whole patch on a seventh of their area, within this on a twentieth. Scan noise
// is about a tenth of a patch. (With half a patch one fabricated bone of a hundred
// was accepted 2 degrees off at three quarters changed.)
const mostLimit = 0.4

// measure sets sigma and limit from the gaps: the median absolute gap of those
// that are within the largest limit, and three of its standard deviations, never
// more than that or under a fiftieth of a patch.
func (f *fine) measure() {
	most := mostLimit * f.size
	limit := most
	a := make([]float64, 0, f.use)
	for range 4 {
		a = a[:0]
		for i, e := range f.gap {
			if f.ok[i] && math.Abs(e) <= limit {
				a = append(a, math.Abs(e))
			}
		}
		if len(a) == 0 {
			f.sigma, f.limit = most, most
			return
		}
		f.sigma = 1.4826 * mesh.Nth(a, len(a)/2)
		limit = math.Min(math.Max(3*f.sigma, f.size/50), most)
	}
	f.limit = limit
}

// Places looked at in the first rounds of a fit, whose steps are long.
const fewSamples = 8_000

// polish makes the last steps with the weights that the residuals themselves
// allow: by few places until it hardly moves, then by all.
func (f *fine) polish(ctx context.Context, scaled bool) error {
	n := rigidPart
	if scaled {
		n = unknowns
	}
	f.use = min(fewSamples, len(f.points))
	defer func() { f.use = len(f.points) }()
	for range 12 {
		if err := f.look(ctx, 4*f.size); err != nil {
			return err
		}
		f.measure()
		width := math.Max(4.685*f.sigma, f.size/20)
		x, ok := f.system(width, nil).solve(n, f.radius, 1e-9)
		if !ok {
			return nil
		}
		f.pose = advance(f.pose, x, n, f.middle())
		if step := size(x, n, f.radius); step < 0.1*f.sigma+1e-9 {
			// One more step by all places, from so near that its error is of second
			// order.
			if f.use == len(f.points) {
				return nil
			}
			f.use = len(f.points)
		}
	}
	return nil
}

// middle is the point about which steps are made: that of the before-scan.
func (f *fine) middle() r3.Vec { return mesh.Bounds(f.before).Centre() }

// system sums the equations of the places that use accepts (nil: all), about
// the middle, with Tukey weights of the given width.
func (f *fine) system(width float64, use func(i int) bool) *system {
	var out system
	c := f.middle()
	for i, e := range f.gap {
		if !f.ok[i] || use != nil && !use(i) {
			continue
		}
		if w := tukey(e, width); w > 0 {
			p := r3.Sub(f.at[i], c)
			out.add(p, r3.Sub(p, r3.Scale(e, f.facing[i])), f.facing[i], w)
		}
	}
	return &out
}

// stable says whether a place lies where both scans agree.
func (f *fine) stable(i int) bool { return f.ok[i] && math.Abs(f.gap[i]) <= f.limit }

// cell is the cell of a place on a grid of the given size.
func cell(p r3.Vec, size float64) [3]int32 {
	return [3]int32{int32(math.Floor(p.X / size)), int32(math.Floor(p.Y / size)), int32(math.Floor(p.Z / size))}
}
