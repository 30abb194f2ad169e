package main

import (
	"bufio"
	"encoding/json"
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
	Propose    bool   `help:"Look at the scan and list what seems to be no specimen, or a hole that a scan program closed."`
	Accept     string `help:"Map what was proposed, by its ids with commas between, or all; certainty inferred."`
	Decline    string `help:"Note that what was proposed is not so, by its ids with commas between, or all."`
	ExaminedBy string `help:"How it was examined: visible, raking, microscope, uv, xray, ct or solvent_test."`
	Certainty  string `help:"How sure: seen, inferred, reported or assumed."`
	Basis      string `help:"What a reconstruction rests on."`
	Reason     string `help:"Why, where a word needs a reason."`
	Material   string `help:"Material used."`
	Who        string `help:"Person id."`
	When       string `help:"Date (EDTF)."`
	Since      string `help:"Stage since which it is there."`
	Note       string `help:"A note."`
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

	Proposals *[]proposed `json:"proposals,omitempty"`
}

// Run marks faces, a line, or the rest; one of them.
func (c *mapCommand) Run(j *job) error {
	set := 0
	for _, v := range []string{c.Faces, c.Line, c.Rest, c.Accept, c.Decline} {
		if v != "" {
			set++
		}
	}
	if c.Propose {
		set++
	}
	if set != 1 {
		return usagef("give one of --faces, --line, --rest, --propose, --accept and --decline")
	}
	if c.Propose || c.Accept != "" || c.Decline != "" {
		return c.proposals(j)
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
