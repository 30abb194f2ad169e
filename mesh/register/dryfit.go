package register

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// Words for how a join closes (annotate/terms holds their definitions).
const (
	FitClose  = "close"
	FitPart   = "part"
	FitPlaced = "placed"
)

// DryOptions of DryFit.
type DryOptions struct {
	Picks []Pick       // three or more, or none; Before on the body, After on the piece
	Start *frame.Rigid // where the piece is thought to sit, piece to body: a place to look first
	// BodyBreak and PieceBreak mark the broken faces; nil takes all faces.
	BodyBreak, PieceBreak []bool
	Progress              func(done float64, words string)
}

// DryPlace is a position in which the piece sits on the break.
type DryPlace struct {
	PieceToBody frame.Rigid
	ContactArea float64 // mm² of the piece's break that touch
}

// DryFit is how two broken faces go together. Where the verdict is refused, the
// position and the figures say only what was tried.
type DryFit struct {
	Verdict, Reason, NextStep string
	DryPlace
	// BreakArea is that of the marked faces of the piece, mm²; where none are
	// marked, of those that face the body within GapReach.
	BreakArea    float64
	ContactShare float64 // contact over break
	// ContactLimit is how far apart, mm, faces may lie and still count as touching:
	// three standard deviations of the gaps where they agree.
	ContactLimit float64
	// Gap is for every face of the piece how far it stands off the body's break,
	// mm: positive open, negative overlapping, NaN off the break.
	Gap []float64
	// Over all faces with a gap, by area: the median, 1.4826 times the median
	// distance from it, and what 95 % of the gaps are smaller than in size.
	GapMedian, GapSpread, Gap95 float64
	// OverlapShare is the share of the piece's surface that lies deeper in the body
	// than GapReach.
	OverlapShare float64
	// Second is the best other position on the break, nil if there is none.
	Second      *DryPlace
	SecondApart float64 // mm, between where both positions put the break, root mean square
	SecondTurn  float64 // rad, between both
	// Fit is what the join may be called on this evidence, FitReason why.
	Fit, FitReason string
	// Weakest is the motion that the break holds least, in words.
	Weakest string
}

// ContactShare from which on a join is called close, and under which nothing
// holds it. Our own: no source defines them. A fifth of a broken edge is commonly
// lost to chips without leaving doubt how the pieces went together.
const (
	closeShare  = 0.80
	leastOnMark = 0.15 // of the marked break …
	leastOnAll  = 0.05 // … or of the piece's whole surface, where no break is marked
	mostOverlap = 0.05 // of the piece's surface, deep in the body
)

// GapReach is how far, mm, faces of a break may stand apart and still be measured.
const GapReach = 2.0

// The contact limit, mm, is held between these. Scans that agree better than the
// first are not known; a gap of more than the second is no contact, whatever the
// scans' noise. Our own.
const (
	leastContact = 0.03
	mostContact  = 0.20
)

// leastPeak is how much more of the contact must lie in the inner half of the
// limit than in the outer. Noise alone gives 6.5 (normal, limit at three standard
// deviations); where two shapes only cross, every gap is about as frequent and
// both halves hold the same.
const leastPeak = 2.0

const (
	dryNext  = "mark the broken faces of both, or pick three or more pairs of places that touched"
	holdNext = "settle by other evidence where it sat (a run of the surface, a line of growth), and call the join placed until then"
)

// FitDry brings the broken faces of a piece and a body together, mm, each in its
// own scan's frame. Reversed, the piece's break is a second scan of the body's, so
// the ways of Align find the position; matter need not be the same on both.
// Beside it stand the gap that is left, the area that touches, other positions
// along the break and what the join may be called. An error means that nothing
// could be tried; a position that is not to be believed is a verdict.
func FitDry(ctx context.Context, body, piece *mesh.Mesh, opt DryOptions) (*DryFit, error) {
	say := opt.Progress
	if say == nil {
		say = func(float64, string) {}
	}
	out := &DryFit{DryPlace: DryPlace{PieceToBody: frame.Identity()}, Fit: FitPlaced}
	say(0.02, "Turning the break inside out")
	d, faces, err := faced(ctx, body, piece, opt)
	if err != nil {
		return nil, err
	}
	if d == nil {
		return out.refuse("no broken faces are marked on one side", dryNext), nil
	}
	say(0.1, "Looking how the broken faces go together")
	r := &Result{AppliedScale: 1, RelativeScale: 1}
	pose := frame.Similarity{Scale: 1, Rigid: frame.Identity()}
	fit := Options{Picks: opt.Picks, Start: opt.Start, MayAppear: true}
	if len(opt.Picks) > 0 {
		refused, err := r.fromPicks(ctx, fit, d.search, &pose)
		if err != nil {
			return nil, err
		}
		if refused {
			return out.refuse(r.Reason, r.NextStep), nil
		}
	} else {
		if opt.Start != nil {
			pose.Rigid = *opt.Start
		}
		if pose, err = d.search.findFrom(ctx, pose, fit, func(done float64) { say(0.1+0.4*done, "Searching where the piece sits") }); err != nil {
			return nil, err
		}
	}
	say(0.5, "Bringing the broken faces together")
	at, err := d.settle(ctx, pose)
	if err != nil {
		return nil, err
	}
	rivals, err := d.others(ctx, at, func(done float64) { say(0.55+0.3*done, "Looking for other positions along the break") })
	if err != nil {
		return nil, err
	}
	// A better position found on the way is the position.
	for k, c := range rivals {
		if c.area > at.area {
			at, rivals[k] = c, at
		}
	}
	say(0.88, "Measuring the gap")
	if err := d.describe(ctx, out, at, rivals, faces, piece.FaceCount()); err != nil {
		return nil, err
	}
	if err := out.overlap(ctx, body, piece); err != nil {
		return nil, err
	}
	d.judge(out, at)
	say(1, "Fitted")
	return out, nil
}

