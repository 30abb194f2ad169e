package register

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
	"rigatino/mesh/frame"
)

// JointOptions of FitJoint.
type JointOptions struct {
	Picks []Pick       // three or more, or none: places that face one another, Before on the body, After on the piece
	Start *frame.Rigid // where the piece is thought to stand, piece to body
	// BodyFace and PieceFace mark the surfaces of the joint; nil takes all faces.
	BodyFace, PieceFace []bool
	// GapMM is what was between the surfaces (cartilage, say), mm; nil lets the
	// surfaces say, as far as their shape can.
	GapMM    *float64
	Progress func(done float64, words string)
}

// Joint is how two bones stand to one another where they moved on one another:
// their surfaces run beside each other at a gap that is the same everywhere.
// Where the verdict is refused, the position and the figures say only what was
// tried.
type Joint struct {
	Verdict, Reason, NextStep string
	PieceToBody               frame.Rigid
	// Gap is for every face of the piece how far it stands off the body's surface,
	// mm, NaN where nothing lies opposite.
	Gap []float64
	// Median, and 1.4826 times the median distance from it, by area; and what one
	// face in twenty is narrower and wider than.
	GapMedian, GapSpread, Gap5, Gap95 float64
	// FacingArea is what of the piece's surface has the body's opposite, mm², and
	// FacingShare its share of what was marked.
	FacingArea, FacingShare float64
	// Free are the motions that leave the gap as it is, in words: those of the joint.
	Free []string
}

// Limits of a joint; our own, no source defines them.
const (
	leastFacing = 0.15 // of the piece's surface
	evenGap     = 0.25 // spread over median, or …
	evenGapMM   = 0.20 // … mm, up to which a gap is the same everywhere
	// jointFree is the share of the greatest eigenvalue below which a motion changes
	// the gap too little to be held. Scans of joints are rougher than breaks.
	jointFree   = 1e-3
	jointRounds = 40
	// jointReach is the share of the piece's diagonal within which a surface is
	// looked for at first.
	jointReach = 0.25
)

const jointNext = "mark the surfaces of the joint on both bones, and pick three or more pairs of places that face one another"

// FitJoint brings two joint surfaces beside one another, mm, each in its own
// scan's frame. What is made small is not the gap but how it differs from place to
// place, with the gap itself left free or as given; motions that do not change it
// are named, not refused: they are how the joint moved. The residual is that of
// the symmetric objective (see Align), less its weighted mean. It begins at the
// picked pairs or at Start; without either, where the surfaces lie on one another
// best. An error means that nothing could be tried.
//
// Not modelled: a gap that differs by plan, as cartilage thinner at the rim, and
// ligaments. Faces farther apart than a quarter of the piece do not count.
func FitJoint(ctx context.Context, body, piece *mesh.Mesh, opt JointOptions) (*Joint, error) {
	say := opt.Progress
	if say == nil {
		say = func(float64, string) {}
	}
	if g := opt.GapMM; g != nil && !(*g >= 0 && *g < 100) {
		return nil, fmt.Errorf("a gap of %g mm between two bones is none: give it in mm, 0 or more", *g)
	}
	out := &Joint{PieceToBody: frame.Identity()}
	d, faces, err := faced(ctx, body, piece, DryOptions{Picks: opt.Picks, BodyBreak: opt.BodyFace, PieceBreak: opt.PieceFace})
	if err != nil {
		return nil, err
	}
	if d == nil {
		return out.refuse("no surface of the joint is marked on one side", jointNext), nil
	}
	say(0.1, "Looking how the joint surfaces stand")
	pose := frame.Similarity{Scale: 1, Rigid: frame.Identity()}
	reach := jointReach * mesh.Bounds(d.piece).Diagonal()
	switch {
	case len(opt.Picks) > 0:
		var before, after []r3.Vec
		for _, p := range opt.Picks {
			before, after = append(before, p.Before), append(after, p.After)
		}
		var fit frame.Fit
		if pose.Rigid, fit, err = frame.FitRigid(before, after, nil); err != nil {
			return out.refuse(err.Error(), jointNext), nil
		}
		if fit.Mirrored {
			return out.refuse("the picked pairs fit a mirror image better: one of the scans is mirrored", "check the pairs"), nil
		}
	case opt.Start != nil:
		pose.Rigid = *opt.Start
	default:
		if pose, err = d.search.findFrom(ctx, pose, Options{MayAppear: true}, func(done float64) { say(0.1+0.4*done, "Searching where the surfaces face one another") }); err != nil {
			return nil, err
		}
	}
	say(0.6, "Making the gap even")
	j := &joint{dry: d, pose: pose.Rigid, given: opt.GapMM}
	if err := j.even(ctx, reach); err != nil {
		return nil, err
	}
	say(0.9, "Measuring the gap")
	out.PieceToBody = j.pose
	if err := j.describe(ctx, out, faces, piece.FaceCount(), reach); err != nil {
		return nil, err
	}
	over := &DryFit{DryPlace: DryPlace{PieceToBody: j.pose}}
	if err := over.overlap(ctx, body, piece); err != nil {
		return nil, err
	}
	j.judge(out, over.OverlapShare)
	say(1, "Fitted")
	return out, nil
}

