//go:build !headless

package main

import (
	"context"
	"path/filepath"

	"fyne.io/fyne/v2"
	fyneapp "fyne.io/fyne/v2/app"

	"rigatino/app"
	"rigatino/app/eventlog"
	_ "rigatino/app/locale"
	"rigatino/app/look"
	"rigatino/assets"
	"rigatino/assets/demo"
)

type windowCommand struct {
	Paths    []string `arg:"" optional:"" name:"path" help:"Project, or one or two scans."`
	Unit     string   `help:"Unit of scans whose format has none: mm, cm, m or in."`
	EventLog string   `hidden:"" help:"File to write one JSON line to for every event that was handled."`
	Size     string   `hidden:"" default:"1280x800" help:"Size of the window."`
}

// Run opens the window; what is neither project nor scan was meant as a command.
func (c *windowCommand) Run(j *job) error {
	for _, p := range c.Paths {
		if missing(p) {
			return usagef("%q is no command, no project and no scan: see rigatino --help", p)
		}
	}
	if len(c.Paths) > 2 || len(c.Paths) == 2 && (isProject(c.Paths[0]) || isProject(c.Paths[1])) {
		return usagef("give one project, or one or two scans")
	}
	if _, err := unitOf("--unit", c.Unit); err != nil {
		return err
	}
	width, height, err := sizeOf(c.Size)
	if err != nil {
		return err
	}
	var log *eventlog.Log
	if c.EventLog != "" {
		if log, err = eventlog.Create(c.EventLog); err != nil {
			return err
		}
	}
	a := fyneapp.NewWithID("rigatino")
	a.SetIcon(fyne.NewStaticResource("rigatino.png", iconPNG(assets.Icon(128))))
	theme := &look.Theme{Scale: 1}
	a.Settings().SetTheme(theme)
	win := a.NewWindow("Rigatino")
	win.SetPadded(false)
	w := app.New(win, theme, app.Options{Log: log, MakeDemo: makeDemo})
	win.Resize(fyne.NewSize(width, height))
	if len(c.Paths) > 0 {
		var paths []string
		for _, p := range c.Paths {
			full, err := filepath.Abs(p)
			if err != nil {
				return err
			}
			paths = append(paths, full)
		}
		a.Lifecycle().SetOnStarted(func() { w.Open(paths, c.Unit) })
	} else {
		a.Lifecycle().SetOnStarted(func() { log.Write("ready", nil) })
	}
	// The toolkit ends its loop at an interrupt by itself, with no word to the
	// window.
	win.ShowAndRun()
	w.LetGo()
	return log.Close()
}

// makeDemo makes the demo project for the window.
func makeDemo(ctx context.Context, dir string, progress func(float64, string)) (string, error) {
	made, err := demo.Make(ctx, dir, demo.Options{}, progress)
	if err != nil {
		return "", err
	}
	return made.Project, nil
}
