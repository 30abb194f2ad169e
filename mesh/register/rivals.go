package register

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// doubts are what speaks against the best pose.
type doubts struct {
	hold     hold
	slides   float64 // score of where a push along the weakest motion ends, over that of the pose; 0 if it comes back
	rival    float64 // score of the best pose elsewhere over that of the best
	mirrored float64 // score of the best pose of the mirror image over it; 0 where that fits no better than chance
	second   float64 // share of the after-scan that another motion explains, of what the best pose leaves
	apart    float64 // mm, how far that motion takes it
	motion   frame.Similarity
	main     float64 // share of the after-scan that the best pose explains
	// Shares of the after-scan that the best pose leaves: all of it, and what lies
	// outside the before-scan.
	left, outside float64
}

// Limits of the doubts.
const (
	doubtful    = 0.1     // least over greatest eigenvalue from which on no push is tried
	rivalRatio  = 1 / 1.3 // a rival's score over the best one's from which on nothing is decided
	appeared    = 0.01    // share of the after-scan outside the before-scan from which on a second motion is looked for hard
	mixed       = 0.03    // such a share of the after-scan outside, while much more of it …
	mixedLeft   = 0.15    // … lies neither there nor on the before-scan: something moved, or much happened at once
	secondShare = 0.12    // of what is left, that lies together under a second motion …
	secondLeast = 0.03    // … and of the whole after-scan
)

// challenge looks for poses that the search may have missed because they are
// much like the best one: half turns about the specimen's axes, which a nearly
// symmetric body hardly tells apart.
func (s *search) challenge(ctx context.Context, best candidate) error {
	_, axes, _ := mesh.Principal(s.l.after[0].points)
	for _, a := range axes {
		about := frame.Identity()
		about.T = r3.Scale(-1, s.middle)
		back := frame.Identity()
		back.T = s.middle
		g := about.Then(frame.Rotation(a, math.Pi)).Then(back).Then(best.pose.Rigid)
		c, err := s.refine(ctx, frame.Similarity{Scale: best.pose.Scale, Rigid: g}, 0.03*s.diagonal)
		if err != nil {
			return err
		}
		s.add(c)
	}
	return nil
}

// rival is the score of the best pose that puts the specimen elsewhere than g
// does, over g's.
func (s *search) rival(g candidate) float64 {
	for _, c := range s.found {
		if apartFrom(c.pose.Rigid, g.pose.Rigid, s.middle, s.diagonal) {
			return c.score / max(g.score, 1e-9)
		}
	}
	return 0
}

// mirror searches for the mirror image of the after-scan, in fewer attempts where
// the scan itself fits well.
func (s *search) mirror(ctx context.Context, best float64) (float64, error) {
	flip := func(vs []r3.Vec) []r3.Vec {
		out := make([]r3.Vec, len(vs))
		for i, v := range vs {
			out[i] = r3.Vec{X: -v.X, Y: v.Y, Z: v.Z}
		}
		return out
	}
	l := *s.l
	for i, c := range s.l.after {
		l.after[i] = c.like(flip)
	}
	m := newSearch(&l, s.appear)
	m.enough, m.seeds = max(rivalRatio*best, leastNet), fewSeeds
	tries := 2
	if best > clearShare {
		tries, m.seeds, m.most = 1, 5*firstSeeds, fewRefined
	}
	for k := range tries {
		before, after, err := s.places(ctx, k)
		if err != nil {
			return 0, err
		}
		if err := m.attempt(ctx, before, after.mirror(), nil); err != nil {
			return 0, err
		}
		if m.clear() {
			break
		}
	}
	if len(m.found) == 0 || m.found[0].score < leastNet {
		return 0, nil
	}
	return m.found[0].score / max(best, 1e-9), nil
}

// second looks for another motion in what the best pose leaves unexplained: a
// bed that stayed while the specimen was turned, or a piece that was put
// elsewhere.
func (s *search) second(ctx context.Context, best candidate, d *doubts) error {
	l := *s.l
	for i := range l.before {
		free, err := unexplained(ctx, l.before[i], l.after[i], best.pose, s.l.size)
		if err != nil {
			return err
		}
		freeAfter, err := unexplained(ctx, l.after[i], l.before[i], inverse2(best.pose), s.l.size)
		if err != nil {
			return err
		}
		l.before[i], l.after[i] = l.before[i].only(free), l.after[i].only(freeAfter)
	}
	part := l.after[1].total / s.l.after[1].total
	d.left = part
	if part < secondLeast/secondShare/4 || len(l.before[0].points) < 20 || len(l.after[0].points) < 20 {
		return nil
	}
	m := newSearch(&l, s.appear)
	m.diagonal, m.seeds, m.most, m.enough = s.diagonal, fewSeeds, fewRefined, secondShare
	tries := 1
	if best.outside > appeared {
		tries, m.seeds, m.most = 2, mostSeeds, mostRefined
	}
	if err := m.refineAll(ctx, []proposal{{pose: frame.Identity()}}); err != nil {
		return err
	}
	for k := range tries {
		if len(m.found) > 0 && m.found[0].score > m.enough {
			break
		}
		before, after, err := s.places(ctx, k)
		if err != nil {
			return err
		}
		free, err := unexplained(ctx, before.cloud, after.cloud, best.pose, s.l.size)
		if err != nil {
			return err
		}
		freeAfter, err := unexplained(ctx, after.cloud, before.cloud, inverse2(best.pose), s.l.size)
		if err != nil {
			return err
		}
		if err := m.attempt(ctx, before.only(free), after.only(freeAfter), nil); err != nil {
			return err
		}
	}
	for _, c := range m.found {
		away := r3.Norm(r3.Sub(c.pose.Apply(m.middle), best.pose.Apply(m.middle)))
		turn := best.pose.Rigid.Inverse().Then(c.pose.Rigid).Angle()
		if away < 0.01*s.diagonal && turn < math.Pi/180 {
			continue
		}
		if c.score >= secondShare && c.score*part >= secondLeast {
			d.second, d.apart, d.motion = c.score, away, c.pose
			return nil
		}
		break
	}
	return nil
}

