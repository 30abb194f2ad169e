package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/annotate/tally"
	"rigatino/mesh/quantity"
)

type mapCommand struct {
	Project    string `arg:"" help:"Folder of the project."`
	Stage      string `arg:"" help:"Stage to mark."`
	Piece      string `default:"body" help:"Piece to mark."`
	Part       string `help:"Part of the piece, where there are several."`
	Faces      string `help:"File with one scan face index, or a-b, a line."`
	Substance  string `help:"What the surface is there: fill, matrix, uncertain …"`
	Applied    string `help:"What lies on it: retouch, consolidant …"`
	Condition  string `help:"What state it is in: crack, tool_mark …"`
	Line       string `help:"File with a line: {kind, fit, unit, points}."`
	Rest       string `help:"Mark all of the use that is in no region as this substance; needs --examined-by and --certainty."`
	ExaminedBy string `help:"How it was examined: visible, raking, microscope, uv, xray, ct or solvent_test."`
	Certainty  string `help:"How sure: seen, inferred, reported or assumed."`
	Basis      string `help:"What a reconstruction rests on."`
	Reason     string `help:"Why, where a word needs a reason."`
	Material   string `help:"Material used."`
	Who        string `help:"Person id."`
	When       string `help:"Date (EDTF)."`
	Since      string `help:"Stage since which it is there."`
	Note       string `help:"A note."`

	Propose bool   `help:"List what the difference from an earlier stage would mark, by numbers, and what of the scan seems to be no specimen, by ids, with the evidence; marks nothing."`
	From    string `help:"Earlier stage to propose from; the one before where none is named."`
	Accept  string `help:"Numbers or ids of proposals to accept: 1,3-5,bed. With --faces only those faces of numbered ones are taken."`
	Refuse  string `help:"Numbers or ids of proposals to refuse; --note says why."`
	As      string `help:"With --accept: what it is, in the place of the word proposed."`
	Carry   bool   `help:"Carry the map of an earlier stage over through the alignment; what changed is left unexamined."`
}

// mapped is the document of the command.
type mapped struct {
	Schema  int                `json:"schema"`
	Project string             `json:"project"`
	Use     string             `json:"use"`
	Region  string             `json:"region,omitempty"`
	Line    string             `json:"line,omitempty"`
	Faces   *int               `json:"faces,omitempty"`
	Length  *quantity.Measured `json:"length,omitempty"`

	From          string             `json:"from,omitempty"`
	Proposals     *[]proposalDoc     `json:"proposals,omitempty"`
	ScanProposals *[]scanProposalDoc `json:"scan_proposals,omitempty"`
	Carried       *carriedDoc        `json:"carried,omitempty"`
	Refused       *refusedDoc        `json:"refused,omitempty"`
}

// refusedDoc says why nothing was compared.
type refusedDoc struct {
	Reason   string `json:"reason"`
	NextStep string `json:"next_step"`
}

// refuse prints the document of a comparison that was refused, and hands the
// refusal on; other errors pass as they are.
func (c *mapCommand) refuse(j *job, use annotate.UseKey, err error) error {
	var refused *project.RefusedError
	if !errors.As(err, &refused) {
		return err
	}
	doc := mapped{Schema: 1, Project: c.Project, Use: use.String(), Refused: &refusedDoc{refused.Reason, refused.NextStep}}
	return errors.Join(j.print(doc, func(io.Writer) {}), err)
}

