package project

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/tally"
	"rigatino/mesh/change"
	"rigatino/mesh/quantity"
	"rigatino/mesh/volume"
)

// RefusedError says that something was not done because its result would not be
// worth believing, and what to do first.
type RefusedError struct {
	Reason   string
	NextStep string
}

// Error gives both in one sentence.
func (e *RefusedError) Error() string { return e.Reason + ": " + e.NextStep }

// Comparison is what two uses of a piece differ by, in the piece's frame.
type Comparison struct {
	From, To annotate.UseKey
	Change   *change.Change
	Volume   *volume.Result
	What     []string // per area: the record's answer, unknown where it has none
}

// Entry returns the comparison as the tally lists it. Areas that are a piece
// moved elsewhere are in no total.
func (c *Comparison) Entry() tally.Volume {
	out := tally.Volume{From: c.From.Stage, To: c.To.Stage, Piece: c.To.Piece, Consistent: c.Volume.Consistent}
	out.Removed = c.total(change.Removed, c.Volume.Removed)
	out.Added = c.total(change.Added, c.Volume.Added)
	return out
}

// movedPiece is the answer that keeps an area out of totals.
const movedPiece = "moved_piece"

func (c *Comparison) total(kind change.Kind, all volume.Total) *quantity.Measured {
	moved := false
	for i, a := range c.Volume.Areas {
		moved = moved || (a.Kind == kind && c.What[i] == movedPiece)
	}
	if !moved {
		return all.Volume
	}
	return c.Volume.Total(c.Change, kind, func(area int) bool { return c.What[area] == movedPiece }).Volume
}

// Change measures what was removed and added between two uses of one piece. It
// refuses, with a RefusedError, unless the place of both is known. The result
// is kept until scans, alignments, scales or support change.
func (p *Project) Change(ctx context.Context, from, to annotate.UseKey, progress func(done float64, words string)) (*Comparison, error) {
	record := p.Record()
	opt, err := p.changeOptions(&record, from, to)
	if err != nil {
		return nil, err
	}
	key, err := changeKey(&record, from, to, opt)
	if err != nil {
		return nil, err
	}
	p.mu.Lock()
	kept := p.cache.changes[key]
	p.mu.Unlock()
	if kept == nil {
		if kept, err = p.compare(ctx, from, to, opt, progress); err != nil {
			return nil, fmt.Errorf("compare %v with %v: %w", from, to, err)
		}
		p.mu.Lock()
		if p.cache.changes == nil {
			p.cache.changes = map[string]*Comparison{}
		}
		p.cache.changes[key] = kept
		p.mu.Unlock()
	}
	out := *kept
	out.What = answers(&record, from, to, kept.Change.Areas)
	return &out, nil
}

func (p *Project) compare(ctx context.Context, from, to annotate.UseKey, opt change.Options, progress func(float64, string)) (*Comparison, error) {
	c, err := p.gaps(ctx, from, to, opt, part(progress, 0, 0.6))
	if err != nil {
		return nil, err
	}
	v, err := volume.Measure(ctx, c, volume.Options{Progress: part(progress, 0.6, 1)})
	if err != nil {
		return nil, err
	}
	return &Comparison{From: from, To: to, Change: c, Volume: v}, nil
}

// pairOptions gathers what is known of the motion between two uses: the
// covariances of the alignments on the way from one to the other, about one
// centre, in the piece's frame.
func pairOptions(r *annotate.Record, from, to annotate.UseKey) (change.Options, error) {
	var opt change.Options
	if from.Piece != to.Piece {
		return opt, fmt.Errorf("%v and %v are different pieces: only scans of one piece are compared", from, to)
	}
	if from == to {
		return opt, fmt.Errorf("%v has nothing to be compared with: name two stages", from)
	}
	a, b := r.Use(from), r.Use(to)
	for _, u := range []struct {
		key annotate.UseKey
		use *annotate.Use
	}{{from, a}, {to, b}} {
		if u.use == nil {
			return opt, fmt.Errorf("use %v does not exist: add its scan first", u.key)
		}
		if _, known := scanToPiece(*r, *u.use); !known {
			e := &RefusedError{Reason: fmt.Sprintf("%v is not aligned", u.key), NextStep: "align it first, with three or more picked pairs"}
			if under := changedUnder(r, u.key); under != nil {
				u.key, u.use = under.Key(), under
			}
			if al := u.use.Alignment; al != nil {
				e.Reason = fmt.Sprintf("the alignment of %v is %s (%s)", u.key, al.Verdict, al.Reason)
				if al.NextStep != "" {
					e.NextStep = al.NextStep
				}
			}
			return opt, e
		}
	}
	links, err := between(r, from, to)
	if err != nil {
		return opt, err
	}
	for i, link := range links {
		centre := vec(link.Centre)
		if i == 0 {
			opt.Centre = centre
		}
		if len(link.Covariance) == 36 {
			for k, v := range moved(link.Covariance, centre, opt.Centre) {
				opt.RegistrationCovariance[k] += v
			}
		}
		opt.CheckRMSMM = math.Hypot(opt.CheckRMSMM, link.CheckRMS)
	}
	opt.ScaleU, opt.RelativeScaleU = scaleTerms(a.Scale, b.Scale)
	return opt, nil
}

// scaleTerms returns the relative standard uncertainties of the scale that two
// scans share and of one against the other. Scans that have bars of their own
// may be off in opposite directions; one whose size was found on the other
// follows that one's scale and differs by its own uncertainty only.
func scaleTerms(a, b annotate.Scale) (common, between float64) {
	bars, fitted := 0.0, 0.0
	for _, s := range []annotate.Scale{a, b} {
		if s.Verdict == annotate.ScaleDifferenceOnly && len(s.Bars) == 0 {
			fitted = math.Hypot(fitted, s.RelativeU)
			continue
		}
		common = math.Max(common, s.RelativeU)
		bars = math.Hypot(bars, s.RelativeU)
	}
	if fitted > 0 {
		return common, fitted
	}
	return common, bars
}

// changeKey names everything that a comparison rests on.
func changeKey(r *annotate.Record, from, to annotate.UseKey, opt change.Options) (string, error) {
	h := sha256.New()
	opt.Progress = nil
	place := func(key annotate.UseKey) any {
		u := r.Use(key)
		g, _ := scanToPiece(*r, *u)
		return []any{u.Scan, u.Scale, g.Matrix()}
	}
	err := json.NewEncoder(h).Encode([]any{
		from, to, place(from), place(to), opt.RegistrationCovariance, opt.Centre, opt.CheckRMSMM, opt.ScaleU, opt.RelativeScaleU, opt.BeforeIgnore, opt.AfterIgnore,
	})
	return hex.EncodeToString(h.Sum(nil)), err
}

// answers returns what the record says of each change area: the nearest answer
// of the same pair and kind within the size of the area.
func answers(r *annotate.Record, from, to annotate.UseKey, areas []change.Area) []string {
	out := make([]string, len(areas))
	for i, a := range areas {
		out[i] = "unknown"
		near := math.Sqrt(a.Surface.Value)
		for _, c := range r.Changes {
			if c.From != from.String() || c.To != to.String() || c.Kind != string(a.Kind) {
				continue
			}
			if d := r3.Norm(r3.Sub(vec(c.Centroid), a.CentroidMM)); d <= near {
				near, out[i] = d, c.What
			}
		}
	}
	return out
}
