package main

import (
	"fmt"
	"io"
	"strings"

	"rigatino/annotate"
	"rigatino/mesh/register"
)

// jointDoc is how two joint surfaces stand in a document.
type jointDoc struct {
	Verdict     string       `json:"verdict"`
	Reason      string       `json:"reason"`
	NextStep    string       `json:"next_step"`
	PieceToBody *[16]float64 `json:"piece_to_body,omitempty"`
	GapMedian   *float64     `json:"gap_median_mm,omitempty"`
	GapSpread   *float64     `json:"gap_spread_mm,omitempty"`
	Gap5        *float64     `json:"gap_5_mm,omitempty"`
	Gap95       *float64     `json:"gap_95_mm,omitempty"`
	FacingArea  *float64     `json:"facing_area_mm2,omitempty"`
	FacingShare *float64     `json:"facing_share,omitempty"`
	Free        []string     `json:"free_motions,omitempty"`
}

func jointOf(f *register.Joint) jointDoc {
	out := jointDoc{Verdict: f.Verdict, Reason: f.Reason, NextStep: f.NextStep}
	if f.Verdict == annotate.VerdictRefused {
		return out
	}
	m := f.PieceToBody.Matrix()
	out.PieceToBody, out.Free = &m, f.Free
	out.GapMedian, out.GapSpread, out.Gap5, out.Gap95 = &f.GapMedian, &f.GapSpread, &f.Gap5, &f.Gap95
	out.FacingArea, out.FacingShare = &f.FacingArea, &f.FacingShare
	return out
}

func (d jointDoc) print(w io.Writer) {
	fmt.Fprintf(w, "Joint %s: %s\n", d.Verdict, d.Reason)
	if d.GapMedian != nil {
		fmt.Fprintf(w, "  facing: %.1f mm², %.0f %% of the surface\n", *d.FacingArea, 100**d.FacingShare)
		fmt.Fprintf(w, "  gap: median %.3f mm, spread %.3f mm; one face in twenty is narrower than %.3f mm, one wider than %.3f mm\n", *d.GapMedian, *d.GapSpread, *d.Gap5, *d.Gap95)
	}
	if len(d.Free) > 0 {
		fmt.Fprintf(w, "  moves freely: %s\n", strings.Join(d.Free, "; "))
	}
	if d.NextStep != "" {
		fmt.Fprintf(w, "  next: %s\n", d.NextStep)
	}
}

// joint brings the joint surfaces of two bones beside one another.
func (c *alignCommand) joint(j *job, picks []register.Pick) error {
	if c.Gap != nil && *c.Gap < 0 {
		return usagef("--gap %g: surfaces stand 0 mm apart or more", *c.Gap)
	}
	two, body, piece, err := c.facing(j, c.BodyJoint, c.PieceJoint)
	if err != nil {
		return err
	}
	fit, err := register.FitJoint(j.ctx, two.before, two.after, register.JointOptions{Picks: picks, BodyFace: body, PieceFace: piece, GapMM: c.Gap, Progress: j.progress})
	if err != nil {
		return fmt.Errorf("bring %s beside %s: %w", c.Second, c.First, err)
	}
	doc := struct {
		Schema     int                  `json:"schema"`
		Joint      jointDoc             `json:"joint"`
		OpenPoints []annotate.OpenPoint `json:"open_points"`
	}{1, jointOf(fit), two.points}
	if err := j.print(doc, func(w io.Writer) { doc.Joint.print(w) }); err != nil {
		return err
	}
	if fit.Verdict == annotate.VerdictAccepted {
		return nil
	}
	return refusedf("the joint is %s: %s; %s", fit.Verdict, fit.Reason, fit.NextStep)
}
