package project

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
	"rigatino/annotate/propose"
	"rigatino/annotate/terms"
	"rigatino/mesh/frame"
)

// Proposed are the proposals that the difference between two uses gives rise
// to. Their numbers, from 1 in the order of the list, stay the same while scans,
// alignments and the map of the earlier use do.
type Proposed struct {
	From, To annotate.UseKey
	List     []propose.Proposal
	// Answers holds per proposal what a person said to it, or nil.
	Answers []*annotate.Answer
}

// ErrNothingBefore is returned for a use that is the first of its part and piece.
var ErrNothingBefore = errors.New("there is nothing to compare")

// Propose lists what could be marked on a use by its difference from an earlier
// one; with a zero `from` from the one before it in the piece's chain. It marks
// nothing. It refuses, with a RefusedError, what Change refuses.
func (p *Project) Propose(ctx context.Context, from, to annotate.UseKey, progress func(done float64, words string)) (*Proposed, error) {
	record := p.Record()
	if from == (annotate.UseKey{}) {
		var err error
		if from, err = useBefore(&record, to); err != nil {
			return nil, err
		}
	}
	c, err := p.Change(ctx, from, to, part(progress, 0, 0.7))
	if err != nil {
		return nil, err
	}
	in := propose.Input{Change: c.Change, Volume: c.Volume, What: c.What, FromStage: spaced(from.Stage), ToStage: spaced(to.Stage), Progress: part(progress, 0.8, 1)}
	if stage, ok := record.Stage(to.Stage); ok {
		in.StageKind = stage.Kind
	}
	if in.Before, err = p.proposedScan(ctx, &record, from); err != nil {
		return nil, err
	}
	if in.After, err = p.proposedScan(ctx, &record, to); err != nil {
		return nil, err
	}
	if in.Fragments, err = p.fragments(ctx, &record, to); err != nil {
		return nil, err
	}
	for _, l := range record.Lines {
		if l.Use == to.String() && l.Kind == annotate.LineJoin {
			in.Joins = append(in.Joins, l.Points)
		}
	}
	list, err := propose.Make(ctx, in)
	if err != nil {
		return nil, err
	}
	out := &Proposed{From: from, To: to, List: list, Answers: make([]*annotate.Answer, len(list))}
	out.match(&record)
	return out, nil
}

// spaced is an id as it stands within a sentence.
func spaced(id string) string { return strings.ReplaceAll(id, "_", " ") }

// useBefore is the use before one in its piece's chain, of the same part.
func useBefore(r *annotate.Record, to annotate.UseKey) (annotate.UseKey, error) {
	if r.Use(to) == nil {
		return to, fmt.Errorf("use %v does not exist: add its scan first", to)
	}
	var before annotate.UseKey
	for _, u := range r.Chain(to.Piece) {
		if u.Key() == to {
			break
		}
		if u.Part == to.Part {
			before = u.Key()
		}
	}
	if before.Stage == "" {
		return to, fmt.Errorf("%w %v with: no earlier stage has a scan of %s of piece %s", ErrNothingBefore, to, to.Part, to.Piece)
	}
	return before, nil
}

// proposedScan gathers a use as proposals need it.
func (p *Project) proposedScan(ctx context.Context, record *annotate.Record, key annotate.UseKey) (propose.Scan, error) {
	l, err := p.LoadUse(ctx, key, nil)
	if err != nil {
		return propose.Scan{}, err
	}
	out := propose.Scan{Surface: l.Surface, Regions: record.RegionsOf(key.String())}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.hasMap(key.String()) {
		m, err := p.liveMap(key.String())
		if err != nil {
			return out, err
		}
		out.Map = m.Clone()
	}
	return out, nil
}

// fragments gathers the last scans of the pieces that were joined into a piece
// at a stage.
func (p *Project) fragments(ctx context.Context, record *annotate.Record, to annotate.UseKey) ([]propose.Fragment, error) {
	var out []propose.Fragment
	for _, q := range record.Pieces {
		chain := record.Chain(q.ID)
		if q.JoinedInto != to.Piece || q.JoinedAt != to.Stage || len(chain) == 0 {
			continue
		}
		l, err := p.LoadUse(ctx, chain[len(chain)-1].Key(), nil)
		if err != nil {
			return nil, err
		}
		f := propose.Fragment{Piece: q.ID, Surface: l.Surface, Factor: l.factor()}
		// The body's frame is the specimen's; that of another piece is not known
		// against it.
		if q.PieceToSpecimen != nil && l.Aligned && to.Piece == annotate.Body {
			f.Placed = true
			f.ToPiece = frame.Similarity{Rigid: l.ScanToPiece.Then(frame.FromMatrix(*q.PieceToSpecimen)), Scale: f.Factor}
		}
		out = append(out, f)
	}
	return out, nil
}

