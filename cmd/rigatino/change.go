package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"rigatino/annotate"
	"rigatino/annotate/handover"
	"rigatino/annotate/project"
	"rigatino/mesh/change"
	"rigatino/mesh/quantity"
	"rigatino/mesh/volume"
)

type changeCommand struct {
	First  string `arg:"" name:"before" help:"Project, or the scan before."`
	Second string `arg:"" name:"after" help:"Stage before, or the scan after."`
	Third  string `arg:"" optional:"" name:"stage" help:"Stage after, with a project."`
	Piece  string `default:"body" help:"Piece, with a project."`
	Part   string `help:"Part of the piece, with a project."`
	Out    string `short:"o" help:"GLB file to write: the scan after, coloured by how far the surface moved."`
	pairFlags
}

type changeTotals struct {
	Volume *quantity.Measured `json:"volume,omitempty"`
	Area   *quantity.Measured `json:"area,omitempty"`
}

type changeArea struct {
	ID       string             `json:"id"`
	Kind     string             `json:"kind"`
	What     string             `json:"what"`
	Volume   *quantity.Measured `json:"volume,omitempty"`
	Raw      *float64           `json:"raw_volume_mm3,omitempty"`
	Declined string             `json:"declined,omitempty"`
	Area     quantity.Measured  `json:"area"`
	Mean     float64            `json:"mean_depth_mm"`
	Most     float64            `json:"max_depth_mm"`
	Smallest float64            `json:"smallest_change_mm"`
	Centroid [3]float64         `json:"centroid_mm"`
}

type changeCheck struct {
	Method  string  `json:"method"`
	Removed float64 `json:"removed_mm3"`
	Added   float64 `json:"added_mm3"`
}

type changeDoc struct {
	Schema     int                  `json:"schema"`
	Alignment  alignmentDoc         `json:"alignment"`
	Smallest   *float64             `json:"smallest_change_mm,omitempty"`
	Removed    *changeTotals        `json:"removed,omitempty"`
	Added      *changeTotals        `json:"added,omitempty"`
	Areas      []changeArea         `json:"areas,omitempty"`
	Checks     []changeCheck        `json:"cross_checks,omitempty"`
	Consistent *bool                `json:"consistent,omitempty"`
	Budget     []quantity.Term      `json:"budget,omitempty"`
	OpenPoints []annotate.OpenPoint `json:"open_points"`
}

// MarshalJSON keeps empty lists where the pair was measured, and leaves them out
// where it was not.
func (d changeDoc) MarshalJSON() ([]byte, error) {
	type plain changeDoc
	if d.Smallest == nil {
		return marshal(plain(d))
	}
	return marshal(struct {
		plain
		Areas  []changeArea    `json:"areas"`
		Checks []changeCheck   `json:"cross_checks"`
		Budget []quantity.Term `json:"budget"`
	}{plain(d), append([]changeArea{}, d.Areas...), append([]changeCheck{}, d.Checks...), append([]quantity.Term{}, d.Budget...)})
}

// measured fills the document from a change and its volumes.
func (d *changeDoc) measured(c *change.Change, v *volume.Result, what []string) {
	d.Smallest, d.Consistent = &c.SmallestMM, &v.Consistent
	removed, added := v.Removed.Surface, v.Added.Surface
	d.Removed = &changeTotals{Volume: v.Removed.Volume, Area: &removed}
	d.Added = &changeTotals{Volume: v.Added.Volume, Area: &added}
	for i, a := range c.Areas {
		row := changeArea{
			ID: fmt.Sprintf("C%d", i+1), Kind: string(a.Kind), What: "unknown", Area: a.Surface, Mean: a.MeanDepthMM, Most: a.MaxDepthMM, Smallest: a.SmallestMM,
			Centroid: [3]float64{a.CentroidMM.X, a.CentroidMM.Y, a.CentroidMM.Z},
		}
		if i < len(what) {
			row.What = what[i]
		}
		if i < len(v.Areas) {
			x := v.Areas[i]
			row.Volume, row.Declined = x.Volume, x.Why
			if !math.IsNaN(x.RawMM3) && x.Volume != nil {
				row.Raw = &x.RawMM3
			}
		}
		d.Areas = append(d.Areas, row)
	}
	for _, k := range v.Checks {
		d.Checks = append(d.Checks, changeCheck{k.Method, k.RemovedMM3, k.AddedMM3})
	}
	d.Budget = v.Removed.Budget
	if v.Removed.Volume == nil || v.Added.Volume != nil && v.Added.Volume.Value > v.Removed.Volume.Value {
		d.Budget = v.Added.Budget
	}
	for _, t := range []struct{ word, why string }{{"removed", v.Removed.Why}, {"added", v.Added.Why}} {
		if t.why != "" {
			d.OpenPoints = append(d.OpenPoints, annotate.OpenPoint{ID: "not_measured_" + t.word, Severity: "warning", Reason: "what was " + t.word + " has no volume: " + t.why, WayOut: "scan the place whole before and after"})
		}
	}
}

