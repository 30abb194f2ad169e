package main

import (
	"fmt"
	"io"
	"strings"

	"rigatino/annotate/project"
)

// carriedDoc is what was carried over from the map of an earlier stage.
type carriedDoc struct {
	From      string   `json:"from"`
	Regions   []string `json:"regions"`
	Lines     []string `json:"lines"`
	LinesLeft []string `json:"lines_left"`
	Faces     int      `json:"faces"`
	Changed   int      `json:"changed_faces"`
}

// carry carries the map of an earlier stage over.
func (c *mapCommand) carry(j *job) error {
	for _, v := range []string{c.Faces, c.Line, c.Rest, c.Substance, c.Applied, c.Condition, c.ExaminedBy, c.Certainty, c.Basis, c.Reason, c.Material, c.Who, c.When, c.Since, c.Note} {
		if v != "" {
			return usagef("--carry takes regions as they are: only --from, --piece and --part go with it")
		}
	}
	return j.open(c.Project, func(p *project.Project) error {
		record := p.Record()
		use, from, err := c.uses(&record)
		if err != nil {
			return err
		}
		done, err := p.Carry(j.ctx, from, use.Key(), j.progress)
		if err != nil {
			return c.refuse(j, use.Key(), err)
		}
		list := func(ids []string) []string { return append([]string{}, ids...) }
		doc := mapped{Schema: 1, Project: c.Project, Use: done.To.String(), From: done.From.String(), Carried: &carriedDoc{
			From: done.From.String(), Regions: list(done.Regions), Lines: list(done.Lines), LinesLeft: list(done.LinesLeft), Faces: done.Faces, Changed: done.Changed,
		}}
		return j.print(doc, func(w io.Writer) {
			fmt.Fprintf(w, "Carried %d regions and %d lines of %v over to %v: %d faces marked, %d left unexamined because the surface changed.\n",
				len(done.Regions), len(done.Lines), done.From, done.To, done.Faces, done.Changed)
			if len(done.LinesLeft) > 0 {
				fmt.Fprintf(w, "Not carried, because they cross changed surface: %s.\n", strings.Join(done.LinesLeft, ", "))
			}
		})
	})
}