// Reread finds the answers that the record holds to proposals now, and what it
// says of the areas of a comparison, as after undo.
func (p *Project) Reread(q *Proposed, c *Comparison) {
	record := p.Record()
	if q != nil {
		clear(q.Answers)
		q.match(&record)
	}
	if c != nil {
		c.What = answers(&record, c.From, c.To, c.Change.Areas)
	}
}

// match finds which proposals the record already holds an answer to: each
// answer belongs to the nearest proposal of its kind within its size.
func (q *Proposed) match(record *annotate.Record) {
	for i := range record.Answers {
		a := &record.Answers[i]
		if a.From != q.From.String() || a.To != q.To.String() {
			continue
		}
		best, near := -1, math.Inf(1)
		for n := range q.List {
			x := &q.List[n]
			d := r3.Norm(r3.Sub(vec(a.Centroid), x.CentroidMM))
			if string(x.Kind) == a.Proposal && d < near && d <= math.Sqrt(x.Surface.Value) {
				best, near = n, d
			}
		}
		if best >= 0 {
			q.Answers[best] = a
		}
	}
}

// Accepting says what a person takes of a proposal.
type Accepting struct {
	Number int
	// As is the word in the place of the proposed one; empty keeps it.
	As string
	// Within keeps to these faces of the scan after; nil takes all.
	Within []uint32
	// Region holds what else is known: how examined, basis, material, who, when,
	// note. Certainty stays inferred.
	Region annotate.Region
}

// Accepted is what was made of a proposal.
type Accepted struct {
	Answer  annotate.Answer
	Taken   int // faces put into the first region
	Skipped int // faces on which it may not lie
}

// Accept makes of one proposal what it proposes, in one action: regions with
// certainty inferred and the evidence, a join line, what the change area was,
// and that a person said so.
func (p *Project) Accept(q *Proposed, a Accepting) (Accepted, error) {
	var out Accepted
	x, err := q.open(a.Number)
	if err != nil {
		return out, err
	}
	marks, what, err := chosen(x, a.As)
	if err != nil {
		return out, err
	}
	use := q.To.String()
	out.Answer = q.answer(x, annotate.AnswerAccepted, a.Region)
	out.Answer.Trimmed = a.Within != nil
	_, err = p.do(fmt.Sprintf("proposal accepted: %s", strings.ReplaceAll(string(x.Kind), "_", " ")), func(d *history.Draft) error {
		m, err := d.Map(use)
		if err != nil {
			return err
		}
		// Substance before what may lie on it only.
		order := slices.Clone(marks)
		slices.SortStableFunc(order, func(x, y propose.Mark) int { return layerRank(x.Layer) - layerRank(y.Layer) })
		for _, mark := range order {
			faces := mark.Faces
			if a.Within != nil {
				faces = intersection(faces, a.Within)
			}
			k := &Marking{p: p, draft: d, use: use, m: m}
			taken, skipped, err := k.accept(mark, faces, x, a.Region, q.To.Stage)
			if err != nil {
				return err
			}
			if taken > 0 {
				out.Answer.Regions = append(out.Answer.Regions, k.region.ID)
			}
			if mark.Layer == marks[0].Layer {
				out.Taken, out.Skipped = taken, skipped
			}
		}
		r := &d.Record
		if x.Line != nil {
			line := annotate.Line{Use: use, Kind: annotate.LineJoin, Points: x.Line, Pieces: []string{q.To.Piece, x.Piece}, Who: a.Region.Who, When: a.Region.When,
				Note: "proposed from the border of what was added; its fit was not judged"}
			line.ID = annotate.NextID("J", r.Lines, func(l annotate.Line) string { return l.ID })
			if x.Piece == "" {
				line.Pieces = nil
			}
			r.Lines = append(r.Lines, line)
			out.Answer.Line = line.ID
		}
		if what != "" && x.Area >= 0 {
			out.Answer.Change = putChange(r, q, x, what)
		}
		out.Answer.ID = annotate.NextID("Q", r.Answers, func(a annotate.Answer) string { return a.ID })
		r.Answers = append(r.Answers, out.Answer)
		return nil
	})
	if err != nil {
		return Accepted{}, fmt.Errorf("accept proposal %d: %w", a.Number, err)
	}
	q.Answers[a.Number-1] = &out.Answer
	return out, nil
}

// Refuse notes that a person refused a proposal, and why if they said so.
func (p *Project) Refuse(q *Proposed, number int, who, why string) error {
	x, err := q.open(number)
	if err != nil {
		return err
	}
	a := q.answer(x, annotate.AnswerRefused, annotate.Region{Who: who, Note: why})
	err = p.Edit("proposal refused", func(r *annotate.Record) error {
		a.ID = annotate.NextID("Q", r.Answers, func(a annotate.Answer) string { return a.ID })
		r.Answers = append(r.Answers, a)
		return nil
	})
	if err == nil {
		q.Answers[number-1] = &a
	}
	return err
}

