package register

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/frame"
)

// dry is two breaks, that of the piece turned inside out.
type dry struct {
	body, piece *mesh.Mesh
	search      *search
	fine        *fine
	marked      bool
	pieceArea   float64
	normal      r3.Vec // of the body's break, in its frame
}

// seat is a position of the piece.
type seat struct {
	pose   frame.Rigid
	area   float64 // mm² of the piece that touches
	limit  float64 // mm, within which it touches
	peaked float64 // area within half the limit over that from there to the limit
	gaps   []float64
	hold   hold
}

// newDry prepares both breaks. Patches are no smaller than half an edge: on a
// break of a few square centimetres the usual number of patches would ask for
// more than a scan has.
func newDry(ctx context.Context, body, piece *mesh.Mesh, opt DryOptions) (*dry, error) {
	d := &dry{body: body, piece: piece, pieceArea: mesh.Area(piece)}
	box, area := extent(body, nil)
	l := &levels{radius: math.Max(box.Diagonal()/4, 1e-9)}
	l.size = math.Max(math.Sqrt(math.Min(area, d.pieceArea)/refinePatches), 0.5*math.Max(usualEdge(body), usualEdge(piece)))
	l.size = math.Max(l.size, 1e-9)
	for _, side := range []struct {
		m  *mesh.Mesh
		to *[2]*cloud
	}{{body, &l.before}, {piece, &l.after}} {
		c, err := gather(ctx, side.m, nil, middleSize*l.size)
		if err != nil {
			return nil, err
		}
		side.to[1], side.to[0] = c, c.coarser(coarseSize*l.size)
	}
	d.search = newSearch(l, true)
	for f := range uint32(body.FaceCount()) {
		d.normal = r3.Add(d.normal, body.AreaVector(f))
	}
	var err error
	d.fine, err = newFine(ctx, body, piece, frame.Similarity{Scale: 1, Rigid: frame.Identity()}, Options{MayAppear: true}, l)
	if err != nil {
		return nil, err
	}
	// Many positions are tried: the first places, which are even too, are enough.
	f := d.fine
	n := min(dryPlaces, len(f.points))
	f.points, f.normals, f.use = f.points[:n], f.normals[:n], n
	f.at, f.facing, f.gap, f.ok, f.mine, f.theirs = f.at[:n], f.facing[:n], f.gap[:n], f.ok[:n], f.mine[:n], f.theirs[:n]
	return d, nil
}

// dryPlaces of a break are looked at in a fit.
const dryPlaces = 6000

// usualEdge is that of the face in the middle by area, taken for equilateral: long
// faces on flat sides do not count for more than others.
func usualEdge(m *mesh.Mesh) float64 {
	areas := mesh.FaceAreas(m)
	return math.Sqrt(4 / math.Sqrt(3) * mesh.Nth(areas, len(areas)/2))
}

// settle fits a position closely and measures it.
func (d *dry) settle(ctx context.Context, pose frame.Similarity) (*seat, error) {
	f := d.fine
	f.pose, f.use = pose, len(f.points)
	if err := f.polish(ctx, false); err != nil {
		return nil, err
	}
	if err := f.look(ctx, 4*f.size); err != nil {
		return nil, err
	}
	if err := d.tighten(ctx); err != nil {
		return nil, err
	}
	out := &seat{pose: f.pose.Rigid, limit: math.Min(math.Max(f.limit, leastContact), mostContact)}
	r := &Result{}
	n := 0.0
	for i := range f.gap {
		if f.stable(i) {
			r.Centre, n = r3.Add(r.Centre, f.at[i]), n+1
		}
	}
	if n > 0 {
		r.Centre = r3.Scale(1/n, r.Centre)
	}
	out.hold = f.holding(r)
	return out, d.measure(ctx, out)
}

// measure sets the gaps of all faces of the piece's break and the area that
// touches.
func (d *dry) measure(ctx context.Context, s *seat) error {
	n := d.piece.FaceCount()
	hits := make([]bvh.Hit, n)
	at := func(i int) r3.Vec { return s.pose.Apply(middleOf(d.piece, uint32(i))) }
	if err := d.fine.tree.ClosestAll(ctx, n, at, GapReach, hits); err != nil {
		return err
	}
	s.gaps = make([]float64, n)
	var touching, core mesh.Sum
	for i, h := range hits {
		s.gaps[i] = math.NaN()
		if h.Face == bvh.None {
			continue
		}
		mine, theirs := s.pose.Turn(d.piece.AreaVector(uint32(i))), d.body.AreaVector(h.Face)
		area := r3.Norm(mine)
		if !(area > 0) || !(r3.Norm(theirs) > 0) {
			continue
		}
		mine, theirs = r3.Unit(mine), r3.Unit(theirs)
		if r3.Dot(mine, theirs) < compatible {
			continue
		}
		off := r3.Sub(at(i), h.Point)
		gap := r3.Dot(off, r3.Unit(r3.Add(mine, theirs)))
		// Past the edge of the body's break nothing lies opposite.
		if aside := math.Sqrt(math.Max(0, r3.Norm2(off)-gap*gap)); aside > d.fine.size {
			continue
		}
		s.gaps[i] = gap
		if math.Abs(gap) <= s.limit {
			touching.Add(area)
			if math.Abs(gap) <= s.limit/2 {
				core.Add(area)
			}
		}
	}
	s.area = touching.Value()
	s.peaked = core.Value() / math.Max(s.area-core.Value(), 1e-9*s.area)
	return nil
}

