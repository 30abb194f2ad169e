package register

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// Verdicts of an alignment.
const (
	Accepted  = "accepted"
	Ambiguous = "ambiguous"
	Refused   = "refused"
)

// Pick is a pair of places that match, mm, each in its own scan's frame.
type Pick struct{ Before, After r3.Vec }

// Options of Align.
type Options struct {
	Picks []Pick // three or more, or none
	// Checks are pairs of places that take no part in the fit and measure it.
	Checks []Pick
	Start  *frame.Rigid // where the after-scan is thought to lie: a place to look first
	// BeforeIgnore and AfterIgnore mark faces that take no part: bed, mount, scale
	// bar. nil for none.
	BeforeIgnore, AfterIgnore []bool
	// BeforeTrust and AfterTrust mark faces that alone carry the fit, nil for all;
	// BeforeNever and AfterNever faces that carry none of it. Both are somebody's
	// word about the surface and hold for the search as well as for picked pairs.
	BeforeTrust, AfterTrust, BeforeNever, AfterNever []bool
	// MayAppear says that matter may have been put on in between (a fill, a piece
	// joined again): it does not speak against a pose then, and neither does a second motion
	// that explains much less than the main one.
	MayAppear bool
	// Similarity lets the size of the after-scan change too.
	Similarity bool
	Progress   func(done float64, words string)
	// Pose, if not nil, is told now and then where the after-scan lies so far, for
	// somebody who looks on. It is called on the goroutine of Align.
	Pose func(afterToBefore frame.Rigid)

	beforeSupport, afterSupport []bool // what was to be ignored before the strokes were added
}

// Result is a pose with its evidence. Where the verdict is refused, the pose and
// the figures say only what was tried.
type Result struct {
	AfterToBefore frame.Rigid
	// AppliedScale is what after-coordinates are multiplied by before
	// AfterToBefore; 1 unless Options.Similarity asked for more.
	AppliedScale float64

	Verdict  string
	Reason   string // in plain words; for accepted, what should be known
	NextStep string

	// RelativeScale is the size of the before-scan over that of the after-scan on
	// the stable area, estimated always and applied only when asked.
	RelativeScale, RelativeScaleU float64

	FitResidualRMS float64 // mm, on the stable area; no accuracy
	CheckRMS       float64 // mm, in cells that were left out of a fit
	// Stable shares are by area of all faces that take part.
	StableShareAfter, StableShareBefore float64
	// StableAfter and StableBefore mark the faces that both scans agree on.
	StableAfter, StableBefore []bool

	// SmoothMM is error that hangs together over whole patches of the stable area,
	// mm; 0 where none shows. No fit can tell it from motion.
	SmoothMM float64
	// ErrorOverChange is the largest ErrorAt, mm, over the after-scan's faces that
	// are not stable; 0 where there are none and where ErrorUnknown says why no
	// number is stated.
	ErrorOverChange float64
	ErrorUnknown    string
	// CheckPoints is how many Options.Checks there are, CheckPointRMS and
	// CheckPointMax their distances under the pose, mm.
	CheckPoints                  int
	CheckPointRMS, CheckPointMax float64

	// Weakest is the motion that the stable area holds least, in words.
	Weakest string
	// WeakTurn (rad, about Centre) and WeakShift (mm) are that motion, as long as it
	// is drawn; zero where too little is stable to tell.
	WeakTurn, WeakShift r3.Vec
	// Covariance of the pose, row-major: turn (rad) about Centre, then shift (mm),
	// in the frame of the before-scan. Where SmoothMM shows it is widened by what
	// such error may do to a pose: for budgets and limits, which cannot do without a
	// term. A stated error comes from ErrorAt.
	Covariance [36]float64
	Centre     r3.Vec

	// Moved is a piece that lies elsewhere now, nil if none was found.
	Moved *Moved

	// PickResiduals are the distances, mm, of the picked pairs under the pose.
	PickResiduals []float64

	facets float64 // mm, by which triangles may cut off more of one scan than of the other
	cells  float64 // that were drawn for the covariance: (Σw)²/Σw² of their weights

	checked *checked // what the check points say, nil where they do not tell
}

// Shares and limits of the gates.
const (
	leastStable = 0.15 // of the after-scan, by area (right poses 0.16 and more, wrong ones 0.10 at most)
	sliding     = 1e-4 // least over greatest eigenvalue below which a motion is free
	weak        = 1e-3 // and below which the fit is only ambiguous
	warned      = 1e-2 // and below which the motion is named
	// scaleFloor is a difference of size that no scan without bars can tell from
	// none: half a micrometre a millimetre.
	scaleFloor = 5e-4
)

// refinePatches is about how many patches the finest clouds have.
const refinePatches = 60_000

const (
	pickNext = "pick three or more pairs of places that did not change, far apart and not in a line"
	checkFit = "check that both scans show the same piece, and pick other pairs"
)