// joint is the fit of two surfaces, that of the piece turned inside out.
type joint struct {
	*dry
	pose  frame.Rigid
	given *float64
	gap   float64 // mm, in the middle

	places []facing
	sigma  float64 // mm, of the gap about its mean
	free   []string
	slack  bool // a free motion changes the gap all over
}

// facing is a place of the piece with what lies opposite.
type facing struct {
	at, n r3.Vec
	gap   float64
}

// look finds what lies opposite every place.
func (j *joint) look(ctx context.Context, within float64) error {
	f := j.fine
	hits := make([]bvh.Hit, len(f.points))
	if err := f.tree.ClosestAll(ctx, len(f.points), func(i int) r3.Vec { return j.pose.Apply(f.points[i]) }, within, hits); err != nil {
		return err
	}
	j.places = j.places[:0]
	for i, h := range hits {
		if h.Face == bvh.None {
			continue
		}
		if p, ok := j.opposite(j.pose.Apply(f.points[i]), j.pose.Turn(f.normals[i]), h); ok {
			j.places = append(j.places, p)
		}
	}
	return nil
}

// opposite says how far a place stands off what was found nearest. Past the edge
// of the body's surface nothing lies opposite.
func (j *joint) opposite(at, mine r3.Vec, h bvh.Hit) (facing, bool) {
	f := j.fine
	theirs := smoothNormal(f.before, f.bw, f.beforeNormals, mesh.SurfacePoint{Face: h.Face, Weights: h.Weights})
	if r3.Dot(mine, theirs) < facingCos {
		return facing{}, false
	}
	n := r3.Unit(r3.Add(mine, theirs))
	off := r3.Sub(at, h.Point)
	gap := r3.Dot(off, n)
	aside := math.Sqrt(math.Max(0, r3.Norm2(off)-gap*gap))
	return facing{at, n, gap}, aside <= math.Max(f.size, 0.35*math.Abs(gap))
}

// even makes the gap the same everywhere, with weights that narrow.
func (j *joint) even(ctx context.Context, reach float64) error {
	centre, radius := j.fine.middle(), j.fine.radius
	for round := range jointRounds {
		if err := j.look(ctx, reach); err != nil {
			return err
		}
		if len(j.places) < 12 {
			return nil
		}
		j.spread()
		// Wide at first: the middle half of the gaps at a bad start are not the joint's.
		width := math.Max(4.685*j.sigma, reach*math.Pow(0.7, float64(round)))
		s := j.equations(centre, width)
		x, ok := s.solve(rigidPart, radius, 1e-7)
		if !ok {
			return nil
		}
		j.pose = j.pose.Then(motion(x, centre))
		if width <= 4.685*j.sigma && size(x, rigidPart, radius) < 1e-3*math.Max(j.sigma, 1e-6) {
			break
		}
	}
	if err := j.look(ctx, reach); err != nil || len(j.places) < 12 {
		return err
	}
	j.spread()
	j.hold(4.685 * j.sigma)
	return nil
}