// open returns a proposal that nobody answered yet.
func (q *Proposed) open(number int) (*propose.Proposal, error) {
	switch {
	case number < 1 || number > len(q.List):
		return nil, fmt.Errorf("there is no proposal %d: from %v to %v there are %d", number, q.From, q.To, len(q.List))
	case q.Answers[number-1] != nil:
		return nil, fmt.Errorf("proposal %d was %s already: undo that first, or change the region", number, q.Answers[number-1].Verdict)
	}
	return &q.List[number-1], nil
}

func (q *Proposed) answer(x *propose.Proposal, verdict string, said annotate.Region) annotate.Answer {
	c := x.CentroidMM
	return annotate.Answer{
		From: q.From.String(), To: q.To.String(), Proposal: string(x.Kind), Centroid: [3]float64{c.X, c.Y, c.Z},
		Verdict: verdict, Who: said.Who, When: said.When, Note: said.Note,
	}
}

// chosen puts a person's word in the place of the proposed one.
func chosen(x *propose.Proposal, as string) (marks []propose.Mark, what string, err error) {
	marks, what = slices.Clone(x.Marks), x.What
	if as == "" {
		if len(x.Choices) > 0 && (len(marks) > 0 && marks[0].Kind == "" || len(marks) == 0 && what == "") {
			return nil, "", fmt.Errorf("nothing says what it is: say it, one of %s", strings.Join(x.Choices, ", "))
		}
		return marks, what, nil
	}
	if !slices.Contains(x.Choices, as) {
		if len(x.Choices) == 0 {
			return nil, "", fmt.Errorf("it can only be taken as it is, not as %q", as)
		}
		return nil, "", fmt.Errorf("it cannot be %q: use one of %s", as, strings.Join(x.Choices, ", "))
	}
	if len(marks) > 0 {
		marks[0].Kind = as
	}
	if x.Area >= 0 {
		what = "unknown"
		for _, list := range []terms.List{terms.WhatAdded, terms.WhatRemoved} {
			if _, ok := terms.Get(list, as); ok {
				what = as
			}
		}
		if x.Kind == propose.Bead {
			what = x.What
		}
	}
	return marks, what, nil
}

// layerRank puts substance first.
func layerRank(layer string) int {
	if layer == annotate.LayerSubstance {
		return 0
	}
	return 1
}

// intersection of two lists of faces; the first is ascending.
func intersection(faces, within []uint32) []uint32 {
	in := make(map[uint32]bool, len(within))
	for _, f := range within {
		in[f] = true
	}
	out := []uint32{}
	for _, f := range faces {
		if in[f] {
			out = append(out, f)
		}
	}
	return out
}

// accept marks faces as one region of a proposal within the draft under way.
func (k *Marking) accept(mark propose.Mark, faces []uint32, x *propose.Proposal, said annotate.Region, stage string) (taken, skipped int, err error) {
	spec := annotate.Region{
		Layer: mark.Layer, Kind: mark.Kind, Certainty: "inferred", Evidence: x.Evidence,
		ExaminedBy: said.ExaminedBy, Who: said.Who, When: said.When, Note: said.Note,
	}
	switch {
	case mark.Kind == annotate.Reconstruction:
		spec.Basis, spec.Material, spec.Since = said.Basis, said.Material, stage
	case mark.Kind != annotate.Matrix && !annotate.IsOriginal(mark.Kind):
		spec.Material, spec.Since = said.Material, stage
	}
	spec.Reason = said.Reason
	if err := k.take(spec); err != nil {
		return 0, 0, err
	}
	for _, paint := range k.paints {
		if mark.Unmarked {
			paint.Only = func(s uint16) bool { return s == 0 }
		}
		var done facemap.Outcome
		if done, err = k.m.AssignFaces(faces, paint); err != nil {
			return 0, 0, err
		}
		k.draft.Note(k.use, done.Diff)
		taken, skipped = taken+done.Taken, skipped+done.Skipped
	}
	if taken > 0 {
		k.draft.Record.Regions = append(k.draft.Record.Regions, k.region)
	}
	return taken, skipped, nil
}

// putChange says what a change area was, in the place of an earlier answer if
// there is one, and returns the entry's id.
func putChange(r *annotate.Record, q *Proposed, x *propose.Proposal, what string) string {
	kind := "removed"
	if x.Added {
		kind = "added"
	}
	c := x.CentroidMM
	entry := annotate.Change{
		From: q.From.String(), To: q.To.String(), Kind: kind, What: what, Centroid: [3]float64{c.X, c.Y, c.Z}, Evidence: x.Evidence,
	}
	for i := range r.Changes {
		old := &r.Changes[i]
		if old.From == entry.From && old.To == entry.To && old.Kind == kind && r3.Norm(r3.Sub(vec(old.Centroid), c)) < 1e-3 {
			entry.ID, entry.Newer = old.ID, old.Newer
			*old = entry
			return entry.ID
		}
	}
	entry.ID = annotate.NextID("C", r.Changes, func(c annotate.Change) string { return c.ID })
	r.Changes = append(r.Changes, entry)
	return entry.ID
}