// inverse2 is the way back of a similarity.
func inverse2(g frame.Similarity) frame.Similarity {
	back := g.Rigid.Inverse()
	// p = R(s·x) + T, so x = (R⁻¹p + R⁻¹(-T))/s.
	out := frame.Similarity{Scale: 1 / g.Scale, Rigid: back}
	out.T = r3.Scale(1/g.Scale, back.T)
	return out
}

// unexplained marks the patches of c that do not lie on the other cloud; back
// takes the other cloud's places into the frame of c.
func unexplained(ctx context.Context, c, other *cloud, otherToC frame.Similarity, size float64) ([]bool, error) {
	toOther := inverse2(otherToC)
	out := make([]bool, len(c.points))
	near := max(2*size, 1.5*other.size)
	last := noPatch
	for i, p := range c.points {
		if i%patchBlock == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		q, n := toOther.Apply(p), toOther.Turn(c.normals[i])
		at, _ := other.tree.nearest(q, n, near*near, last)
		out[i] = true
		if at == noPatch {
			continue
		}
		last = at
		facing := r3.Add(n, other.tree.normals[at])
		out[i] = math.Abs(r3.Dot(r3.Sub(q, other.tree.points[at]), facing))/length(facing) > 1.5*size
	}
	return out, nil
}

// only is the cloud with the marked patches alone.
func (c *cloud) only(take []bool) *cloud {
	out := &cloud{size: c.size}
	for i, ok := range take {
		if ok {
			out.points, out.vectors = append(out.points, c.points[i]), append(out.vectors, c.vectors[i])
			out.normals, out.areas = append(out.normals, c.normals[i]), append(out.areas, c.areas[i])
			out.total += c.areas[i]
		}
	}
	out.tree = newKDTree(out.points, out.normals)
	return out
}

func (p *places) only(take []bool) *places {
	out := &places{cloud: p.cloud.only(take)}
	for i, ok := range take {
		if ok {
			out.described = append(out.described, p.described[i])
		}
	}
	return out
}

// slides tries whether the pose comes back when it is pushed along the motion
// that holds it least. It returns the score of the pose that it ends in over that
// of the first one, 0 where it comes back. A pose that the picked pairs speak
// against is none: they hold what the surface does not.
func (s *search) slides(ctx context.Context, best candidate, turn, shift, centre r3.Vec, picks []Pick) (float64, error) {
	worst := 0.0
	for _, sign := range []float64{1, -1} {
		push := frame.Small(centre, r3.Scale(sign, turn), r3.Scale(sign, shift))
		start := frame.Similarity{Scale: best.pose.Scale, Rigid: best.pose.Rigid.Then(push)}
		c, err := s.refine(ctx, start, 8*s.l.size)
		if err != nil {
			return 0, err
		}
		if s.between(best.pose, c.pose) > s.between(best.pose, start)/3 && !s.against(picks, c.pose, best.pose) {
			worst = max(worst, c.score/max(best.score, 1e-9))
		}
	}
	return worst, nil
}

// against says whether picked pairs, which agree under one pose, do not under
// another: they lie three times as far apart there, and a patch at least.
func (s *search) against(picks []Pick, pose, agreed frame.Similarity) bool {
	apart := func(g frame.Similarity) float64 {
		sum := 0.0
		for _, p := range picks {
			sum += r3.Norm2(r3.Sub(p.Before, g.Apply(p.After))) / float64(len(picks))
		}
		return math.Sqrt(sum)
	}
	return len(picks) > 0 && apart(pose) > 3*max(apart(agreed), s.l.size/3)
}

// between is the root mean square distance between where two poses put the
// after-scan.
func (s *search) between(a, b frame.Similarity) float64 {
	sum := 0.0
	points := s.l.after[0].points
	for _, p := range points {
		sum += r3.Norm2(r3.Sub(a.Apply(p), b.Apply(p)))
	}
	return math.Sqrt(sum / float64(max(1, len(points))))
}