// Align lays after on before. Meshes are in mm and already in one unit. With
// picked pairs it begins there; without, it searches for the pose, also beside
// Start, and looks for what speaks against the one that it finds. An error means
// that nothing could be tried; a pose that is not to be believed is a verdict.
func Align(ctx context.Context, before, after *mesh.Mesh, opt Options) (*Result, error) {
	say := opt.Progress
	if say == nil {
		say = func(float64, string) {}
	}
	if before.FaceCount() == 0 || after.FaceCount() == 0 {
		return nil, errors.New("a scan without faces cannot be aligned: open another file")
	}
	if n := len(opt.Picks); n > 0 && n < 3 {
		return nil, fmt.Errorf("%d picked pairs hold nothing in place: %s", n, pickNext)
	}
	if err := opt.heed(before, after); err != nil {
		return nil, err
	}
	r := &Result{AfterToBefore: frame.Identity(), AppliedScale: 1, RelativeScale: 1}
	say(0.02, "Looking at both scans evenly")
	l, err := newLevels(ctx, before, after, opt)
	if err != nil {
		return nil, err
	}
	if len(l.before[0].points) == 0 || len(l.after[0].points) == 0 {
		return r.refuse("a scan has no surface that takes part", "mark less of it as support or as never to be trusted, or open another file"), nil
	}
	say(0.2, "Laying the scans on one another")
	s := newSearch(l, opt.MayAppear)
	var pose frame.Similarity
	same := sameMesh(before, after) && len(opt.Picks) == 0 && opt.Start == nil
	switch {
	case len(opt.Picks) > 0:
		refused, err := r.fromPicks(ctx, opt, s, &pose)
		if err != nil || refused {
			return r, err
		}
	default:
		start := frame.Similarity{Scale: 1, Rigid: frame.Identity()}
		if opt.Start != nil {
			start.Rigid = *opt.Start
		}
		opt.show(start)
		if pose, err = s.findFrom(ctx, start, opt, func(done float64) {
			say(0.2+0.25*done, "Searching where the scans fit")
			if len(s.found) > 0 {
				opt.show(s.found[0].pose)
			}
		}); err != nil {
			return nil, err
		}
	}
	if same {
		pose = frame.Similarity{Scale: 1, Rigid: frame.Identity()} // nothing to fit: no rounding either
	}
	opt.show(pose)
	say(0.5, "Looking where both scans agree")
	f, err := newFine(ctx, before, after, pose, opt, l)
	if err != nil {
		return nil, err
	}
	if !same {
		if err := f.polish(ctx, opt.Similarity); err != nil {
			return nil, err
		}
	}
	opt.show(f.pose)
	r.AfterToBefore, r.AppliedScale = f.pose.Rigid, f.pose.Scale
	if err := f.describe(ctx, r, say); err != nil {
		return nil, err
	}
	for _, p := range opt.Picks {
		r.PickResiduals = append(r.PickResiduals, r3.Norm(r3.Sub(f.pose.Apply(p.After), p.Before)))
	}
	say(0.9, "Looking for what speaks against it")
	d, err := f.doubt(ctx, s, r)
	if err != nil {
		return nil, err
	}
	if d.second > 0 {
		if r.Moved, err = f.moved(ctx, r, d.motion); err != nil {
			return nil, err
		}
	}
	r.WeakTurn, r.WeakShift = d.hold.turn, d.hold.shift
	f.judge(r, d)
	r.heedChecks(opt.Checks, mesh.Bounds(before).Diagonal())
	if r.Moved != nil && r.Verdict == Accepted {
		r.Reason += fmt.Sprintf("; a piece of %.0f\u00a0%% moved by %.2f\u00a0mm and %.1f°", 100*r.Moved.Share, r.Moved.Shift, r.Moved.Turn*180/math.Pi)
	}
	say(1, "Aligned")
	return r, nil
}

// findFrom searches, beginning with where the after-scan is thought to lie.
func (s *search) findFrom(ctx context.Context, start frame.Similarity, opt Options, say func(float64)) (frame.Similarity, error) {
	reach := basin * s.l.size
	if opt.Start != nil {
		reach = 0.05 * s.diagonal
	}
	c, err := s.refine(ctx, start, reach)
	if err != nil {
		return start, err
	}
	s.add(c)
	if err := s.run(ctx, say); err != nil {
		return start, err
	}
	if opt.Similarity {
		return s.l.refine(ctx, s.found[0].pose, 3*s.l.size, 0, true)
	}
	return s.found[0].pose, nil
}

// fromPicks sets the pose from the picked pairs and refines it. It says whether
// the pairs were refused.
func (r *Result) fromPicks(ctx context.Context, opt Options, s *search, pose *frame.Similarity) (refused bool, err error) {
	var before, after []r3.Vec
	for _, p := range opt.Picks {
		before, after = append(before, p.Before), append(after, p.After)
	}
	var fit frame.Fit
	if opt.Similarity {
		*pose, fit, err = frame.FitSimilarity(before, after, nil)
	} else {
		pose.Scale = 1
		pose.Rigid, fit, err = frame.FitRigid(before, after, nil)
	}
	if err != nil {
		r.refuse(err.Error(), pickNext)
		return true, nil
	}
	if fit.Mirrored {
		r.refuse("the picked pairs fit a mirror image better: one of the scans is mirrored", "save that scan again without mirroring, or check the pairs")
		return true, nil
	}
	opt.show(*pose)
	*pose, err = s.l.refine(ctx, *pose, math.Max(4*fit.RMS, 0.04*s.l.radius), s.low(), opt.Similarity)
	return false, err
}

func (r *Result) refuse(reason, next string) *Result {
	r.Verdict, r.Reason, r.NextStep = Refused, reason, next
	return r
}

// sameMesh says whether two meshes are one file opened twice.
func sameMesh(a, b *mesh.Mesh) bool {
	if a == b {
		return true
	}
	if a.Origin != b.Origin || len(a.Positions) != len(b.Positions) || len(a.Triangles) != len(b.Triangles) {
		return false
	}
	for i, v := range a.Positions {
		if v != b.Positions[i] {
			return false
		}
	}
	for i, v := range a.Triangles {
		if v != b.Triangles[i] {
			return false
		}
	}
	return true
}

// UAt is the standard uncertainty, mm, of where the pose puts a place of the
// before frame: the root of the trace of its covariance there, for budgets.
func (r *Result) UAt(p r3.Vec) float64 {
	s := r.covarianceAt(p)
	return math.Sqrt(math.Max(0, s[0][0]+s[1][1]+s[2][2]))
}
