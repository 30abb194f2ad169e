package main

import (
	"fmt"
	"io"
	"math"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh/quantity"
	"rigatino/mesh/register"
)

// pairFlags are those of the commands that look at two files.
type pairFlags struct {
	Picks      string `help:"File of three or more pairs of places that match, and of check points."`
	UnitBefore string `help:"Unit of the first file where its format has none: mm, cm, m or in."`
	UnitAfter  string `help:"Unit of the second file."`
	Similarity bool   `help:"Let the size differ as well; only if one scan has no scale."`
	Trust      string `help:"File of the faces of the scan after that alone carry the fit, one index or a-b a line."`
	Never      string `help:"File of its faces that carry none of the fit."`
}

type alignCommand struct {
	First  string `arg:"" name:"before" help:"Project, or the scan before."`
	Second string `arg:"" name:"after" help:"Stage of the project, or the scan after."`
	Piece  string `default:"body" help:"Piece, with a project."`
	Part   string `help:"Part of the piece, with a project."`

	DryFit     bool   `help:"Bring two broken faces together: the files are the body and a piece of it; in a project --piece names the piece, and where it fits is kept."`
	BodyBreak  string `help:"With --dry-fit: file of the body's broken faces, one index or a-b a line."`
	PieceBreak string `help:"With --dry-fit: file of the piece's broken faces."`

	Joint      bool     `help:"Bring the joint surfaces of two neighbouring bones beside one another at an even gap: the files are the two bones, the one that stays first."`
	BodyJoint  string   `help:"With --joint: file of the first bone's joint surface, one index or a-b a line."`
	PieceJoint string   `help:"With --joint: file of the second bone's joint surface."`
	Gap        *float64 `placeholder:"MM" help:"With --joint: how far apart the surfaces stood, mm, with cartilage between them; without it their shape says."`
	pairFlags
}

// alignmentDoc is how an alignment stands in every document.
type alignmentDoc struct {
	Verdict           string             `json:"verdict"`
	Reason            string             `json:"reason"`
	NextStep          string             `json:"next_step"`
	AfterToBefore     *[16]float64       `json:"after_to_before,omitempty"`
	AppliedScale      *float64           `json:"applied_scale,omitempty"`
	RelativeScale     *quantity.Measured `json:"relative_scale,omitempty"`
	FitResidual       *float64           `json:"fit_residual_rms_mm,omitempty"`
	Check             *float64           `json:"check_rms_mm,omitempty"`
	CheckPoints       int                `json:"check_points,omitempty"`
	CheckPointRMS     *float64           `json:"check_points_rms_mm,omitempty"`
	CheckPointMax     *float64           `json:"check_points_max_mm,omitempty"`
	ErrorOverChange   *float64           `json:"error_over_change_mm,omitempty"`
	ErrorUnknown      string             `json:"error_unknown,omitempty"`
	StableShareAfter  *float64           `json:"stable_share_of_after,omitempty"`
	StableShareBefore *float64           `json:"stable_share_of_before,omitempty"`
	Weakest           string             `json:"weakest_direction,omitempty"`
	RoundTrip         *roundTripDoc      `json:"round_trip,omitempty"`
	Moved             *movedDoc          `json:"moved_piece,omitempty"`
}

// roundTripDoc is how far a scan lies from where an earlier alignment with another
// scan put it.
type roundTripDoc struct {
	By  string  `json:"by"`
	RMS float64 `json:"rms_mm"`
	Max float64 `json:"max_mm"`
}

// movedDoc is a piece that lies elsewhere now: what it went through in the frame
// of the scan before.
type movedDoc struct {
	Motion      [16]float64 `json:"motion"`
	Turn        float64     `json:"turn_deg"`
	Shift       float64     `json:"shift_mm"`
	Faces       int         `json:"faces"`
	Share       float64     `json:"share_of_after"`
	FitResidual float64     `json:"fit_residual_rms_mm"`
}