// spread sets the gap in the middle and its sigma.
func (j *joint) spread() {
	gaps := make([]float64, len(j.places))
	for i, p := range j.places {
		gaps[i] = p.gap
	}
	j.gap = mesh.Nth(gaps, len(gaps)/2)
	if j.given != nil {
		j.gap = *j.given
	}
	for i, p := range j.places {
		gaps[i] = math.Abs(p.gap - j.gap)
	}
	j.sigma = math.Max(1.4826*mesh.Nth(gaps, len(gaps)/2), 1e-9)
}

// equations are those of one step. Where the gap is free, it is eliminated: of
// every row its weighted mean is taken off (Schur complement of the unknown gap).
func (j *joint) equations(centre r3.Vec, width float64) *system {
	var s system
	var mean [rigidPart]float64
	off := 0.0
	for _, p := range j.places {
		e := p.gap - j.gap
		w := tukey(e, width)
		if w == 0 {
			continue
		}
		at := r3.Sub(p.at, centre)
		s.add(at, r3.Sub(at, r3.Scale(e, p.n)), p.n, w)
		a := r3.Cross(r3.Sub(at, r3.Scale(e/2, p.n)), p.n)
		for k, v := range [rigidPart]float64{a.X, a.Y, a.Z, p.n.X, p.n.Y, p.n.Z} {
			mean[k] += w * v
		}
		off += w * e
	}
	if j.given == nil && s.weight > 0 {
		for k := range rigidPart {
			s.g[k] -= mean[k] * off / s.weight
			for l := k; l < rigidPart; l++ {
				s.h[k*unknowns+l] -= mean[k] * mean[l] / s.weight
			}
		}
	}
	return &s
}

// hold finds the motions that leave the gap as it is.
func (j *joint) hold(width float64) {
	var c r3.Vec
	for _, p := range j.places {
		c = r3.Add(c, r3.Scale(1/float64(len(j.places)), p.at))
	}
	radius := 0.0
	for _, p := range j.places {
		radius += r3.Norm(r3.Sub(p.at, c)) / float64(len(j.places))
	}
	s := j.equations(c, width)
	a := mat.NewSymDense(rigidPart, nil)
	scale := [rigidPart]float64{1 / radius, 1 / radius, 1 / radius, 1, 1, 1}
	for i := range rigidPart {
		for k := i; k < rigidPart; k++ {
			a.SetSym(i, k, s.h[i*unknowns+k]*scale[i]*scale[k])
		}
	}
	var e mat.EigenSym
	if !e.Factorize(a, true) {
		return
	}
	values := e.Values(nil)
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	for k := range rigidPart {
		if values[k] > jointFree*values[rigidPart-1] {
			break
		}
		turn := r3.Vec{X: vectors.At(0, k), Y: vectors.At(1, k), Z: vectors.At(2, k)}
		shift := r3.Vec{X: vectors.At(3, k), Y: vectors.At(4, k), Z: vectors.At(5, k)}
		// How far it carries the places along their normals, all alike.
		mean, weight := 0.0, 0.0
		for _, p := range j.places {
			w := tukey(p.gap-j.gap, width)
			v := r3.Add(shift, r3.Scale(1/radius, r3.Cross(turn, r3.Sub(p.at, c))))
			mean, weight = mean+w*r3.Dot(v, p.n), weight+w
		}
		if weight > 0 && math.Abs(mean/weight) > 0.3 {
			j.slack = true
		}
		j.free = append(j.free, j.fine.sayMotion(turn, shift))
	}
}

// describe measures the gap of every face.
func (j *joint) describe(ctx context.Context, out *Joint, faces []uint32, all int, reach float64) error {
	n := j.piece.FaceCount()
	hits := make([]bvh.Hit, n)
	at := func(i int) r3.Vec { return j.pose.Apply(middleOf(j.piece, uint32(i))) }
	if err := j.fine.tree.ClosestAll(ctx, n, at, reach, hits); err != nil {
		return err
	}
	out.Gap = make([]float64, all)
	for i := range out.Gap {
		out.Gap[i] = math.NaN()
	}
	var gaps, weights []float64
	var area mesh.Sum
	for i, h := range hits {
		normal := j.pose.Turn(j.piece.AreaVector(uint32(i)))
		size := r3.Norm(normal)
		if h.Face == bvh.None || !(size > 0) {
			continue
		}
		p, ok := j.opposite(at(i), r3.Scale(1/size, normal), h)
		if !ok {
			continue
		}
		out.Gap[faces[i]] = p.gap
		gaps, weights = append(gaps, p.gap), append(weights, size)
		area.Add(size)
	}
	out.FacingArea, out.Free = area.Value(), j.free
	if j.pieceArea > 0 {
		out.FacingShare = math.Min(1, out.FacingArea/j.pieceArea)
	}
	if len(gaps) == 0 {
		return nil
	}
	out.GapMedian, out.Gap5, out.Gap95 = weighted(gaps, weights, 0.5), weighted(gaps, weights, 0.05), weighted(gaps, weights, 0.95)
	off := make([]float64, len(gaps))
	for i, g := range gaps {
		off[i] = math.Abs(g - out.GapMedian)
	}
	out.GapSpread = 1.4826 * weighted(off, weights, 0.5)
	return nil
}

