package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"rigatino/annotate/handover"
	"rigatino/annotate/project"
	"rigatino/assets/demo"
)

type demoCommand struct {
	Dir   string `arg:"" help:"Folder to make."`
	Faces int    `hidden:"" default:"0" help:"Triangles of a scan; 0 for the usual size."`
}

// Run makes the demo project and hands it over, as anybody would.
func (c *demoCommand) Run(j *job) error {
	made, err := demo.Make(j.ctx, c.Dir, demo.Options{Faces: c.Faces, Progress: func(d float64, w string) { j.progress(0.7*d, w) }})
	if err != nil {
		return err
	}
	dir := filepath.Join(c.Dir, "hand-over")
	var result *handover.Result
	if err := j.open(made.Project, func(p *project.Project) error {
		var err error
		result, err = handover.Make(j.ctx, p, dir, handover.Options{Made: demo.HandedOver, Progress: func(d float64, w string) { j.progress(0.7+0.3*d, w) }})
		return err
	}); err != nil {
		return err
	}
	doc := struct {
		Schema   int      `json:"schema"`
		Project  string   `json:"project"`
		HandOver string   `json:"hand_over"`
		Files    []string `json:"files"`
	}{1, made.Project, dir, []string{}}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("look into the hand-over: %w", err)
	}
	for _, e := range entries {
		doc.Files = append(doc.Files, e.Name())
	}
	slices.Sort(doc.Files)
	return j.print(doc, func(w io.Writer) {
		fmt.Fprintf(w, "Made the demo of an invented specimen in %s:\n  project %s\n  hand-over %d in %s: %v\n", c.Dir, made.Project, result.Number, dir, doc.Files)
	})
}
