package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"rigatino/annotate/handover/glb"
	"rigatino/annotate/project"
	"rigatino/annotate/tally"
	"rigatino/annotate/terms"
	"rigatino/mesh/quantity"
)

type tallyCommand struct {
	Source string `arg:"" name:"project" help:"Project, or annotated model (GLB) of ours."`
	Stage  string `help:"Stage; the last with a map where none is named."`
}

// Run prints the sheet of values.
func (c *tallyCommand) Run(j *job) error {
	if isProject(c.Source) {
		return j.look(c.Source, func(p *project.Project) error {
			sheet, err := p.Tally(j.ctx, project.Tallying{Stage: c.Stage, Volumes: true, Progress: j.progress})
			if err != nil {
				return err
			}
			return j.print(sheet, func(w io.Writer) { printSheet(w, sheet) })
		})
	}
	if c.Stage != "" {
		return usagef("--stage goes with a project: %s is none", c.Source)
	}
	data, err := os.ReadFile(c.Source)
	if err != nil {
		return fmt.Errorf("read the model: %w", err)
	}
	m, err := glb.Read(c.Source, data)
	if err != nil {
		return err
	}
	return j.print(m.Sheet, func(w io.Writer) { printSheet(w, m.Sheet) })
}

// printSheet prints values with their ± and the definition beside the share.
func printSheet(w io.Writer, s *tally.Sheet) {
	fmt.Fprintf(w, "Stage %s\n", s.Stage)
	r := s.Restored
	switch {
	case r.Low == nil:
		fmt.Fprintf(w, "Restored: not stated: %s\n", r.WhyAbsent)
	case r.Share == nil:
		fmt.Fprintf(w, "Restored: between %.1f and %.1f %% of the surface scanned; %s\n", 100*r.Low.Value, 100*r.High.Value, r.WhyAbsent)
	default:
		fmt.Fprintf(w, "Restored: %s of the surface scanned, range %.1f to %.1f %%\n", r.Share, 100*r.Low.Value, 100*r.High.Value)
	}
	fmt.Fprintln(w, "  (fill + reconstruction) / S; S = total − matrix − support; the upper end adds uncertain and not examined")
	row := func(label string, m quantity.Measured) { fmt.Fprintf(w, "  %-28s %s\n", label, m) }
	if s.Surface.Specimen != nil {
		row("Specimen surface, S", *s.Surface.Specimen)
	}
	for _, part := range []struct {
		list terms.List
		by   map[string]quantity.Measured
	}{{terms.Substance, s.Surface.BySubstance}, {terms.Applied, s.Surface.ByApplied}, {terms.Condition, s.Surface.ByCondition}} {
		for _, t := range terms.All(part.list) {
			if m, ok := part.by[t.ID]; ok {
				row(t.Label, m)
			}
		}
	}
	for _, v := range []struct {
		label string
		m     *quantity.Measured
	}{{"Changed in look, of S", s.ChangedInLook}, {"Retouch over original, of S", s.RetouchOverOriginal}, {"Matrix left, of the whole scan", s.MatrixLeft}} {
		if v.m != nil {
			row(v.label, *v.m)
		}
	}
	for _, j := range s.Joins {
		row("Join "+j.ID+", "+terms.Label(terms.Fit, j.Fit), j.Length)
	}
	for _, v := range s.Volumes {
		fmt.Fprintf(w, "  %s to %s, %s:", v.From, v.To, v.Piece)
		if v.Removed != nil {
			fmt.Fprintf(w, " removed %s", v.Removed)
		}
		if v.Added != nil {
			fmt.Fprintf(w, " added %s", v.Added)
		}
		if v.Carried {
			fmt.Fprint(w, " (carried over from the file, not reckoned again)")
		}
		fmt.Fprintln(w)
	}
	printFills(w, s)
	for _, scale := range s.Scales {
		fmt.Fprintf(w, "Scale of %s: %s.\n", scale.Use, scale.Sentence)
	}
	fmt.Fprintln(w, "Surface as seen; interior, pins and hidden fills not examined. Not a certificate of authenticity.")
	printPoints(w, s.OpenPoints)
}

// printFills prints how much matter fills are, and the restored share by volume.
func printFills(w io.Writer, s *tally.Sheet) {
	for _, f := range s.Fills {
		fmt.Fprintf(w, "  Fill %s: ", strings.Join(f.Regions, ", "))
		switch {
		case f.Volume == nil:
			fmt.Fprintf(w, "volume not measured: %s\n", f.WhyAbsent)
			continue
		case f.Estimate:
			fmt.Fprintf(w, "about %s, an estimate from a stated thickness", f.Volume)
		default:
			fmt.Fprintf(w, "%s, from scans before and after", f.Volume)
		}
		if f.Mass != nil {
			fmt.Fprintf(w, ", about %s", f.Mass)
		}
		fmt.Fprintln(w)
	}
	if v := s.RestoredByVolume; v != nil {
		if v.Low != nil {
			fmt.Fprintf(w, "  Restored by volume: at least %s (interior, pins and filled voids not examined)\n", v.Low)
		} else {
			fmt.Fprintf(w, "  Restored by volume: not stated: %s\n", v.WhyAbsent)
		}
	}
}
