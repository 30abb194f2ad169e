package project

import (
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/history"
	"rigatino/mesh/frame"
	"rigatino/mesh/register"
)

// Aligning says how a use is aligned.
type Aligning struct {
	// Against is the use to align with; nil for the one before it in the
	// course of events whose place is known, or else the nearest after.
	Against    *annotate.UseKey
	Picks      []annotate.Pick // places that match: Before in the scan of Against, After in this one, mm
	Checks     []annotate.Pick // pairs that take no part in the fit and measure it
	Similarity bool
	Progress   func(done float64, words string)
	// Pose, if not nil, is told now and then where the scan lies in the piece's frame
	// so far, for somebody who looks on; on the goroutine of Align.
	Pose func(scanToPiece frame.Rigid)
}

// Aligned is what came of it.
type Aligned struct {
	Against annotate.UseKey
	Result  *register.Result
	// Stored says that the alignment is in the record now. A refused one is
	// not put in the place of one that was accepted.
	Stored bool
}

// Align finds the place of a use in its piece's frame and stores it with its
// evidence, as one action; what was aligned with this use moves along. The
// verdict is the program's: nothing that is not accepted is measured with.
func (p *Project) Align(ctx context.Context, key annotate.UseKey, a Aligning) (*Aligned, error) {
	record := p.Record()
	against, err := partner(&record, key, a.Against)
	if err != nil {
		return nil, err
	}
	l, err := p.loadPair(ctx, against, key, a.Picks, part(a.Progress, 0, 0.4))
	if err != nil {
		return nil, err
	}
	before, after := l.before, l.after
	opt := register.Options{Picks: l.places(a.Picks), Checks: l.places(a.Checks), Similarity: a.Similarity, Progress: part(a.Progress, 0.4, 1)}
	if a.Pose != nil {
		opt.Pose = func(g frame.Rigid) { a.Pose(g.Then(before.ScanToPiece)) }
	}
	opt.MayAppear = putsOn(&record, against) || putsOn(&record, key)
	if opt.BeforeIgnore, err = p.support(against); err != nil {
		return nil, err
	}
	if opt.AfterIgnore, err = p.support(key); err != nil {
		return nil, err
	}
	if opt.BeforeTrust, opt.BeforeNever, err = fitMasks(before); err != nil {
		return nil, err
	}
	if opt.AfterTrust, opt.AfterNever, err = fitMasks(after); err != nil {
		return nil, err
	}
	if a.Similarity && len(after.Use.Scale.Bars) > 0 {
		return nil, fmt.Errorf("%v has scale bars of its own, which say how large it is: take them away first, or align without letting the size differ", key)
	}
	stale := changedUnder(&record, key) != nil
	if stale {
		// Out of date since a scale was changed, and not far off.
		after.ScanToPiece, after.Aligned = frame.FromMatrix(after.Use.Alignment.ScanToPiece), true
	}
	if after.Aligned {
		// Aligned already: begin where it lies.
		start := after.ScanToPiece.Then(before.ScanToPiece.Inverse())
		opt.Start = &start
	}
	result, err := register.Align(ctx, before.calibrated(), after.calibrated(), opt)
	if err != nil {
		return nil, fmt.Errorf("align %v with %v: %w", key, against, err)
	}
	out := &Aligned{Against: against, Result: result}
	if result.Verdict == annotate.VerdictRefused && after.Aligned && after.Use.Alignment != nil {
		return out, nil
	}
	entry := alignmentOf(result, against, before.ScanToPiece, a.Picks)
	entry.Checks = a.Checks
	entry.RoundTrip = roundTrip(after, &entry)
	_, err = p.do(fmt.Sprintf("aligned %v", key), func(d *history.Draft) error {
		u := d.Record.Use(key)
		if u == nil {
			return fmt.Errorf("use %v was taken away meanwhile", key)
		}
		was, moved := scanToPiece(d.Record, *u)
		if a.Similarity && entry.Verdict == annotate.VerdictAccepted {
			u.Scale.Factor = after.factor() * result.AppliedScale
			u.Scale.Verdict, u.Scale.RelativeU = annotate.ScaleDifferenceOnly, result.RelativeScaleU
			rescaled(&d.Record, key, result.AppliedScale)
		}
		if u.Alignment != nil {
			was, moved = frame.FromMatrix(u.Alignment.ScanToPiece), moved || stale
		}
		// Where sizes still differ, the next try begins here too.
		entry.ScaleChanged = stale && entry.Verdict != annotate.VerdictAccepted
		u.Alignment = &entry
		out.Stored = true
		if moved && entry.Verdict == annotate.VerdictAccepted {
			follow(&d.Record, key, was, frame.FromMatrix(entry.ScanToPiece))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if entry.Verdict == annotate.VerdictAccepted {
		return out, p.countParts(ctx, key)
	}
	return out, nil
}

// putsOn says whether matter is put on at the stage of a use: joining, filling
// and what follows them.
func putsOn(r *annotate.Record, key annotate.UseKey) bool {
	stage, ok := r.Stage(key.Stage)
	return ok && slices.Contains([]string{"join", "fill", "texture", "retouch"}, stage.Kind)
}

// alignmentOf writes a result down, chained to the piece's frame.
func alignmentOf(result *register.Result, against annotate.UseKey, beforeToPiece frame.Rigid, picks []annotate.Pick) annotate.Alignment {
	centre := beforeToPiece.Apply(result.Centre)
	turn, shift := beforeToPiece.Turn(result.WeakTurn), beforeToPiece.Turn(result.WeakShift)
	var weak []float64
	if r3.Norm(turn)+r3.Norm(shift) > 0 {
		weak = []float64{turn.X, turn.Y, turn.Z, shift.X, shift.Y, shift.Z}
	}
	return annotate.Alignment{
		To: against.String(), ScanToPiece: result.AfterToBefore.Then(beforeToPiece).Matrix(),
		Verdict: result.Verdict, Reason: result.Reason, NextStep: result.NextStep,
		RelativeScale: result.RelativeScale, FitResidualRMS: result.FitResidualRMS, CheckRMS: result.CheckRMS,
		StableShareAfter: result.StableShareAfter, StableShareBefore: result.StableShareBefore, WeakestDirection: result.Weakest,
		Covariance: turned(result.Covariance, beforeToPiece), Centre: [3]float64{centre.X, centre.Y, centre.Z}, Picks: picks,
		CheckPointRMS: result.CheckPointRMS, CheckPointMax: result.CheckPointMax, ErrorUnknown: result.ErrorUnknown, WeakMotion: weak,
	}
}
