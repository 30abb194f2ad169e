package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"rigatino/annotate/handover"
	"rigatino/annotate/project"
	"rigatino/assets/demo"
)

type demoCommand struct {
	Dir   string `arg:"" help:"Folder to make."`
	Faces int    `hidden:"" default:"0" help:"Triangles of a scan; 0 for the usual size."`
}

// handedOver is the date on the demo's hand-over, the day after its last stage,
// so that the demo is the same bytes on any day.
var handedOver = time.Date(2026, time.March, 25, 12, 0, 0, 0, time.UTC)

// Run makes the demo project and hands it over, as anybody would.
func (c *demoCommand) Run(j *job) error {
	if c.Faces < 0 {
		return usagef("--faces: %d is no number of triangles", c.Faces)
	}
	dir := filepath.Join(c.Dir, "hand-over")
	var result *handover.Result
	made, err := demo.Make(j.ctx, c.Dir, demo.Options{
		Faces: c.Faces,
		HandOver: func(ctx context.Context, p *project.Project, progress func(float64, string)) (err error) {
			if result, err = handover.Make(ctx, p, dir, handover.Options{Made: handedOver, Progress: progress}); err != nil {
				return err
			}
			return p.Save()
		},
	}, j.progress)
	if err != nil {
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
