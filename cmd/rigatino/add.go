package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
)

type addCommand struct {
	Project string `arg:"" help:"Folder of the project."`
	Scan    string `arg:"" help:"Scan file: GLB, glTF, OBJ, PLY or STL, also .gz."`
	Stage   string `required:"" help:"Kind of the stage, as received, mech_coarse, fill; or the id of one that exists."`
	Date    string `help:"Date of the stage (EDTF), as 2026-03-20, 2026-03, ../1932."`
	Piece   string `default:"body" help:"Piece that the scan shows."`
	Part    string `default:"whole" help:"Part of the piece: whole, top, bottom or close_up."`
	Unit    string `help:"Unit of the file where its format has none: mm, cm, m or in."`
	Note    string `help:"A note."`
}

// Run adds a scan, bit for bit.
func (c *addCommand) Run(j *job) error {
	if _, err := unitOf("--unit", c.Unit); err != nil {
		return err
	}
	return j.open(c.Project, func(p *project.Project) error {
		a, err := p.AddScan(j.ctx, project.Adding{Path: c.Scan, Stage: c.Stage, Date: c.Date, Piece: c.Piece, Part: c.Part, Unit: c.Unit, Note: c.Note, Progress: j.progress})
		if errors.Is(err, project.ErrNoUnit) {
			return usagef("%s: %w with --unit", c.Scan, err)
		}
		if err != nil {
			return err
		}
		proposed, err := p.Look(j.ctx, a.Use.Key(), j.progress)
		if err != nil {
			return err
		}
		points := findings(c.Scan, a.Notes)
		if len(proposed) > 0 {
			for _, o := range p.OpenPoints() {
				if strings.HasPrefix(o.ID, "proposed_") && strings.HasPrefix(o.About, a.Use.Key().String()+"/") {
					points = append(points, o)
				}
			}
		}
		doc := struct {
			Schema     int                  `json:"schema"`
			Project    string               `json:"project"`
			Stage      string               `json:"stage"`
			Piece      string               `json:"piece"`
			Part       string               `json:"part"`
			Scan       string               `json:"scan"`
			Triangles  int                  `json:"triangles"`
			OpenPoints []annotate.OpenPoint `json:"open_points"`
		}{1, c.Project, a.Use.Stage, a.Use.Piece, a.Use.Part, a.Scan.ID, a.Scan.Triangles, points}
		return j.print(doc, func(w io.Writer) {
			fmt.Fprintf(w, "Added %s as %v: %d triangles.\n", c.Scan, a.Use.Key(), a.Scan.Triangles)
			printPoints(w, doc.OpenPoints)
		})
	})
}