// Run marks faces, a line, or the rest, deals with proposals, or carries a map
// over; one of them.
func (c *mapCommand) Run(j *job) error {
	switch {
	case c.Propose || c.Accept != "" || c.Refuse != "":
		return c.proposals(j)
	case c.As != "":
		return usagef("--as goes with --accept")
	case c.Carry:
		return c.carry(j)
	case c.From != "":
		return usagef("--from goes with --propose, --accept, --refuse and --carry")
	}
	set := 0
	for _, v := range []string{c.Faces, c.Line, c.Rest} {
		if v != "" {
			set++
		}
	}
	if set != 1 {
		return usagef("give one of --faces, --line, --rest, --propose, --accept, --refuse and --carry")
	}
	kinds := 0
	spec := annotate.Region{Basis: c.Basis, Reason: c.Reason, Certainty: c.Certainty, ExaminedBy: c.ExaminedBy, Material: c.Material, Who: c.Who, When: c.When, Since: c.Since, Note: c.Note}
	for _, l := range []struct{ layer, kind string }{
		{annotate.LayerSubstance, c.Substance}, {annotate.LayerApplied, c.Applied}, {annotate.LayerCondition, c.Condition},
	} {
		if l.kind == "" {
			continue
		}
		kinds++
		spec.Layer, spec.Kind = l.layer, l.kind
	}
	switch {
	case c.Faces != "" && kinds != 1:
		return usagef("--faces needs one of --substance, --applied and --condition")
	case c.Faces == "" && kinds != 0:
		return usagef("--substance, --applied and --condition go with --faces")
	case c.Rest != "" && (c.ExaminedBy == "" || c.Certainty == ""):
		return usagef("--rest needs both --examined-by and --certainty: nothing becomes original because nobody looked")
	case c.Rest != "":
		spec.Layer, spec.Kind, spec.Rest = annotate.LayerSubstance, c.Rest, true
	}
	if c.Line == "" {
		if err := spec.Check(); err != nil {
			return usageError{err}
		}
	}
	return j.open(c.Project, func(p *project.Project) error {
		record := p.Record()
		use, err := record.FindUse(c.Stage, c.Piece, c.Part)
		if err != nil {
			return err
		}
		key := use.Key()
		doc := mapped{Schema: 1, Project: c.Project, Use: key.String()}
		switch {
		case c.Line != "":
			err = c.line(j, p, key, &doc)
		case c.Rest != "":
			var done project.Marked
			done, err = p.MapRest(key, spec)
			doc.Region, doc.Faces = done.Region.ID, &done.Taken
		default:
			scan, _ := record.Scan(use.Scan)
			var faces []uint32
			if faces, err = readFaces(c.Faces, scan.Triangles); err != nil {
				return err
			}
			var done project.Marked
			done, err = p.MapFaces(key, spec, faces)
			doc.Region, doc.Faces = done.Region.ID, &done.Taken
			if err == nil && done.Skipped > 0 {
				fmt.Fprintf(j.stderr, "rigatino: %d faces left out: %s may lie on original surface only\n", done.Skipped, spec.Kind)
			}
		}
		if err != nil {
			return err
		}
		return j.print(doc, func(w io.Writer) {
			switch {
			case doc.Line != "":
				fmt.Fprintf(w, "Drew %s on %s: %s.\n", doc.Line, doc.Use, doc.Length)
			case doc.Region == "":
				fmt.Fprintf(w, "Nothing to mark on %s.\n", doc.Use)
			default:
				fmt.Fprintf(w, "Marked %d faces of %s as %s.\n", *doc.Faces, doc.Use, doc.Region)
			}
		})
	})
}

// line draws a line from its file.
func (c *mapCommand) line(j *job, p *project.Project, key annotate.UseKey, doc *mapped) error {
	data, err := os.ReadFile(c.Line)
	if err != nil {
		return fmt.Errorf("read the line: %w", err)
	}
	var file struct {
		Kind   string       `json:"kind"`
		Fit    string       `json:"fit"`
		Unit   string       `json:"unit"`
		Points [][3]float64 `json:"points"`
		Pieces []string     `json:"pieces"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		return fmt.Errorf("%s is not a line file: %w", c.Line, err)
	}
	if file.Unit != "mm" {
		return fmt.Errorf("%s: unit is %q: give the points in mm of the scan's frame and say \"unit\":\"mm\"", c.Line, file.Unit)
	}
	l, err := p.LoadUse(j.ctx, key, j.progress)
	if err != nil {
		return err
	}
	line, err := p.MapLine(l.Surface, key, annotate.Line{Kind: file.Kind, Fit: file.Fit, Points: file.Points, Pieces: file.Pieces, Who: c.Who, When: c.When, Note: c.Note})
	if err != nil {
		return fmt.Errorf("%s: %w", c.Line, err)
	}
	doc.Line = line.ID
	if line.Kind == annotate.LineJoin {
		way, err := tally.Trace(l.Surface, line.Points)
		if err != nil {
			return err
		}
		m := tally.LengthOf(tally.Join{Way: way}, l.Use.Scale).Length
		doc.Length = &m
	}
	return nil
}

// readFaces reads a file of face indices, one or a-b a line.
func readFaces(path string, triangles int) ([]uint32, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read the faces: %w", err)
	}
	defer f.Close() // what was only read loses nothing
	var out []uint32
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(lines.Text())
		if text == "" || strings.HasPrefix(text, "#") {
			continue
		}
		from, to, ranged := strings.Cut(text, "-")
		a, err := strconv.ParseUint(strings.TrimSpace(from), 10, 32)
		b := a
		if err == nil && ranged {
			b, err = strconv.ParseUint(strings.TrimSpace(to), 10, 32)
		}
		if err != nil || b < a {
			return nil, fmt.Errorf("%s line %d: %q is no face index and no range a-b", path, n, text)
		}
		if b >= uint64(triangles) {
			return nil, fmt.Errorf("%s line %d: face %d does not exist: the scan has faces 0 to %d", path, n, b, triangles-1)
		}
		for i := a; i <= b; i++ {
			out = append(out, uint32(i))
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read the faces: %w", err)
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}