// breakOf is the mesh of the marked faces alone, turned inside out if asked, and
// the faces they were.
func breakOf(m *mesh.Mesh, mask []bool, reverse bool) (*mesh.Mesh, []uint32) {
	out := &mesh.Mesh{Origin: m.Origin}
	number := make([]uint32, m.VertexCount())
	var faces []uint32
	for f := range uint32(m.FaceCount()) {
		if mask != nil && !mask[f] {
			continue
		}
		faces = append(faces, f)
		for k := range 3 {
			at := 3*int(f) + k
			if reverse {
				at = 3*int(f) + 2 - k
			}
			v := m.Triangles[at]
			if number[v] == 0 {
				out.Positions = append(out.Positions, m.Positions[3*v:3*v+3]...)
				number[v] = uint32(len(out.Positions) / 3)
			}
			out.Triangles = append(out.Triangles, number[v]-1)
		}
	}
	return out, faces
}

// judge gives the verdict and the word for the join.
func (d *dry) judge(out *DryFit, at *seat) {
	out.Weakest = at.hold.motion
	least, of := leastOnMark*out.BreakArea, fmt.Sprintf("%.0f\u00a0%% of the break", 100*out.ContactShare)
	if !d.marked {
		least = leastOnAll * d.pieceArea
		of = fmt.Sprintf("%.0f\u00a0%% of the piece's surface", 100*out.ContactArea/d.pieceArea)
	}
	switch {
	case out.ContactArea < least:
		out.refuse(fmt.Sprintf("only %.0f\u00a0mm² of the broken faces touch, %s: nothing holds the piece there", out.ContactArea, of), dryNext)
	case at.peaked < leastPeak:
		out.refuse("the broken faces cross more than they lie on one another: what touches may be chance", dryNext)
	case out.OverlapShare > mostOverlap:
		out.refuse(fmt.Sprintf("%.0f\u00a0%% of the piece would lie inside the body", 100*out.OverlapShare), dryNext)
	case at.hold.ratio < sliding:
		out.refuse("the broken faces slide on one another: free is "+at.hold.motion, holdNext)
	case out.Second != nil && out.Second.ContactArea > rivalRatio*out.ContactArea:
		out.ambiguous(fmt.Sprintf("the piece sits nearly as well %s away, where %.0f\u00a0mm² touch instead of %.0f", out.away(), out.Second.ContactArea, out.ContactArea), holdNext)
	case at.hold.ratio < weak:
		out.ambiguous("the broken faces hardly hold one motion: "+at.hold.motion, holdNext)
	default:
		out.Verdict = Accepted
		out.Reason = fmt.Sprintf("%.0f\u00a0mm² of the broken faces touch within %.2f\u00a0mm, %.0f\u00a0%% of the break", out.ContactArea, out.ContactLimit, 100*out.ContactShare)
		if out.Second != nil {
			out.Reason += fmt.Sprintf("; the next best position lies %s away, where %.0f\u00a0mm² touch", out.away(), out.Second.ContactArea)
		}
		if at.hold.ratio < warned {
			out.Reason += "; one motion is held weakly: " + at.hold.motion
		}
		out.Fit, out.FitReason = FitPart, fmt.Sprintf("the broken faces meet on %.0f\u00a0%% of the break, under %.0f\u00a0%%; the rest is worn or gone", 100*out.ContactShare, 100*closeShare)
		if out.ContactShare >= closeShare {
			out.Fit, out.FitReason = FitClose, fmt.Sprintf("the broken faces meet on %.0f\u00a0%% of the break, %.0f\u00a0%% or more", 100*out.ContactShare, 100*closeShare)
		}
	}
	if out.Verdict != Accepted {
		out.Fit, out.FitReason = FitPlaced, "the broken faces do not settle where it sits: "+out.Reason
	}
}

// away says how far the second position lies off.
func (f *DryFit) away() string {
	if f.SecondTurn > 5*math.Pi/180 {
		return fmt.Sprintf("%.1f\u00a0mm and a turn of %.0f°", f.SecondApart, f.SecondTurn*180/math.Pi)
	}
	return fmt.Sprintf("%.1f\u00a0mm", f.SecondApart)
}

func (f *DryFit) refuse(reason, next string) *DryFit {
	f.Verdict, f.Reason, f.NextStep = Refused, reason, next
	f.Fit, f.FitReason = FitPlaced, "the broken faces do not settle where it sits: "+reason
	return f
}

func (f *DryFit) ambiguous(reason, next string) {
	f.Verdict, f.Reason, f.NextStep = Ambiguous, reason, next
}

// middleOf is the middle of a face.
func middleOf(m *mesh.Mesh, f uint32) r3.Vec {
	a, b, c := m.Corners(f)
	return r3.Scale(1./3, r3.Add(a, r3.Add(b, c)))
}
