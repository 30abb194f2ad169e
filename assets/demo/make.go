package demo

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/project"
	"rigatino/mesh/change"
	"rigatino/mesh/frame"
	"rigatino/mesh/register"
)

// UsualFaces is how many triangles a scan of the body has if nobody says.
const UsualFaces = 150_000

// Options say how the demo is made.
type Options struct {
	Faces int // of a scan of the body, about; 0 means UsualFaces
	// HandOver, if given, is called with the finished project still open, and
	// makes its hand-overs.
	HandOver func(ctx context.Context, p *project.Project, progress func(done float64, words string)) error
}

// Made is what Make made.
type Made struct {
	Project string // folder
	Scans   []Scan
	Truth   *Truth
}

// Make writes the demo into a folder that does not exist yet or is empty: scans
// and everything given with them, and a project made from those files by the
// functions that the commands and the window use.
func Make(ctx context.Context, dir string, opt Options, progress func(done float64, words string)) (*Made, error) {
	if opt.Faces == 0 {
		opt.Faces = UsualFaces
	}
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return nil, fmt.Errorf("folder %s is not empty: name a new folder for the demo", dir)
	}
	truth, err := Known()
	if err != nil {
		return nil, err
	}
	scans, err := Scans(ctx, opt.Faces, span(progress, 0, 0.4))
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make the demo's folder: %w", err)
	}
	if err := writeFiles(dir, scans, truth); err != nil {
		return nil, err
	}
	made := &Made{Project: filepath.Join(dir, ProjectFolder), Scans: scans, Truth: truth}
	p, err := project.New(made.Project, specimenWords(scans[0].SpecimenToScan))
	if err != nil {
		return nil, err
	}
	b := &bench{project: p, dir: dir, scans: scans, truth: truth}
	err = b.work(ctx, span(progress, 0.4, 0.8))
	if err == nil && opt.HandOver != nil {
		err = opt.HandOver(ctx, p, span(progress, 0.8, 1))
	}
	return made, errors.Join(err, p.Close())
}

// span reports a part of the whole.
func span(progress func(float64, string), from, to float64) func(float64, string) {
	if progress == nil {
		return nil
	}
	return func(done float64, words string) { progress(from+(to-from)*done, words) }
}

// bench makes the project step by step.
type bench struct {
	project *project.Project
	dir     string
	scans   []Scan
	truth   *Truth
}

func (s Scan) key() annotate.UseKey {
	return annotate.UseKey{Stage: s.Stage, Piece: s.Piece, Part: annotate.PartWhole}
}

func (b *bench) work(ctx context.Context, progress func(float64, string)) error {
	steps := []struct {
		words string
		do    func(context.Context, func(float64, string)) error
	}{
		{"Adding the scans", b.add},
		{"Writing the record", b.write},
		{"Aligning the scans", b.align},
		{"Setting the fragment back", b.join},
		{"Comparing the stages", b.compare},
		{"Marking the map", b.mark},
		{"Saving the project", func(context.Context, func(float64, string)) error { return b.project.Save() }},
	}
	for i, s := range steps {
		part := span(progress, float64(i)/float64(len(steps)), float64(i+1)/float64(len(steps)))
		if part != nil {
			part(0, s.words)
		}
		if err := s.do(ctx, part); err != nil {
			return err
		}
	}
	return nil
}

