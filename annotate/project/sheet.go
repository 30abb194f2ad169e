package project

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/tally"
	"rigatino/mesh"
	"rigatino/mesh/change"
)

// Tallying says what a sheet is to hold.
type Tallying struct {
	// Stage is the id of the stage; empty for the last that has a map, or the
	// last of all.
	Stage string
	// Volumes has the pairs of stages compared that were not yet, which takes
	// its time; without it those that were compared since the project was
	// opened are listed.
	Volumes  bool
	Progress func(done float64, words string)
}

// LastStage returns the stage that is meant when none is named: the last that has
// a map, or the last that has a scan.
func (p *Project) LastStage() (string, error) {
	if mapped := p.MappedStages(); len(mapped) > 0 {
		return mapped[len(mapped)-1], nil
	}
	record := p.Record()
	for _, s := range slices.Backward(record.Stages) {
		if slices.ContainsFunc(record.Uses, func(u annotate.Use) bool { return u.Stage == s.ID }) {
			return s.ID, nil
		}
	}
	return "", errors.New("the project has no scans yet: add one first")
}

// TallyInput gathers everything that the sheet of a stage rests on: the scans of
// the pieces present, with copies of their maps, and the comparisons up to it.
func (p *Project) TallyInput(ctx context.Context, t Tallying) (tally.Input, error) {
	in := tally.Input{Stage: t.Stage}
	if in.Stage == "" {
		var err error
		if in.Stage, err = p.LastStage(); err != nil {
			return in, err
		}
	}
	record := p.Record()
	stage, err := record.FindStage(in.Stage)
	if err != nil {
		return in, err
	}
	in.Stage = stage.ID
	in.OpenPoints = p.OpenPoints()
	pieces := record.PresentAt(stage.ID)
	for i, q := range pieces {
		uses := record.UsesAt(stage.ID, q.ID)
		for _, u := range uses {
			b, err := p.body(ctx, &record, u.Key(), part(t.Progress, 0.3*float64(i)/float64(len(pieces)), 0.3*float64(i+1)/float64(len(pieces))))
			if err != nil {
				return in, err
			}
			in.Bodies = append(in.Bodies, b)
		}
		in.OpenPoints = append(in.OpenPoints, p.uncountedParts(&record, uses)...)
	}
	if len(in.Bodies) == 0 {
		return in, fmt.Errorf("stage %s has no scan of any piece that is there: add one first", stage.ID)
	}
	return in, p.comparisons(ctx, &record, &in, t)
}

// Tally makes the sheet of all values of a stage.
func (p *Project) Tally(ctx context.Context, t Tallying) (*tally.Sheet, error) {
	in, err := p.TallyInput(ctx, t)
	if err != nil {
		return nil, err
	}
	return tally.Reckon(in)
}

// body gathers one use.
func (p *Project) body(ctx context.Context, record *annotate.Record, key annotate.UseKey, progress func(float64, string)) (tally.Body, error) {
	l, err := p.LoadUse(ctx, key, progress)
	if err != nil {
		return tally.Body{}, err
	}
	use := key.String()
	out := tally.Body{Piece: key.Piece, Use: use, Surface: l.Surface, Scale: l.Use.Scale}
	p.mu.Lock()
	live, err := p.liveMap(use)
	if err == nil {
		out.Map = live.Clone()
	}
	p.mu.Unlock()
	if err != nil {
		return out, err
	}
	for _, g := range record.Regions {
		if g.Use == use {
			out.Regions = append(out.Regions, g)
		}
	}
	for _, line := range record.Lines {
		if line.Use != use || line.Kind != annotate.LineJoin {
			continue
		}
		way, err := tally.Trace(l.Surface, line.Points)
		if err != nil {
			return out, fmt.Errorf("join %s: %w", line.ID, err)
		}
		out.Joins = append(out.Joins, tally.Join{ID: line.ID, Fit: line.Fit, Way: way})
	}
	return out, nil
}

