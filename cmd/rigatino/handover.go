package main

import (
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"rigatino/annotate"
	"rigatino/annotate/handover"
	"rigatino/annotate/project"
)

type handoverCommand struct {
	Project string `arg:"" help:"Folder of the project."`
	Dir     string `arg:"" help:"Folder to write into."`
	Stage   string `help:"Stage; the last with a map where none is named."`
	Sign    string `help:"Name of the person who signs; without it the hand-over is a draft."`
	Date    string `help:"Date of the hand-over, as 2026-03-24; today where none is given."`
}

// Run writes a hand-over.
func (c *handoverCommand) Run(j *job) error {
	made, err := handoverDate(c.Date)
	if err != nil {
		return err
	}
	return j.open(c.Project, func(p *project.Project) error {
		r, err := handover.Make(j.ctx, p, c.Dir, handover.Options{Stage: c.Stage, SignedBy: c.Sign, Made: made, Progress: j.progress})
		if err != nil {
			return err
		}
		doc := struct {
			Schema     int                  `json:"schema"`
			Number     int                  `json:"number"`
			Stage      string               `json:"stage"`
			Files      map[string]string    `json:"files"`
			OpenPoints []annotate.OpenPoint `json:"open_points"`
		}{1, r.Number, r.Stage, r.Files, r.Sheet.OpenPoints}
		return j.print(doc, func(w io.Writer) {
			fmt.Fprintf(w, "Hand-over %d of stage %s:\n", r.Number, r.Stage)
			for _, name := range slices.Sorted(maps.Keys(r.Files)) {
				fmt.Fprintf(w, "  %s\n", filepath.Join(c.Dir, name))
			}
			printPoints(w, doc.OpenPoints)
		})
	})
}

// handoverDate is the date that is printed: the one given, that of
// SOURCE_DATE_EPOCH (reproducible builds), or today's.
func handoverDate(text string) (time.Time, error) {
	if text != "" {
		t, err := time.Parse(time.DateOnly, text)
		if err != nil {
			return t, usagef("--date: %q is not a date like 2026-03-24", text)
		}
		return t, nil
	}
	if epoch := os.Getenv("SOURCE_DATE_EPOCH"); epoch != "" {
		n, err := strconv.ParseInt(epoch, 10, 64)
		if err != nil {
			return time.Time{}, usagef("SOURCE_DATE_EPOCH: %q is not a number of seconds", epoch)
		}
		return time.Unix(n, 0).UTC(), nil
	}
	return time.Time{}, nil
}
