package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh/scan"
)

// isProject says whether a path is a folder that holds a project.
func isProject(path string) bool {
	_, err := os.Stat(filepath.Join(path, "project.json"))
	return err == nil
}

// open opens a project and gives it to do; afterwards the project is saved where
// do returned no error, and closed.
func (j *job) open(dir string, do func(p *project.Project) error) (err error) {
	p, err := project.Open(dir, project.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.Close()) }()
	if err := do(p); err != nil {
		return err
	}
	return p.Save()
}

// look opens a project for reading only.
func (j *job) look(dir string, do func(p *project.Project) error) (err error) {
	p, err := project.Open(dir, project.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.Close()) }()
	return do(p)
}

// unitOf reads a unit flag; empty stays empty.
func unitOf(flag, text string) (scan.Unit, error) {
	if text == "" {
		return "", nil
	}
	u, err := scan.ParseUnit(text)
	if err != nil {
		return "", usagef("%s: %w", flag, err)
	}
	return u, nil
}

// openScan opens a scan file that must have a unit; flag is the one that gives
// it where the format has none.
func (j *job) openScan(path, flag, unit string) (*scan.Scan, error) {
	u, err := unitOf(flag, unit)
	if err != nil {
		return nil, err
	}
	s, err := scan.Open(j.ctx, path, scan.Options{Unit: u, Progress: j.progress})
	if err != nil {
		return nil, err
	}
	if s.Unit == "" {
		return nil, usagef("%s: the file states no unit: say which with %s mm, cm, m or in", path, flag)
	}
	return s, nil
}

// findings turns what a reader found into open points.
func findings(about string, list []scan.Finding) []annotate.OpenPoint {
	out := []annotate.OpenPoint{}
	for _, f := range list {
		out = append(out, annotate.OpenPoint{ID: f.ID, Severity: f.Severity, About: about, Reason: f.Reason, WayOut: f.WayOut})
	}
	return out
}

// missing says whether a path leads nowhere.
func missing(path string) bool {
	_, err := os.Stat(path)
	return errors.Is(err, fs.ErrNotExist)
}