// Run compares two stages of a project, or two files.
func (c *changeCommand) Run(j *job) error {
	doc := changeDoc{Schema: 1, OpenPoints: []annotate.OpenPoint{}}
	var found *change.Change
	var err error
	if isProject(c.First) {
		if c.Third == "" {
			return usagef("name two stages of the project: rigatino change %s %s STAGE", c.First, c.Second)
		}
		err = j.look(c.First, func(p *project.Project) error {
			record := p.Record()
			from, err := record.FindUse(c.Second, c.Piece, c.Part)
			if err != nil {
				return err
			}
			to, err := record.FindUse(c.Third, c.Piece, c.Part)
			if err != nil {
				return err
			}
			doc.Alignment = storedAlignment(to)
			r, err := p.Change(j.ctx, from.Key(), to.Key(), j.progress)
			var refused *project.RefusedError
			if errors.As(err, &refused) {
				if doc.Alignment.Verdict == annotate.VerdictAccepted || doc.Alignment.Verdict == "" {
					doc.Alignment = alignmentDoc{Verdict: annotate.VerdictRefused, Reason: refused.Reason, NextStep: refused.NextStep}
				}
				return nil
			}
			if err != nil {
				return err
			}
			found = r.Change
			doc.measured(r.Change, r.Volume, r.What)
			return nil
		})
	} else {
		if c.Third != "" {
			return usagef("%s is no project: give two files", c.First)
		}
		found, err = c.files(j, &doc)
	}
	if err != nil {
		return err
	}
	if c.Out != "" && found != nil {
		if err := writeChange(c.Out, found); err != nil {
			return err
		}
	}
	if err := j.print(doc, func(w io.Writer) { doc.print(w) }); err != nil {
		return err
	}
	return doc.Alignment.refusal()
}

// files compares two files; without an accepted alignment nothing is measured.
func (c *changeCommand) files(j *job, doc *changeDoc) (*change.Change, error) {
	p, err := j.pair(c.First, c.Second, c.pairFlags)
	if err != nil {
		return nil, err
	}
	doc.Alignment = alignmentOf(p.result)
	doc.OpenPoints = append(doc.OpenPoints, p.points...)
	if p.result.Verdict != annotate.VerdictAccepted {
		return nil, nil
	}
	found, err := change.Compare(j.ctx, p.before, p.after, p.result.AfterToBefore, change.Options{
		RegistrationCovariance: p.result.Covariance, Centre: p.result.Centre, CheckRMSMM: p.result.CheckRMS, Progress: j.progress})
	if err != nil {
		return nil, err
	}
	v, err := volume.Measure(j.ctx, found, volume.Options{Progress: j.progress})
	if err != nil {
		return nil, err
	}
	doc.measured(found, v, nil)
	return found, nil
}

// storedAlignment is the alignment that a project has on record for a use.
func storedAlignment(u annotate.Use) alignmentDoc {
	a := u.Alignment
	if a == nil {
		return alignmentDoc{Verdict: annotate.VerdictAccepted, Reason: "this scan gives the frame of its piece", AfterToBefore: &[16]float64{1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1},
			FitResidual: new(0.0), Check: new(0.0), StableShareAfter: new(1.0), StableShareBefore: new(1.0)}
	}
	out := alignmentDoc{Verdict: a.Verdict, Reason: a.Reason, NextStep: a.NextStep, Weakest: a.WeakestDirection, ErrorUnknown: a.ErrorUnknown}
	if a.Verdict != annotate.VerdictRefused {
		m := a.ScanToPiece
		out.AfterToBefore, out.FitResidual, out.Check = &m, &a.FitResidualRMS, &a.CheckRMS
		out.StableShareAfter, out.StableShareBefore = &a.StableShareAfter, &a.StableShareBefore
	}
	return out
}

// writeChange writes the scan after as GLB, coloured by how far it moved.
func writeChange(path string, c *change.Change) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("write the change: %w", err)
	}
	return errors.Join(handover.WriteChange(f, c), f.Close())
}

func (d changeDoc) print(w io.Writer) {
	d.Alignment.print(w)
	if d.Smallest == nil {
		fmt.Fprintln(w, "No volume: the two scans are not laid on one another reliably.")
		return
	}
	fmt.Fprintf(w, "Smallest change this pair can show: %.3f mm\n", *d.Smallest)
	for _, t := range []struct {
		word string
		t    *changeTotals
	}{{"Removed", d.Removed}, {"Added", d.Added}} {
		if t.t.Volume == nil {
			fmt.Fprintf(w, "%s: not measured\n", t.word)
			continue
		}
		fmt.Fprintf(w, "%s: %s (k = %.1f)\n", t.word, t.t.Volume, t.t.Volume.K)
	}
	for _, a := range d.Areas {
		v := "declined: " + a.Declined
		if a.Volume != nil {
			v = a.Volume.String()
		}
		fmt.Fprintf(w, "  %-4s %-8s %-10s %s over %s, mean %.2f mm, most %.2f mm\n", a.ID, a.Kind, a.What, v, a.Area, a.Mean, a.Most)
	}
	for _, k := range d.Checks {
		fmt.Fprintf(w, "  by %s: removed %.6g mm³, added %.6g mm³\n", k.Method, k.Removed, k.Added)
	}
	if d.Consistent != nil && !*d.Consistent {
		fmt.Fprintln(w, "The ways of measuring do not agree; no value is an average of them.")
	}
	for _, t := range d.Budget {
		fmt.Fprintf(w, "  u from %s: %.4g mm³\n", t.Name, t.Contribution())
	}
	printPoints(w, d.OpenPoints)
}
