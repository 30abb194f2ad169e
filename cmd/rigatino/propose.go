package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/annotate/terms"
	"rigatino/mesh/quantity"
)

// proposalDoc is one proposal as the command prints it.
type proposalDoc struct {
	Number    int                `json:"number"`
	Kind      string             `json:"kind"`
	State     string             `json:"state"` // open, accepted, refused
	Answer    string             `json:"answer,omitempty"`
	Certainty string             `json:"certainty"`
	What      string             `json:"what,omitempty"`
	Marks     []proposedMark     `json:"marks"`
	Piece     string             `json:"piece,omitempty"`
	LinePts   int                `json:"line_points,omitempty"`
	Choices   []string           `json:"choices,omitempty"`
	Area      *quantity.Measured `json:"area,omitempty"`
	Volume    *quantity.Measured `json:"volume,omitempty"`
	Mean      *float64           `json:"mean_thickness_mm,omitempty"`
	Most      *float64           `json:"max_thickness_mm,omitempty"`
	Colour    *float64           `json:"colour_difference,omitempty"`
	Centroid  [3]float64         `json:"centroid_mm"`
	Evidence  string             `json:"evidence"`
	Regions   []string           `json:"regions,omitempty"`
	Line      string             `json:"line,omitempty"`
}

type proposedMark struct {
	Layer string `json:"layer"`
	Kind  string `json:"kind,omitempty"`
	Faces int    `json:"faces"`
}

// proposals lists proposals, and accepts or refuses those that are numbered.
func (c *mapCommand) proposals(j *job) error {
	switch {
	case c.Line != "" || c.Rest != "" || c.Carry:
		return usagef("--propose, --accept and --refuse go with neither --line, --rest nor --carry")
	case c.Substance != "" || c.Applied != "" || c.Condition != "" || c.Certainty != "":
		return usagef("a proposal brings its own word and stays inferred: use --as for another word")
	case c.Accept == "" && (c.As != "" || c.Faces != ""):
		return usagef("--as and --faces go with --accept")
	}
	accept, aside, err := answered("--accept", c.Accept)
	if err != nil {
		return err
	}
	refuse, kept, err := answered("--refuse", c.Refuse)
	if err != nil {
		return err
	}
	for _, n := range accept {
		if slices.Contains(refuse, n) {
			return usagef("proposal %d is both accepted and refused: say one", n)
		}
	}
	said := annotate.Region{ExaminedBy: c.ExaminedBy, Basis: c.Basis, Reason: c.Reason, Material: c.Material, Who: c.Who, When: c.When, Note: c.Note}
	look := j.look
	if len(accept)+len(refuse)+len(aside)+len(kept) > 0 {
		look = j.open
	}
	return look(c.Project, func(p *project.Project) error {
		record := p.Record()
		use, from, err := c.uses(&record)
		if err != nil {
			return err
		}
		var within []uint32
		if c.Faces != "" {
			scan, _ := record.Scan(use.Scan)
			if within, err = readFaces(c.Faces, scan.Triangles); err != nil {
				return err
			}
		}
		scanned, err := scanProposals(j, p, use.Key(), aside, kept)
		if err != nil {
			return err
		}
		doc := mapped{Schema: 1, Project: c.Project, Use: use.Key().String(), ScanProposals: &scanned}
		onlyScan := len(accept)+len(refuse) == 0
		if onlyScan && !c.Propose {
			return j.print(doc, func(w io.Writer) { printScanProposals(w, doc.Use, scanned) })
		}
		q, err := p.Propose(j.ctx, from, use.Key(), j.progress)
		if errors.Is(err, project.ErrNothingBefore) && onlyScan {
			return j.print(doc, func(w io.Writer) { printScanProposals(w, doc.Use, scanned) })
		}
		if err != nil {
			return c.refuse(j, use.Key(), err)
		}
		for _, n := range accept {
			done, err := p.Accept(q, project.Accepting{Number: n, As: c.As, Within: within, Region: said})
			if err != nil {
				return err
			}
			if done.Skipped > 0 {
				fmt.Fprintf(j.stderr, "rigatino: proposal %d: %d faces left out, on which it may not lie\n", n, done.Skipped)
			}
		}
		for _, n := range refuse {
			if err := p.Refuse(q, n, c.Who, c.Note); err != nil {
				return err
			}
		}
		list := proposalDocs(q)
		doc.From, doc.Proposals = q.From.String(), &list
		return j.print(doc, func(w io.Writer) {
			printScanProposals(w, doc.Use, scanned)
			printProposals(w, q, list)
		})
	})
}