// uncountedParts finds stages whose parts may overlap without anybody knowing
// where: they are not aligned with one another.
func (p *Project) uncountedParts(record *annotate.Record, uses []annotate.Use) []annotate.OpenPoint {
	if len(uses) < 2 {
		return nil
	}
	var out []annotate.OpenPoint
	for _, u := range uses {
		if _, known := scanToPiece(*record, u); !known {
			out = append(out, annotate.OpenPoint{
				ID: "parts_overlap:" + u.Key().String(), Severity: annotate.SeverityWarning, About: u.Key().String(),
				Reason: fmt.Sprintf("where %v overlaps the other parts is not known: surface seen twice is counted twice", u.Key()),
				WayOut: "align it, then the overlap counts once",
			})
		}
	}
	return out
}

// comparisons lists what was removed and added from one scan of each piece to
// the next, up to the stage.
func (p *Project) comparisons(ctx context.Context, record *annotate.Record, in *tally.Input, t Tallying) error {
	pairs := consecutive(record, in.Stage)
	lookups := map[string]lookup{}
	for i, pair := range pairs {
		c, err := p.kept(record, pair)
		if c == nil && err == nil && t.Volumes {
			c, err = p.Change(ctx, pair[0], pair[1], part(t.Progress, 0.3+0.7*float64(i)/float64(len(pairs)), 0.3+0.7*float64(i+1)/float64(len(pairs))))
		}
		var refused *RefusedError
		switch {
		case errors.As(err, &refused):
			// An open point of the record says so already.
		case err != nil:
			return err
		case c != nil:
			in.Volumes = append(in.Volumes, c.Entry())
			in.OpenPoints = append(in.OpenPoints, p.fillsWithoutChange(record, c)...)
			in.OpenPoints = append(in.OpenPoints, checks(c)...)
			piece := pair[1].Piece
			k, ok := lookups[piece]
			if !ok {
				if k, err = p.newLookup(ctx, record, in.Bodies, piece); err != nil {
					return err
				}
				lookups[piece] = k
			}
			points, fills := p.unmarked(c, k)
			in.OpenPoints = append(in.OpenPoints, points...)
			in.FillScans = append(in.FillScans, fills...)
		}
	}
	return nil
}

// consecutive returns the pairs of uses that follow on one another in each
// piece's chain, whole parts or equal parts, up to a stage.
func consecutive(r *annotate.Record, stage string) [][2]annotate.UseKey {
	last := r.StageIndex(stage)
	var out [][2]annotate.UseKey
	for _, q := range r.Pieces {
		before := map[string]annotate.UseKey{}
		for _, u := range r.Chain(q.ID) {
			if r.StageIndex(u.Stage) > last {
				break
			}
			if from, ok := before[u.Part]; ok {
				out = append(out, [2]annotate.UseKey{from, u.Key()})
			}
			before[u.Part] = u.Key()
		}
	}
	return out
}

// kept returns a comparison that was made already, nil if it was not.
func (p *Project) kept(record *annotate.Record, pair [2]annotate.UseKey) (*Comparison, error) {
	opt, err := p.changeOptions(record, pair[0], pair[1])
	if err != nil {
		return nil, err
	}
	key, err := changeKey(record, pair[0], pair[1], opt)
	if err != nil {
		return nil, err
	}
	p.mu.Lock()
	c := p.cache.changes[key]
	p.mu.Unlock()
	if c == nil {
		return nil, nil
	}
	out := *c
	out.What = answers(record, pair[0], pair[1], c.Change.Areas)
	return &out, nil
}

