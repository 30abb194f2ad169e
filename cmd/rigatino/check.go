package main

import (
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
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
	var files []string
	failed := 0
	fail := func(file string, err error) {
		failed++
		doc.Scans = append(doc.Scans, checked{file: file, err: err.Error()})
	}
	for _, path := range c.Paths {
		if isProject(path) {
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
		if len(c.Paths) == 1 && missing(path) {
			return nothingAt(path)
		}
		files = append(files, scansIn(path)...)
	}
	for i, f := range files {
		r, err := c.look(j, unit, f, i, len(files))
		switch {
		case j.ctx.Err() != nil:
			return j.ctx.Err()
		case err != nil:
			fail(f, err)
		default:
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

// nothingAt says that a path leads nowhere.
func nothingAt(path string) error {
	return fmt.Errorf("%s: there is nothing there: check the path", path)
}

// look opens and checks one file, the i-th of n.
func (c *checkCommand) look(j *job, unit scan.Unit, file string, i, n int) (scan.Report, error) {
	if missing(file) {
		return scan.Report{}, nothingAt(file)
	}
	part := func(from, to float64) func(float64, string) {
		return func(done float64, words string) {
			if n > 1 {
				words = fmt.Sprintf("%d of %d, %s: %s", i+1, n, filepath.Base(file), words)
			}
			j.progress((float64(i)+from+(to-from)*done)/float64(n), words)
		}
	}
	s, err := scan.Open(j.ctx, file, scan.Options{Unit: unit, Progress: part(0, 0.3)})
	if err != nil {
		return scan.Report{}, err
	}
	r, err := scan.Check(j.ctx, s, part(0.3, 1))
	r.File = file
	return r, err
}

// besideScans are the endings of files that stand beside a scan and are read
// with it, not by themselves.
var besideScans = []string{".bin", ".json", ".mtl", ".jpg", ".jpeg", ".png", ".md", ".txt"}

// scansIn lists a file, or every file of a folder and its folders; a folder that
// cannot be looked into is listed itself, so that it gets its own entry.
func scansIn(path string) []string {
	var out []string
	_ = filepath.WalkDir(path, func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			out = append(out, p)
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
		case d.Type().IsRegular() && (p == path || !slices.Contains(besideScans, strings.ToLower(filepath.Ext(p)))):
			out = append(out, p)
		}
		return nil
	})
	return out
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
	if noise := r.Quality.Resolution.Noise; noise != nil {
		fmt.Fprintf(w, ", noise from vertex to vertex about %.2g %s", *noise, shown)
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