// uses are the use to be marked and the earlier one, which is zero where none is
// named.
func (c *mapCommand) uses(record *annotate.Record) (use annotate.Use, from annotate.UseKey, err error) {
	if use, err = record.FindUse(c.Stage, c.Piece, c.Part); err != nil || c.From == "" {
		return use, from, err
	}
	before, err := record.FindUse(c.From, c.Piece, c.Part)
	return use, before.Key(), err
}

// numbers reads a list such as 1,3-5.
func numbers(flag, text string) ([]int, error) {
	var out []int
	if text == "" {
		return nil, nil
	}
	const most = 1 << 16 // a map numbers no more regions
	for _, part := range strings.Split(text, ",") {
		from, to, ranged := strings.Cut(strings.TrimSpace(part), "-")
		a, err := strconv.Atoi(from)
		b := a
		if err == nil && ranged {
			b, err = strconv.Atoi(to)
		}
		if err != nil || a < 1 || b < a || b > most {
			return nil, usagef("%s: %q is no number of a proposal and no range a-b", flag, part)
		}
		for n := a; n <= b; n++ {
			if !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out, nil
}

func proposalDocs(q *project.Proposed) []proposalDoc {
	out := []proposalDoc{}
	for i := range q.List {
		x := &q.List[i]
		d := proposalDoc{
			Number: i + 1, Kind: string(x.Kind), State: "open", Certainty: "inferred", What: x.What, Marks: []proposedMark{}, Piece: x.Piece, LinePts: len(x.Line),
			Choices: x.Choices, Area: x.Surface, Volume: x.Volume, Centroid: [3]float64{x.CentroidMM.X, x.CentroidMM.Y, x.CentroidMM.Z}, Evidence: x.Evidence,
		}
		for _, m := range x.Marks {
			d.Marks = append(d.Marks, proposedMark{m.Layer, m.Kind, len(m.Faces)})
		}
		if x.Area >= 0 {
			d.Mean, d.Most = &x.MeanMM, &x.MostMM
		}
		if x.ColourDifference > 0 {
			d.Colour = &x.ColourDifference
		}
		if a := q.Answers[i]; a != nil {
			d.State, d.Answer, d.Regions, d.Line = a.Verdict, a.ID, a.Regions, a.Line
		}
		out = append(out, d)
	}
	return out
}

func printProposals(w io.Writer, q *project.Proposed, list []proposalDoc) {
	if len(list) == 0 {
		fmt.Fprintf(w, "From %v to %v there is nothing to propose.\n", q.From, q.To)
		return
	}
	fmt.Fprintf(w, "Proposals from %v to %v. Nothing is marked until somebody accepts it.\n", q.From, q.To)
	for i, d := range list {
		fmt.Fprintf(w, "%3d  %s", d.Number, terms.Label(terms.ChangeProposal, string(q.List[i].Kind)))
		for k, m := range d.Marks {
			if m.Kind != "" {
				fmt.Fprintf(w, "%s%s on %d faces", []string{": would mark ", ", "}[min(k, 1)], strings.ReplaceAll(m.Kind, "_", " "), m.Faces)
			}
		}
		if d.LinePts > 0 {
			fmt.Fprintf(w, ": would draw the join round it")
		}
		if d.Area != nil {
			fmt.Fprintf(w, "; %s", d.Area)
		}
		if d.State != "open" {
			fmt.Fprintf(w, "  [%s]", d.State)
		}
		fmt.Fprintf(w, "\n     %s\n", d.Evidence)
		if len(d.Choices) > 0 && d.State == "open" {
			fmt.Fprintf(w, "     or with --as: %s\n", strings.Join(d.Choices, ", "))
		}
	}
}
