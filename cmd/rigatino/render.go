package main

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"os"

	"rigatino/annotate/handover"
	"rigatino/annotate/project"
)

type renderCommand struct {
	Source string `arg:"" name:"project" help:"Project, or a scan file."`
	Out    string `short:"o" required:"" help:"PNG file to write."`
	Stage  string `help:"Stage; the last with a map where none is named."`
	View   string `help:"Named view; the first where none is named."`
	Show   string `default:"map on surface" help:"as seen, map on surface, or map."`
	Width  int    `default:"1600" help:"Pixels across."`
	Height int    `default:"1000" help:"Pixels down, legend apart."`
	Unit   string `help:"Unit of a scan file whose format has none: mm, cm, m or in."`
}

// Run draws a picture.
func (c *renderCommand) Run(j *job) error {
	if c.Width < 64 || c.Height < 64 || c.Width > 8192 || c.Height > 8192 {
		return usagef("--width and --height go from 64 to 8192 pixels")
	}
	opt := handover.PictureOptions{View: c.View, Show: c.Show, Width: c.Width, Height: c.Height, Progress: j.progress}
	var img image.Image
	var view string
	draw := func(err error) error {
		if err != nil {
			return err
		}
		var buf bytes.Buffer
		if err := png.Encode(&buf, img); err != nil {
			return fmt.Errorf("code %s: %w", c.Out, err)
		}
		if err := os.WriteFile(c.Out, buf.Bytes(), 0o644); err != nil {
			return fmt.Errorf("write the picture: %w", err)
		}
		doc := struct {
			Schema int    `json:"schema"`
			File   string `json:"file"`
			View   string `json:"view"`
			Width  int    `json:"width"`
			Height int    `json:"height"`
		}{1, c.Out, view, img.Bounds().Dx(), img.Bounds().Dy()}
		return j.print(doc, func(w io.Writer) { fmt.Fprintf(w, "Drew %s: %s, %s.\n", c.Out, view, c.Show) })
	}
	if isProject(c.Source) {
		return j.look(c.Source, func(p *project.Project) (err error) {
			img, view, err = handover.Picture(j.ctx, p, c.Stage, opt)
			return draw(wrongName(err))
		})
	}
	if c.Stage != "" {
		return usagef("--stage goes with a project: %s is none", c.Source)
	}
	s, err := j.openScan(c.Source, "--unit", c.Unit)
	if err != nil {
		return err
	}
	img, view, err = handover.PictureOfScan(j.ctx, s.Mesh, opt)
	return draw(wrongName(err))
}

// wrongName makes a name that does not exist a matter of usage.
func wrongName(err error) error {
	if errors.Is(err, handover.ErrName) {
		return usageError{err}
	}
	return err
}
