package project

import (
	"context"
	"fmt"

	"rigatino/annotate"
	"rigatino/annotate/history"
	"rigatino/mesh/register"
)

// DryFitting says how a loose piece is fitted to the body's break.
type DryFitting struct {
	Body annotate.UseKey // use of the body that shows its break
	// BodyBreak and PieceBreak mark the broken faces; nil takes all faces.
	BodyBreak, PieceBreak []bool
	Picks                 []annotate.Pick // Before in the scan of Body, After in that of the piece, mm
	Progress              func(done float64, words string)
}

// DryFit fits a loose piece to the body's break and, where that is accepted, sets
// where the piece stands in the specimen frame, with its evidence, as one action.
// stored says that it did; a position that is not accepted changes nothing.
func (p *Project) DryFit(ctx context.Context, key annotate.UseKey, a DryFitting) (fit *register.DryFit, stored bool, err error) {
	if key.Piece == annotate.Body || a.Body.Piece != annotate.Body {
		return nil, false, fmt.Errorf("a dry fit takes a scan of a piece and one of the body, not %v and %v", key, a.Body)
	}
	l, err := p.loadPair(ctx, a.Body, key, a.Picks, part(a.Progress, 0, 0.3))
	if err != nil {
		return nil, false, err
	}
	body, piece := l.before, l.after
	if !piece.Aligned {
		return nil, false, fmt.Errorf("%v is not aligned with its piece's first scan: align it first", key)
	}
	opt := register.DryOptions{BodyBreak: a.BodyBreak, PieceBreak: a.PieceBreak, Picks: l.places(a.Picks), Progress: part(a.Progress, 0.3, 1)}
	if fit, err = register.FitDry(ctx, body.calibrated(), piece.calibrated(), opt); err != nil {
		return nil, false, fmt.Errorf("fit %v to %v: %w", key, a.Body, err)
	}
	if fit.Verdict != annotate.VerdictAccepted {
		return fit, false, nil
	}
	to := piece.ScanToPiece.Inverse().Then(fit.PieceToBody).Then(body.ScanToPiece).Matrix()
	entry := annotate.DryFit{
		Use: key.String(), To: a.Body.String(), Verdict: fit.Verdict, Reason: fit.Reason, Fit: fit.Fit, FitReason: fit.FitReason,
		ContactArea: fit.ContactArea, BreakArea: fit.BreakArea, GapMedian: fit.GapMedian, GapSpread: fit.GapSpread, Gap95: fit.Gap95, Picks: a.Picks,
	}
	if fit.Second != nil {
		entry.SecondApart, entry.SecondArea = fit.SecondApart, fit.Second.ContactArea
	}
	_, err = p.do(fmt.Sprintf("fitted %v to its break", key), func(d *history.Draft) error {
		for i := range d.Record.Pieces {
			if q := &d.Record.Pieces[i]; q.ID == key.Piece {
				q.PieceToSpecimen, q.DryFit = &to, &entry
				return nil
			}
		}
		return fmt.Errorf("piece %s was taken away meanwhile", key.Piece)
	})
	return fit, err == nil, err
}
