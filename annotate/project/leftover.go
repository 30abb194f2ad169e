package project

import (
	"context"
	"fmt"
	"math"

	"rigatino/annotate"
	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
)

// Leftover is how far the scan of an accepted alignment still lies off the scan it
// was laid on. Where nothing changed it is what the fit left over, which is no
// accuracy; elsewhere it is change.
type Leftover struct {
	Of, To annotate.UseKey
	// GapMM is the distance, mm, of every vertex of the scan from the other surface,
	// averaged over its neighbours: positive outside it, NaN where the other scan
	// shows nothing or the scan is left out.
	GapMM []float32
	// ResidualMM is what the alignment says is left over where both scans agree, root
	// mean square; of the averaged gaps where the alignment does not say.
	ResidualMM float64
}

// Leftover measures what the alignment of a use left over. It refuses, with a
// RefusedError, unless that is accepted.
func (p *Project) Leftover(ctx context.Context, key annotate.UseKey, progress func(done float64, words string)) (*Leftover, error) {
	record := p.Record()
	u := record.Use(key)
	if u == nil || u.Alignment == nil {
		return nil, &RefusedError{Reason: fmt.Sprintf("%v was laid on no other scan", key), NextStep: "align it first"}
	}
	to, ok := useNamed(&record, u.Alignment.To)
	if !ok {
		return nil, &RefusedError{Reason: fmt.Sprintf("the scan that %v was laid on, %s, is not in the project any more", key, u.Alignment.To), NextStep: "align it again"}
	}
	opt, err := p.changeOptions(&record, to, key)
	if err != nil {
		return nil, err
	}
	c, err := p.gaps(ctx, to, key, opt, progress)
	if err != nil {
		return nil, fmt.Errorf("measure what is left over between %v and %v: %w", to, key, err)
	}
	out := &Leftover{Of: key, To: to, GapMM: make([]float32, len(c.AfterGap)), ResidualMM: u.Alignment.FitResidualRMS}
	for v, gap := range c.AfterGap {
		if !math.IsNaN(float64(gap)) {
			gap = float32(c.After.Smooth[c.After.Weld.Of[v]])
		}
		out.GapMM[v] = gap
	}
	if !(out.ResidualMM > 0) {
		out.ResidualMM = c.After.SpreadMM
	}
	return out, nil
}

// useNamed finds a use by its words, stage/piece/part.
func useNamed(r *annotate.Record, words string) (annotate.UseKey, bool) {
	for _, u := range r.Uses {
		if u.Key().String() == words {
			return u.Key(), true
		}
	}
	return annotate.UseKey{}, false
}

// changeOptions is what is known of the motion between two uses and of what takes
// no part on either.
func (p *Project) changeOptions(r *annotate.Record, from, to annotate.UseKey) (opt change.Options, err error) {
	if opt, err = pairOptions(r, from, to); err != nil {
		return opt, err
	}
	if opt.BeforeIgnore, err = p.support(from); err != nil {
		return opt, err
	}
	opt.AfterIgnore, err = p.support(to)
	return opt, err
}

// keptGaps is the comparison made last, which Leftover and Change share.
type keptGaps struct {
	key  string
	gaps *change.Change
}

// gaps compares two uses of one piece in its frame, without volumes.
func (p *Project) gaps(ctx context.Context, from, to annotate.UseKey, opt change.Options, progress func(float64, string)) (*change.Change, error) {
	record := p.Record()
	key, err := changeKey(&record, from, to, opt)
	if err != nil {
		return nil, err
	}
	p.mu.Lock()
	kept := p.cache.gaps
	p.mu.Unlock()
	if kept.gaps != nil && kept.key == key {
		return kept.gaps, nil
	}
	before, err := p.LoadUse(ctx, from, part(progress, 0, 0.15))
	if err != nil {
		return nil, err
	}
	after, err := p.LoadUse(ctx, to, part(progress, 0.15, 0.3))
	if err != nil {
		return nil, err
	}
	inPiece := before.calibrated()
	if before.ScanToPiece != frame.Identity() {
		inPiece = mesh.Transform(inPiece, before.ScanToPiece.Apply)
	}
	opt.Progress = part(progress, 0.3, 1)
	c, err := change.Compare(ctx, inPiece, after.calibrated(), after.ScanToPiece, opt)
	if err != nil {
		return nil, err
	}
	p.mu.Lock()
	p.cache.gaps = keptGaps{key, c}
	p.mu.Unlock()
	return c, nil
}
