package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"

	"rigatino/annotate"
	"rigatino/annotate/project"
)

type recordCommand struct {
	Project string `arg:"" help:"Folder of the project."`
	File    string `arg:"" help:"JSON file with the members of the record to merge."`
}

// Run merges a record file, member by member and entry by entry.
func (c *recordCommand) Run(j *job) error {
	data, err := os.ReadFile(c.File)
	if err != nil {
		return fmt.Errorf("read the record file: %w", err)
	}
	doc := struct {
		Schema     int                  `json:"schema"`
		Project    string               `json:"project"`
		Merged     map[string]int       `json:"merged"`
		OpenPoints []annotate.OpenPoint `json:"open_points"`
	}{Schema: 1, Project: c.Project, Merged: map[string]int{}, OpenPoints: []annotate.OpenPoint{}}
	return j.open(c.Project, func(p *project.Project) error {
		if err := p.MergeRecord(data); err != nil {
			return fmt.Errorf("%s: %w", c.File, err)
		}
		var members map[string]json.RawMessage
		if err := json.Unmarshal(data, &members); err != nil {
			return fmt.Errorf("%s: %w", c.File, err)
		}
		for name, raw := range members {
			var list []json.RawMessage
			doc.Merged[name] = 1
			if json.Unmarshal(raw, &list) == nil {
				doc.Merged[name] = len(list)
			}
		}
		doc.OpenPoints = append(doc.OpenPoints, p.OpenPoints()...)
		return j.print(doc, func(w io.Writer) {
			fmt.Fprintf(w, "Merged %s into %s.\n", c.File, c.Project)
			printPoints(w, doc.OpenPoints)
		})
	})
}
