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
	Picks []Pick       // three or more, or none
	Start *frame.Rigid // where the after-scan is thought to lie; nil is where it is
	// BeforeIgnore and AfterIgnore mark faces that take no part: bed, mount, scale
	// bar. nil for none.
	BeforeIgnore, AfterIgnore []bool
	// Similarity lets the size of the after-scan change too.
	Similarity bool
	Progress   func(done float64, words string)
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

	// Weakest is the motion that the stable area holds least, in words.
	Weakest string
	// Covariance of the pose, row-major: turn (rad) about Centre, then shift (mm),
	// in the frame of the before-scan.
	Covariance [36]float64
	Centre     r3.Vec

	// PickResiduals are the distances, mm, of the picked pairs under the pose.
	PickResiduals []float64
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

// Align lays after on before. Meshes are in mm and already in one unit. An error
// means that nothing could be tried; a pose that is not to be believed is a
// verdict.
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
	r := &Result{AfterToBefore: frame.Identity(), AppliedScale: 1, RelativeScale: 1}
	pose := frame.Similarity{Scale: 1, Rigid: frame.Identity()}
	if opt.Start != nil {
		pose.Rigid = *opt.Start
	}
	diagonal := mesh.Bounds(before).Diagonal()
	reach := 0.05 * diagonal // how far off the first pose may be
	if len(opt.Picks) > 0 {
		fit, err := r.fromPicks(opt, &pose)
		if err != nil {
			return r.refuse(err.Error(), pickNext), nil
		}
		if fit.Mirrored {
			return r.refuse("the picked pairs fit a mirror image better: one of the scans is mirrored", "save that scan again without mirroring, or check the pairs"), nil
		}
		reach = math.Max(4*fit.RMS, 0.01*diagonal)
	}
	say(0.05, "Looking at both scans evenly")
	l, err := newLevels(ctx, before, after, opt)
	if err != nil {
		return nil, err
	}
	say(0.25, "Laying the scans on one another")
	if pose, err = l.refine(ctx, pose, reach, opt.Similarity, say); err != nil {
		return nil, err
	}
	if sameMesh(before, after) && len(opt.Picks) == 0 && opt.Start == nil {
		pose = frame.Similarity{Scale: 1, Rigid: frame.Identity()} // nothing to fit: no rounding either
	}
	r.AfterToBefore, r.AppliedScale = pose.Rigid, pose.Scale
	say(0.6, "Looking where both scans agree")
	f, err := newFine(ctx, before, after, pose, opt, l)
	if err != nil {
		return nil, err
	}
	if !sameMesh(before, after) || len(opt.Picks) > 0 || opt.Start != nil {
		if err := f.polish(ctx, opt.Similarity); err != nil {
			return nil, err
		}
		r.AfterToBefore, r.AppliedScale = f.pose.Rigid, f.pose.Scale
	}
	if err := f.describe(ctx, r, say); err != nil {
		return nil, err
	}
	for _, p := range opt.Picks {
		r.PickResiduals = append(r.PickResiduals, r3.Norm(r3.Sub(f.pose.Apply(p.After), p.Before)))
	}
	f.judge(r, len(opt.Picks) > 0)
	say(1, "Aligned")
	return r, nil
}

// fromPicks sets the pose from the picked pairs.
func (r *Result) fromPicks(opt Options, pose *frame.Similarity) (frame.Fit, error) {
	var before, after []r3.Vec
	for _, p := range opt.Picks {
		before, after = append(before, p.Before), append(after, p.After)
	}
	if opt.Similarity {
		s, fit, err := frame.FitSimilarity(before, after, nil)
		*pose = s
		return fit, err
	}
	g, fit, err := frame.FitRigid(before, after, nil)
	*pose = frame.Similarity{Scale: 1, Rigid: g}
	return fit, err
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
// before frame: the root of the trace of its covariance there.
func (r *Result) UAt(p r3.Vec) float64 {
	d := r3.Sub(p, r.Centre)
	// Shift at p is t + w × d.
	j := [3][6]float64{
		{0, d.Z, -d.Y, 1, 0, 0},
		{-d.Z, 0, d.X, 0, 1, 0},
		{d.Y, -d.X, 0, 0, 0, 1},
	}
	sum := 0.0
	for k := range 3 {
		for a := range 6 {
			for b := range 6 {
				sum += j[k][a] * r.Covariance[6*a+b] * j[k][b]
			}
		}
	}
	return math.Sqrt(math.Max(0, sum))
}
