package main

import (
	"fmt"
	"io"
	"math"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh/register"
)

// dryFitDoc is how a dry fit stands in a document.
type dryFitDoc struct {
	Verdict      string         `json:"verdict"`
	Reason       string         `json:"reason"`
	NextStep     string         `json:"next_step"`
	Fit          string         `json:"fit"`
	FitReason    string         `json:"fit_reason"`
	PieceToBody  *[16]float64   `json:"piece_to_body,omitempty"`
	ContactArea  *float64       `json:"contact_area_mm2,omitempty"`
	BreakArea    *float64       `json:"break_area_mm2,omitempty"`
	ContactShare *float64       `json:"contact_share,omitempty"`
	ContactLimit *float64       `json:"contact_limit_mm,omitempty"`
	GapMedian    *float64       `json:"gap_median_mm,omitempty"`
	GapSpread    *float64       `json:"gap_spread_mm,omitempty"`
	Gap95        *float64       `json:"gap_95_mm,omitempty"`
	Weakest      string         `json:"weakest_direction,omitempty"`
	Second       *drySeatSecond `json:"second,omitempty"`
}

type drySeatSecond struct {
	PieceToBody [16]float64 `json:"piece_to_body"`
	ContactArea float64     `json:"contact_area_mm2"`
	Apart       float64     `json:"apart_mm"`
	Turn        float64     `json:"turn_deg"`
}

func dryFitOf(f *register.DryFit) dryFitDoc {
	out := dryFitDoc{Verdict: f.Verdict, Reason: f.Reason, NextStep: f.NextStep, Fit: f.Fit, FitReason: f.FitReason}
	if f.Verdict == annotate.VerdictRefused {
		return out
	}
	m := f.PieceToBody.Matrix()
	out.PieceToBody, out.Weakest = &m, f.Weakest
	out.ContactArea, out.BreakArea, out.ContactShare, out.ContactLimit = &f.ContactArea, &f.BreakArea, &f.ContactShare, &f.ContactLimit
	out.GapMedian, out.GapSpread, out.Gap95 = &f.GapMedian, &f.GapSpread, &f.Gap95
	if f.Second != nil {
		out.Second = &drySeatSecond{f.Second.PieceToBody.Matrix(), f.Second.ContactArea, f.SecondApart, f.SecondTurn * 180 / math.Pi}
	}
	return out
}

func (d dryFitDoc) print(w io.Writer) {
	fmt.Fprintf(w, "Dry fit %s: %s\n", d.Verdict, d.Reason)
	fmt.Fprintf(w, "  fit of the join: %s, since %s\n", d.Fit, d.FitReason)
	if d.ContactArea != nil {
		fmt.Fprintf(w, "  touching: %.1f of %.1f mm² of the break, within %.2f mm\n", *d.ContactArea, *d.BreakArea, *d.ContactLimit)
		fmt.Fprintf(w, "  gap (+ open, - overlap): median %.3f mm, spread %.3f mm, 95 %% within %.3f mm\n", *d.GapMedian, *d.GapSpread, *d.Gap95)
	}
	if d.Second != nil {
		fmt.Fprintf(w, "  next best position: %.1f mm and %.0f° away, %.1f mm² touching\n", d.Second.Apart, d.Second.Turn, d.Second.ContactArea)
	}
	if d.Weakest != "" {
		fmt.Fprintf(w, "  weakest: %s\n", d.Weakest)
	}
	if d.NextStep != "" {
		fmt.Fprintf(w, "  next: %s\n", d.NextStep)
	}
}

// dryFit brings the broken faces of two files together, or of a loose piece and the
// body in a project, where the record keeps it.
func (c *alignCommand) dryFit(j *job, picks []annotate.Pick) (err error) {
	var fit *register.DryFit
	points := []annotate.OpenPoint{}
	if isProject(c.First) {
		err = j.open(c.First, func(p *project.Project) (err error) {
			fit, err = c.dryFitIn(j, p, picks)
			return err
		})
	} else {
		var two *pair
		opt := register.DryOptions{Picks: registerPicks(picks), Progress: j.progress}
		if two, opt.BodyBreak, opt.PieceBreak, err = c.facing(j, c.BodyBreak, c.PieceBreak); err != nil {
			return err
		}
		points = two.points
		if fit, err = register.FitDry(j.ctx, two.before, two.after, opt); err != nil {
			err = fmt.Errorf("fit %s to %s: %w", c.Second, c.First, err)
		}
	}
	if err != nil {
		return err
	}
	doc := struct {
		Schema     int                  `json:"schema"`
		DryFit     dryFitDoc            `json:"dry_fit"`
		OpenPoints []annotate.OpenPoint `json:"open_points"`
	}{1, dryFitOf(fit), points}
	if err := j.print(doc, func(w io.Writer) { doc.DryFit.print(w) }); err != nil {
		return err
	}
	if fit.Verdict == annotate.VerdictAccepted {
		return nil
	}
	return refusedf("the dry fit is %s: %s; %s", fit.Verdict, fit.Reason, fit.NextStep)
}

// dryFitIn fits a loose piece of a project to the body at the same stage.
func (c *alignCommand) dryFitIn(j *job, p *project.Project, picks []annotate.Pick) (*register.DryFit, error) {
	record := p.Record()
	piece, err := record.FindUse(c.Second, c.Piece, c.Part)
	if err != nil {
		return nil, err
	}
	body, err := record.FindUse(c.Second, annotate.Body, "")
	if err != nil {
		return nil, err
	}
	a := project.DryFitting{Body: body.Key(), Picks: picks, Progress: j.progress}
	for _, side := range []struct {
		use  annotate.Use
		path string
		mask *[]bool
	}{{body, c.BodyBreak, &a.BodyBreak}, {piece, c.PieceBreak, &a.PieceBreak}} {
		s, _ := record.Scan(side.use.Scan)
		if *side.mask, err = readMask(side.path, s.Triangles); err != nil {
			return nil, err
		}
	}
	fit, _, err := p.DryFit(j.ctx, piece.Key(), a)
	return fit, err
}

// readMask reads a file of face indices as marks on a scan's faces; nil without a
// file.
func readMask(path string, triangles int) ([]bool, error) {
	if path == "" {
		return nil, nil
	}
	faces, err := readFaces(path, triangles)
	if err != nil {
		return nil, err
	}
	out := make([]bool, triangles)
	for _, f := range faces {
		out[f] = true
	}
	return out, nil
}