func (b *bench) add(ctx context.Context, _ func(float64, string)) error {
	for _, s := range b.scans {
		_, err := b.project.AddScan(ctx, project.Adding{
			Path: filepath.Join(b.dir, ScanFolder, s.Name()+".glb"), Stage: s.Stage, Date: dates[s.Stage], Piece: s.Piece,
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// write takes over the record file, which it writes beside the project too.
func (b *bench) write(context.Context, func(float64, string)) error {
	err := b.project.Edit("earlier fill entered", func(r *annotate.Record) error {
		s, err := r.PutStage("fill", earlierDate)
		if err == nil && s.ID != earlierFill {
			err = fmt.Errorf("the demo's earlier fill became stage %s", s.ID)
		}
		return err
	})
	if err != nil {
		return err
	}
	data, err := annotate.Encode(recordWords())
	if err != nil {
		return err
	}
	if err := write(data, b.dir, RecordFile); err != nil {
		return err
	}
	return b.project.MergeRecord(data)
}

func (b *bench) align(ctx context.Context, progress func(float64, string)) error {
	given := Given(b.scans)
	for i, p := range given {
		before, after := b.scans[p.Before], b.scans[p.After]
		if before.Piece != after.Piece {
			continue
		}
		against := before.key()
		out, err := b.project.Align(ctx, after.key(), project.Aligning{
			Against: &against, Picks: p.pairs(),
			Progress: span(progress, float64(i)/float64(len(given)), float64(i+1)/float64(len(given))),
		})
		if err != nil {
			return err
		}
		if out.Result.Verdict != annotate.VerdictAccepted {
			return fmt.Errorf("the demo's scan %s was not aligned: %s", after.Name(), out.Result.Reason)
		}
	}
	return nil
}

// join finds where the fragment lies in the body: its last scan is aligned with
// the first scan of the body that holds it.
func (b *bench) join(ctx context.Context, progress func(float64, string)) error {
	for _, p := range Given(b.scans) {
		loose, whole := b.scans[p.Before], b.scans[p.After]
		if loose.Piece == whole.Piece {
			continue
		}
		before, err := b.project.LoadUse(ctx, whole.key(), nil)
		if err != nil {
			return err
		}
		after, err := b.project.LoadUse(ctx, loose.key(), nil)
		if err != nil {
			return err
		}
		opt := register.Options{Progress: progress}
		for _, q := range p.Pairs {
			opt.Picks = append(opt.Picks, register.Pick{Before: q.After, After: q.Before})
		}
		result, err := register.Align(ctx, before.Surface.Mesh, after.Surface.Mesh, opt)
		if err != nil {
			return err
		}
		toSpecimen := after.ScanToPiece.Inverse().Then(result.AfterToBefore).Then(before.ScanToPiece).Matrix()
		err = b.project.Edit("fragment joined", func(r *annotate.Record) error {
			for i := range r.Pieces {
				if q := &r.Pieces[i]; q.ID == loose.Piece {
					q.JoinedInto, q.JoinedAt, q.PieceToSpecimen = whole.Piece, whole.Stage, &toSpecimen
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// compare measures every pair of stages and says what the areas were.
func (b *bench) compare(ctx context.Context, progress func(float64, string)) error {
	s := newSpecimen()
	for i, v := range b.truth.Volumes {
		from := annotate.UseKey{Stage: v.From, Piece: v.Piece, Part: annotate.PartWhole}
		to := annotate.UseKey{Stage: v.To, Piece: v.Piece, Part: annotate.PartWhole}
		c, err := b.project.Change(ctx, from, to, span(progress, float64(i)/float64(len(b.truth.Volumes)), float64(i+1)/float64(len(b.truth.Volumes))))
		if err != nil {
			return err
		}
		base := b.scans[0]
		if v.Piece == "fragment" {
			base = b.scans[2]
		}
		err = b.project.Edit("changes named", func(r *annotate.Record) error {
			for _, a := range c.Change.Areas {
				part, ok := s.partAt(v, base.SpecimenToScan, a)
				if !ok {
					continue // nobody knows: stays unknown
				}
				what, evidence := answer(part)
				r.Changes = append(r.Changes, annotate.Change{
					ID:   annotate.NextID("C", r.Changes, func(c annotate.Change) string { return c.ID }),
					From: from.String(), To: to.String(), Kind: string(a.Kind), What: what,
					Centroid: point(a.CentroidMM), Evidence: evidence,
				})
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// partAt finds the part of a true change that a change area is: the nearest of
// its kind, if the area's centroid is within the part's own size of its middle.
func (s *specimen) partAt(v TrueVolume, specimenToPiece frame.Rigid, a change.Area) (TruePart, bool) {
	at := specimenToPiece.Inverse().Apply(a.CentroidMM)
	best, found := math.Inf(1), TruePart{}
	for _, p := range v.Parts {
		if p.Kind != string(a.Kind) {
			continue
		}
		middle, size := s.middleOf(p.Name)
		if d := r3.Norm(r3.Sub(at, middle)) / size; d < 1 && d < best {
			best, found = d, p
		}
	}
	// An area far smaller than the part is something else beside it.
	return found, found.Name != "" && (found.Area == 0 || a.Surface.Value > 0.3*found.Area)
}

// middleOf is the middle of a part of the truth, in the specimen's own frame,
// and how far from it the part reaches, mm.
func (s *specimen) middleOf(name string) (at r3.Vec, size float64) {
	for i, p := range s.rocks {
		if rockNames[i] == name {
			return p.at, p.rx
		}
	}
	switch name {
	case "lowered":
		return s.lowered.at, s.lowered.rx
	case "skin":
		return s.skin.at, s.skin.rx
	case "model":
		return s.lost.at, s.lost.rx
	case "putty":
		phi := (s.putty.from + s.putty.to) / 2
		return s.at(Fill)(s.putty.direction(s.putty.centre.at(phi), phi)), 30
	case "fragment":
		return s.at(Join)(s.edge.axis), 60
	}
	return r3.Vec{}, 150 // the nodule is all round
}

// markLevels splits faces that an outline crosses in sixteen.
const markLevels = 2

// mark draws the map of the last stage, and one of the cleaned body and
// fragment before anything was covered.
func (b *bench) mark(ctx context.Context, progress func(float64, string)) error {
	last := b.scans[len(b.scans)-1]
	for i, s := range b.scans {
		if s.Stage != AirAbrasive && s.Stage != Retouch {
			continue
		}
		use, err := b.project.LoadUse(ctx, s.key(), nil)
		if err != nil {
			return err
		}
		// Substances first, then all the rest, then what lies on them.
		if err := b.markRegions(ctx, s, use.Surface, true); err != nil {
			return err
		}
		_, err = b.project.MapRest(s.key(), annotate.Region{
			Layer: annotate.LayerSubstance, Kind: annotate.Original, Certainty: "seen", ExaminedBy: "raking", Who: preparator,
		})
		if err != nil {
			return err
		}
		if err := b.markRegions(ctx, s, use.Surface, false); err != nil {
			return err
		}
		if s.Name() != last.Name() {
			continue
		}
		for _, l := range JoinLines(s) {
			_, err := b.project.MapLine(use.Surface, s.key(), annotate.Line{
				Kind: annotate.LineJoin, Fit: l.Fit, Points: points(l.Points), Pieces: []string{"body", "fragment"},
				Who: preparator, When: dates[Join], Work: "W5",
			})
			if err != nil {
				return err
			}
		}
		if progress != nil {
			progress(float64(i)/float64(len(b.scans)), "Marking the map")
		}
	}
	return nil
}

// markRegions draws those regions that are there at the scan's stage: the
// substances, or the others.
func (b *bench) markRegions(ctx context.Context, s Scan, surface *facemap.Surface, substances bool) error {
	if s.Piece != "body" {
		return nil
	}
	record := b.project.Record()
	for _, o := range Outlines(s) {
		if err := ctx.Err(); err != nil {
			return err
		}
		g := regionWords(o.Name)
		if (g.Layer == annotate.LayerSubstance) != substances || record.StageIndex(g.Since) > record.StageIndex(s.Stage) {
			continue
		}
		k, err := b.project.BeginMarking(s.key(), g)
		if err != nil {
			return fmt.Errorf("mark %s: %w", o.Name, err)
		}
		if _, err := k.Outline(surface, facemap.Outline{Points: o.Points, Levels: markLevels}); err != nil {
			return errors.Join(fmt.Errorf("mark %s: %w", o.Name, err), k.Cancel())
		}
		if _, err := k.Commit("marked " + o.Name); err != nil {
			return fmt.Errorf("mark %s: %w", o.Name, err)
		}
	}
	return nil
}