func alignmentOf(r *register.Result) alignmentDoc {
	out := alignmentDoc{Verdict: r.Verdict, Reason: r.Reason, NextStep: r.NextStep}
	if r.Verdict == annotate.VerdictRefused {
		return out
	}
	m := r.AfterToBefore.Matrix()
	out.AfterToBefore = &m
	number := func(v float64) *float64 {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		return &v
	}
	out.AppliedScale, out.FitResidual, out.Check = number(r.AppliedScale), number(r.FitResidualRMS), number(r.CheckRMS)
	out.StableShareAfter, out.StableShareBefore = number(r.StableShareAfter), number(r.StableShareBefore)
	out.Weakest, out.ErrorUnknown = r.Weakest, r.ErrorUnknown
	if r.ErrorOverChange > 0 {
		out.ErrorOverChange = number(r.ErrorOverChange)
	}
	if out.CheckPoints = r.CheckPoints; r.CheckPoints > 0 {
		out.CheckPointRMS, out.CheckPointMax = number(r.CheckPointRMS), number(r.CheckPointMax)
	}
	if m := r.Moved; m != nil {
		out.Moved = &movedDoc{Motion: m.Motion.Matrix(), Turn: m.Turn * 180 / math.Pi, Shift: m.Shift, Share: m.Share, FitResidual: m.FitResidualRMS}
		for _, is := range m.Faces {
			if is {
				out.Moved.Faces++
			}
		}
	}
	if r.RelativeScale > 0 && !math.IsNaN(r.RelativeScaleU) {
		out.RelativeScale = &quantity.Measured{Value: r.RelativeScale, U: r.RelativeScaleU, K: 2, Unit: "1", Method: "similarity fit on the stable area, not applied"}
	}
	return out
}

func (d alignmentDoc) print(w io.Writer) {
	fmt.Fprintf(w, "Alignment %s", d.Verdict)
	if d.Reason != "" {
		fmt.Fprintf(w, ": %s", d.Reason)
	}
	fmt.Fprintln(w)
	if d.FitResidual != nil {
		fmt.Fprintf(w, "  fit residual, not accuracy: %.4f mm\n", *d.FitResidual)
	}
	if d.Check != nil {
		fmt.Fprintf(w, "  held-out cells: %.4f mm\n", *d.Check)
	}
	if d.CheckPointRMS != nil && d.CheckPointMax != nil {
		fmt.Fprintf(w, "  check points: %d, off by %.4f mm (RMS), %.4f mm at most\n", d.CheckPoints, *d.CheckPointRMS, *d.CheckPointMax)
	}
	switch {
	case d.ErrorOverChange != nil:
		fmt.Fprintf(w, "  error where it changed: %.4f mm at most (95 %%)\n", *d.ErrorOverChange)
	case d.ErrorUnknown != "":
		fmt.Fprintf(w, "  error where it changed: not stated\n")
	}
	if d.StableShareAfter != nil && d.StableShareBefore != nil {
		fmt.Fprintf(w, "  unchanged: %.0f %% of the scan after, %.0f %% of the scan before\n", 100**d.StableShareAfter, 100**d.StableShareBefore)
	}
	if d.Weakest != "" {
		fmt.Fprintf(w, "  weakest: %s\n", d.Weakest)
	}
	if r := d.RoundTrip; r != nil {
		fmt.Fprintf(w, "  round trip: %.4f mm (RMS), %.4f mm at most, from where the alignment with %s put it\n", r.RMS, r.Max, r.By)
	}
	if m := d.Moved; m != nil {
		fmt.Fprintf(w, "  moved piece: %.0f %% of the scan after, went %.2f mm and turned by %.1f°; its own fit residual %.4f mm\n", 100*m.Share, m.Shift, m.Turn, m.FitResidual)
	}
	if d.NextStep != "" {
		fmt.Fprintf(w, "  next: %s\n", d.NextStep)
	}
}

// refusal is the exit status of an alignment that is not accepted.
func (d alignmentDoc) refusal() error {
	if d.Verdict == annotate.VerdictAccepted {
		return nil
	}
	return refusedf("the alignment is %s: %s; %s", d.Verdict, d.Reason, d.NextStep)
}

