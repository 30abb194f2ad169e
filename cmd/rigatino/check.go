package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh/scan"
)

type checkCommand struct {
	Paths []string `arg:"" name:"path" help:"Scan files, folders of scans, or a project."`
	Unit  string   `help:"Unit of files whose format has none: mm, cm, m or in."`
}

// checked is one entry of the document: a report, or why there is none.
type checked struct {
	report *scan.Report
	file   string
	err    string
}

func (c checked) MarshalJSON() ([]byte, error) {
	if c.report != nil {
		return c.report.MarshalJSON()
	}
	return marshal(struct {
		File       string               `json:"file"`
		Error      string               `json:"error"`
		OpenPoints []annotate.OpenPoint `json:"open_points"`
	}{c.file, c.err, []annotate.OpenPoint{{ID: "cannot_be_read", Severity: "refused", About: c.file, Reason: c.err, WayOut: "save the scan again or copy it again"}}})
}

// Run looks at every file; one that cannot be read never stops the others.
func (c *checkCommand) Run(j *job) error {
	unit, err := unitOf("--unit", c.Unit)
	if err != nil {
		return err
	}
	var doc struct {
		Schema     int                  `json:"schema"`
		Scans      []checked            `json:"scans"`
		Scan       *checked             `json:"scan,omitempty"`
		OpenPoints []annotate.OpenPoint `json:"open_points"`
	}
	doc.Schema, doc.Scans, doc.OpenPoints = 1, []checked{}, []annotate.OpenPoint{}
	failed := 0
	for _, path := range c.Paths {
		switch {
		case missing(path):
			return fmt.Errorf("%s: there is nothing there: check the path", path)
		case isProject(path):
			if err := j.look(path, func(p *project.Project) error {
				p.Verify(j.ctx, j.progress) // what it finds is among the open points
				if err := j.ctx.Err(); err != nil {
					return err
				}
				doc.OpenPoints = append(doc.OpenPoints, p.OpenPoints()...)
				return nil
			}); err != nil {
				return err
			}
			continue
		}
		files, err := scansIn(path)
		if err != nil {
			return err
		}
		for _, f := range files {
			s, err := scan.Open(j.ctx, f, scan.Options{Unit: unit, Progress: j.progress})
			if errors.Is(err, context.Canceled) {
				return err
			}
			if err != nil {
				failed++
				doc.Scans = append(doc.Scans, checked{file: f, err: err.Error()})
				continue
			}
			r := scan.Check(s)
			r.File = f
			doc.Scans = append(doc.Scans, checked{report: &r})
		}
	}
	if len(doc.Scans) == 1 {
		doc.Scan = &doc.Scans[0]
	}
	if err := j.print(doc, func(w io.Writer) {
		for _, s := range doc.Scans {
			s.print(w)
		}
		printPoints(w, doc.OpenPoints)
	}); err != nil {
		return err
	}
	if failed > 0 && failed == len(doc.Scans) && len(doc.OpenPoints) == 0 {
		return fmt.Errorf("%s", doc.Scans[0].err)
	}
	return nil
}

// scansIn lists a file, or every file of a folder and its folders.
func scansIn(path string) ([]string, error) {
	var out []string
	err := filepath.WalkDir(path, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.Type().IsRegular() {
			ext := strings.ToLower(filepath.Ext(p))
			// What stands beside a scan is read with it, not by itself.
			if p == path || ext != ".bin" && ext != ".mtl" && ext != ".json" && ext != ".jpg" && ext != ".jpeg" && ext != ".png" && ext != ".md" && ext != ".txt" {
				out = append(out, p)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("look into %s: %w", path, err)
	}
	return out, nil
}

func (c checked) print(w io.Writer) {
	r := c.report
	if r == nil {
		fmt.Fprintf(w, "%s\n  %s\n", c.file, c.err)
		return
	}
	unit, closed := string(r.Unit), "open"
	if unit == "" {
		unit = "units of the file"
	}
	if r.Closed {
		closed = "closed"
	}
	fmt.Fprintf(w, "%s\n  %s, %d triangles, %d vertices (%d places), %d parts, %s: %d border and %d non-manifold edges\n", r.File, r.Format, r.Triangles, r.Vertices, r.Welded, r.Components, closed, r.BorderEdges, r.NonManifoldEdges)
	shown := "mm"
	if r.Unit == "" {
		shown = unit
	}
	d := r.Bounds.Diagonal()
	fmt.Fprintf(w, "  size %.6g %s corner to corner, area %.6g %s², mean edge %.4g %s", d, shown, r.Area, shown, r.MeanEdge, shown)
	if r.Volume != nil {
		fmt.Fprintf(w, ", volume %.6g %s³", *r.Volume, shown)
	}
	fmt.Fprintf(w, "\n  SHA-256 %s\n", r.SHA256)
	printPoints(w, findings("", r.OpenPoints))
}

// printPoints lists open points, each with its way out.
func printPoints(w io.Writer, points []annotate.OpenPoint) {
	for _, p := range points {
		about := ""
		if p.About != "" {
			about = p.About + ": "
		}
		fmt.Fprintf(w, "  %-8s %s%s; %s\n", p.Severity, about, p.Reason, p.WayOut)
	}
}