// checks turns what the volumes themselves say is doubtful into open points.
func checks(c *Comparison) []annotate.OpenPoint {
	var out []annotate.OpenPoint
	about := c.From.String() + " " + c.To.String()
	add := func(id, severity, reason, wayOut string) {
		out = append(out, annotate.OpenPoint{ID: id + ":" + about, Severity: severity, About: about, Reason: reason, WayOut: wayOut})
	}
	if !c.Volume.Consistent {
		add("checks_disagree", annotate.SeverityWarning, fmt.Sprintf("two ways of measuring what changed from %v to %v disagree", c.From, c.To),
			"look at the areas one by one, align again with other pairs, or scan again")
	}
	for _, total := range []struct{ word, why string }{{"removed", c.Volume.Removed.Why}, {"added", c.Volume.Added.Why}} {
		if total.why != "" {
			add("not_measured_"+total.word, annotate.SeverityWarning, fmt.Sprintf("what was %s from %v to %v has no volume: %s", total.word, c.From, c.To, total.why),
				"scan the place whole before and after")
		}
	}
	unknown := 0
	for _, w := range c.What {
		if w == "unknown" {
			unknown++
		}
	}
	if unknown > 0 {
		them := fmt.Sprintf("of %d change areas from %v to %v nobody has said what they were", unknown, c.From, c.To)
		if unknown == 1 {
			them = fmt.Sprintf("of one change area from %v to %v nobody has said what it was", c.From, c.To)
		}
		add("what_unknown", annotate.SeverityNote, them, "say what each was: matrix, fill, a moved piece")
	}
	return out
}

// fillsWithoutChange finds fills that are marked as made at a stage, where the
// scans show nothing added since the one before.
func (p *Project) fillsWithoutChange(record *annotate.Record, c *Comparison) []annotate.OpenPoint {
	use := c.To.String()
	surface := p.surfaceOf(record, c.To)
	p.mu.Lock()
	defer p.mu.Unlock()
	if surface == nil || !p.hasMap(use) {
		return nil
	}
	m, err := p.liveMap(use)
	if err != nil {
		return nil // the sheet itself says that the map cannot be read
	}
	added := make([]bool, m.FaceCount())
	for _, a := range c.Change.Areas {
		if a.Kind != change.Added {
			continue
		}
		for _, f := range a.AfterFaces {
			added[f] = true
		}
	}
	var out []annotate.OpenPoint
	for _, g := range record.Regions {
		if g.Use != use || g.Layer != annotate.LayerSubstance || !annotate.IsRestored(g.Kind) || g.Since != c.To.Stage {
			continue
		}
		var all, without, lift mesh.Sum
		for _, f := range m.Faces(g.Number) {
			a := r3.Norm(surface.AreaVector(f))
			all.Add(a)
			lift.Add(a * c.meanGap(surface, f))
			if !added[f] {
				without.Add(a)
			}
		}
		// Thin edges of a fill are below what a pair can show; half is not.
		if share := without.Value() / all.Value(); share > 0.5 {
			// The gap's own scale: a difference of calibration is far below it.
			if point, thin := tooThin(c, lift.Value()/all.Value(), all.Value(), g); thin {
				out = append(out, point)
				continue
			}
			out = append(out, annotate.OpenPoint{
				ID: "nothing_added:" + g.ID, Severity: annotate.SeverityWarning, About: g.ID,
				Reason: fmt.Sprintf("region %s is marked as %s made at stage %s, but on %.0f\u00a0%% of it the scans show nothing added since %s",
					g.ID, strings.ReplaceAll(g.Kind, "_", " "), c.To.Stage, 100*share, c.From.Stage),
				WayOut: "check the region; if the fill is older, say since when",
			})
		}
	}
	return out
}

// meanGap is the mean gap of a scan face after, mm, 0 where it is not defined.
func (c *Comparison) meanGap(m *mesh.Mesh, f uint32) float64 {
	sum := 0.0
	for _, v := range m.Triangles[3*f : 3*f+3] {
		if g := float64(c.Change.AfterGap[v]); g == g {
			sum += g / 3
		}
	}
	return sum
}

// surfaceOf returns the mesh of a use if it is in memory.
func (p *Project) surfaceOf(record *annotate.Record, key annotate.UseKey) *mesh.Mesh {
	u := record.Use(key)
	if u == nil {
		return nil
	}
	p.cache.loading.Lock()
	defer p.cache.loading.Unlock()
	for _, k := range p.cache.scans {
		if k.id == u.Scan {
			return k.surface.Mesh
		}
	}
	return nil
}