// judge gives the verdict.
func (j *joint) judge(out *Joint, overlap float64) {
	even := math.Max(evenGap*math.Abs(out.GapMedian), evenGapMM)
	switch {
	case out.FacingShare < leastFacing:
		out.refuse(fmt.Sprintf("only %.0f\u00a0%% of the surface has the other bone opposite", 100*out.FacingShare), jointNext)
	case overlap > mostOverlap:
		out.refuse(fmt.Sprintf("%.0f\u00a0%% of the piece would lie inside the body", 100*overlap), jointNext)
	case out.GapMedian < -evenGapMM:
		out.refuse(fmt.Sprintf("the surfaces would lie %.2f\u00a0mm in one another", -out.GapMedian), jointNext)
	case out.GapSpread > even:
		out.refuse(fmt.Sprintf("the gap differs from place to place by %.2f\u00a0mm about %.2f\u00a0mm: the surfaces do not run beside one another", out.GapSpread, out.GapMedian), jointNext)
	case j.slack:
		out.Verdict = Ambiguous
		out.Reason = "the shape of the surfaces does not tell how far apart they stood"
		out.NextStep = "say how wide the gap was, in mm"
	default:
		out.Verdict = Accepted
		out.Reason = fmt.Sprintf("the surfaces run beside one another on %.0f\u00a0mm² at %.2f\u00a0mm, even to %.2f\u00a0mm", out.FacingArea, out.GapMedian, out.GapSpread)
		if len(out.Free) > 0 {
			out.Reason += fmt.Sprintf("; %d motions leave the gap as it is, so the pose in them is that of the start", len(out.Free))
			out.NextStep = "settle by other evidence how far the joint was bent"
		}
	}
}

func (f *Joint) refuse(reason, next string) *Joint {
	f.Verdict, f.Reason, f.NextStep = Refused, reason, next
	return f
}

// faced prepares two surfaces that face one another, that of the piece turned
// inside out; nil where one side has none. faces are those of the piece.
func faced(ctx context.Context, body, piece *mesh.Mesh, opt DryOptions) (d *dry, faces []uint32, err error) {
	if body.FaceCount() == 0 || piece.FaceCount() == 0 {
		return nil, nil, errors.New("a scan without faces cannot be fitted: open another file")
	}
	if n := len(opt.Picks); n > 0 && n < 3 {
		return nil, nil, fmt.Errorf("%d picked pairs hold nothing in place: %s", n, dryNext)
	}
	for _, s := range []struct {
		name string
		m    *mesh.Mesh
		mask []bool
	}{{"body", body, opt.BodyBreak}, {"piece", piece, opt.PieceBreak}} {
		if s.mask != nil && len(s.mask) != s.m.FaceCount() {
			return nil, nil, fmt.Errorf("what is marked on the %s has %d faces, its scan %d: mark it on this scan", s.name, len(s.mask), s.m.FaceCount())
		}
	}
	theirs, _ := breakOf(body, opt.BodyBreak, false)
	mine, faces := breakOf(piece, opt.PieceBreak, true)
	if theirs.FaceCount() == 0 || mine.FaceCount() == 0 {
		return nil, nil, nil
	}
	if d, err = newDry(ctx, theirs, mine, opt); err != nil {
		return nil, nil, err
	}
	d.marked = opt.PieceBreak != nil
	return d, faces, nil
}