// Run aligns a stage of a project, or two files.
func (c *alignCommand) Run(j *job) error {
	picks, checks, err := readPicks(c.Picks)
	if err != nil {
		return err
	}
	if err := c.oneWay(len(checks)); err != nil {
		return err
	}
	switch {
	case c.DryFit:
		return c.dryFit(j, picks)
	case c.Joint:
		return c.joint(j, registerPicks(picks))
	}
	type document struct {
		Schema     int                  `json:"schema"`
		Alignment  alignmentDoc         `json:"alignment"`
		OpenPoints []annotate.OpenPoint `json:"open_points"`
	}
	doc := document{Schema: 1, OpenPoints: []annotate.OpenPoint{}}
	if isProject(c.First) {
		err = j.open(c.First, func(p *project.Project) error {
			record := p.Record()
			use, err := record.FindUse(c.Second, c.Piece, c.Part)
			if err != nil {
				return err
			}
			if c.Trust != "" || c.Never != "" {
				if err := c.markFit(p, &record, &use); err != nil {
					return err
				}
			}
			a, err := p.Align(j.ctx, use.Key(), project.Aligning{Picks: picks, Checks: checks, Similarity: c.Similarity, Progress: j.progress})
			if err != nil {
				return err
			}
			doc.Alignment = alignmentOf(a.Result)
			now := p.Record()
			if kept := now.Use(use.Key()).Alignment; kept != nil && kept.RoundTrip != nil && doc.Alignment.Verdict == annotate.VerdictAccepted {
				doc.Alignment.RoundTrip = &roundTripDoc{kept.RoundTrip.By, kept.RoundTrip.RMS, kept.RoundTrip.Max}
			}
			return nil
		})
	} else {
		var pair *pair
		if pair, err = j.pair(c.First, c.Second, c.pairFlags); err == nil {
			doc.Alignment = alignmentOf(pair.result)
			doc.OpenPoints = append(doc.OpenPoints, pair.points...)
		}
	}
	if err != nil {
		return err
	}
	if err := j.print(doc, func(w io.Writer) { doc.Alignment.print(w) }); err != nil {
		return err
	}
	return doc.Alignment.refusal()
}

// oneWay refuses flags that do not go with the way that was asked for.
func (c *alignCommand) oneWay(checks int) error {
	switch {
	case c.DryFit && c.Joint:
		return usagef("--dry-fit and --joint are two ways: broken faces touch, joint surfaces keep a gap; ask for one")
	case !c.DryFit && (c.BodyBreak != "" || c.PieceBreak != ""):
		return usagef("--body-break and --piece-break go with --dry-fit")
	case !c.Joint && (c.BodyJoint != "" || c.PieceJoint != "" || c.Gap != nil):
		return usagef("--body-joint, --piece-joint and --gap go with --joint")
	case !c.DryFit && !c.Joint:
		return nil
	}
	way := "--dry-fit"
	if c.Joint {
		way = "--joint"
	}
	switch {
	case isProject(c.First) && c.Joint:
		return usagef("--joint takes two scan files, the one that stays and the piece, and no project")
	case isProject(c.First) && c.Piece == annotate.Body:
		return usagef("--dry-fit in a project needs --piece: the loose piece that is fitted to the body")
	case c.Similarity:
		return usagef("--similarity does not go with %s: set the scale of both scans first", way)
	case c.Trust != "" || c.Never != "":
		return usagef("--trust and --never do not go with %s: mark the faces that meet instead", way)
	case checks > 0:
		return usagef("check points do not go with %s: leave \"checks\" out of %s", way, c.Picks)
	}
	return nil
}

// facing opens two bodies whose marked faces are to be brought together.
func (c *alignCommand) facing(j *job, bodyFaces, pieceFaces string) (two *pair, body, piece []bool, err error) {
	if two, err = j.twoScans(c.First, c.Second, c.pairFlags); err != nil {
		return nil, nil, nil, err
	}
	if body, err = readMask(bodyFaces, two.before.FaceCount()); err != nil {
		return nil, nil, nil, err
	}
	piece, err = readMask(pieceFaces, two.after.FaceCount())
	return two, body, piece, err
}

// markFit records which faces carry the fit of a use. They stay so for later
// alignments of it.
func (c *alignCommand) markFit(p *project.Project, record *annotate.Record, use *annotate.Use) error {
	s, _ := record.Scan(use.Scan)
	trust, err := readMask(c.Trust, s.Triangles)
	if err != nil {
		return err
	}
	never, err := readMask(c.Never, s.Triangles)
	if err != nil {
		return err
	}
	return p.SetFitFaces(use.Key(), trust, never)
}
