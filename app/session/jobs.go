package session

import (
	"context"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh/scale"
)

// What the jobs of a project take and give, by the names the window uses.
type (
	Adding      = project.Adding
	Comparison  = project.Comparison
	Scaled      = project.Scaled
	Calibration = scale.Calibration
)

// AddScan takes a scan into the project, looks at what of it is no specimen, and
// returns where it hangs now. It may
// run on any goroutine.
func (d *Desk) AddScan(ctx context.Context, a Adding) (annotate.UseKey, error) {
	added, err := d.Project.AddScan(ctx, a)
	if err != nil {
		return annotate.UseKey{}, err
	}
	_, err = d.Project.Look(ctx, added.Use.Key(), a.Progress)
	return added.Use.Key(), err
}

// Tally reckons the whole sheet of a stage, with every pair of scans up to it
// compared. It may run on any goroutine.
func (d *Desk) Tally(ctx context.Context, stage string, progress func(float64, string)) (*Sheet, error) {
	return d.Project.Tally(ctx, project.Tallying{Stage: stage, Volumes: true, Progress: progress})
}

// Verdict is the outcome of aligning, in words, and how many check points took no
// part in it with their distances, mm.
type Verdict struct {
	Use                       annotate.UseKey
	Verdict, Reason, NextStep string
	Checks                    int
	CheckRMS, CheckMax        float64
}