// Other positions are looked for on lines through the best one: so many steps
// each way along the break in eight directions, up to half its length, and as
// turns in its plane.
const (
	slideSteps = 12
	slideWays  = 8
	turnSteps  = 12
	mostOthers = 4
	// otherShare of the contact is the least that makes a position worth naming.
	otherShare = 0.3
)

// others are the positions along the break, apart from best and from each other,
// that are best by contact.
func (d *dry) others(ctx context.Context, best *seat, say func(float64)) ([]*seat, error) {
	s := d.search
	var starts []frame.Rigid
	normal := r3.Vec{Z: 1}
	if r3.Norm(d.normal) > 0 {
		normal = r3.Unit(d.normal)
	}
	// Where the break is, by what touches: the rest of an unmarked piece is not.
	var points []r3.Vec
	for i, g := range best.gaps {
		if math.Abs(g) <= best.limit {
			points = append(points, best.pose.Apply(middleOf(d.piece, uint32(i))))
		}
	}
	if len(points) < 12 {
		return nil, nil
	}
	_, axes, _ := mesh.Principal(points)
	if !d.marked {
		normal = axes[2]
	}
	along := axes[0]
	if along = r3.Sub(along, r3.Scale(r3.Dot(along, normal), normal)); r3.Norm(along) < 0.1 {
		along = axes[1]
		along = r3.Sub(along, r3.Scale(r3.Dot(along, normal), normal))
	}
	along = r3.Unit(along)
	across := r3.Cross(normal, along)
	var middle r3.Vec
	for _, p := range points {
		middle = r3.Add(middle, r3.Scale(1/float64(len(points)), p))
	}
	for k := range slideWays {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / slideWays)
		way := r3.Add(r3.Scale(cos, along), r3.Scale(sin, across))
		low, high := math.Inf(1), math.Inf(-1)
		for _, p := range points {
			v := r3.Dot(p, way)
			low, high = math.Min(low, v), math.Max(high, v)
		}
		for step := 1; step <= slideSteps; step++ {
			g := best.pose
			g.T = r3.Add(g.T, r3.Scale(0.5*(high-low)*float64(step)/slideSteps, way))
			starts = append(starts, g)
		}
	}
	to, back := frame.Identity(), frame.Identity()
	to.T, back.T = r3.Scale(-1, middle), middle
	for k := 1; k < turnSteps; k++ {
		starts = append(starts, best.pose.Then(to).Then(frame.Rotation(normal, 2*math.Pi*float64(k)/turnSteps)).Then(back))
	}
	found := make([]candidate, len(starts))
	errs := make([]error, len(starts))
	if err := mesh.Parallel(ctx, len(starts), func(i int) {
		found[i], errs[i] = s.refine(ctx, frame.Similarity{Scale: 1, Rigid: starts[i]}, 8*s.l.size)
	}); err != nil {
		return nil, err
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	say(0.6)
	found = append(found, s.found...)
	slices.SortStableFunc(found, func(a, b candidate) int { return cmp.Compare(b.score, a.score) })
	var out []*seat
	apart := 4 * s.l.size
	tried := 0
	for _, c := range found {
		if tried == 2*mostOthers || len(out) == mostOthers {
			break
		}
		if d.near(c.pose.Rigid, best, apart) || slices.ContainsFunc(out, func(o *seat) bool { return d.near(c.pose.Rigid, o, apart) }) {
			continue
		}
		tried++
		at, err := d.settle(ctx, c.pose)
		if err != nil {
			return nil, err
		}
		// On the way home it may have reached one that is known.
		if d.near(at.pose, best, apart) || slices.ContainsFunc(out, func(o *seat) bool { return d.near(at.pose, o, apart) }) {
			continue
		}
		// Flat sides go together with anything; that says nothing against a break
		// that holds.
		if best.hold.ratio >= weak && at.hold.ratio < sliding {
			continue
		}
		if at.area >= otherShare*best.area && at.peaked >= leastPeak {
			out = append(out, at)
		}
	}
	slices.SortStableFunc(out, func(a, b *seat) int {
		switch {
		case a.area > b.area:
			return -1
		case a.area < b.area:
			return 1
		}
		return 0
	})
	return out, nil
}

// near says whether a pose puts the break of a seat less than so many mm off.
func (d *dry) near(pose frame.Rigid, s *seat, mm float64) bool { return d.apart(pose, s) < mm }

// apart is the root mean square distance between where a pose and a seat put the
// faces that touch in the seat.
func (d *dry) apart(pose frame.Rigid, s *seat) float64 {
	sum, n := 0.0, 0.0
	for i, g := range s.gaps {
		if math.Abs(g) <= s.limit {
			p := middleOf(d.piece, uint32(i))
			sum, n = sum+r3.Norm2(r3.Sub(pose.Apply(p), s.pose.Apply(p))), n+1
		}
	}
	if n == 0 {
		return math.Inf(1)
	}
	return math.Sqrt(sum / n)
}
