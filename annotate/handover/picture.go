package handover

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/handover/picture"
	"rigatino/annotate/project"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/render"
)

// PictureOptions say what a single picture shows.
type PictureOptions struct {
	View          string // name; empty for the first
	Show          string // as seen, map on surface, or map
	Width, Height int
	Progress      func(done float64, words string)
}

// ErrName is returned for a view or a way of showing that does not exist.
var ErrName = errors.New("no such name")

// Picture draws a named view of a stage with its map, legend and scale bar, and
// returns the view's name.
func Picture(ctx context.Context, p *project.Project, stage string, opt PictureOptions) (image.Image, string, error) {
	say := opt.Progress
	if say == nil {
		say = func(float64, string) {}
	}
	show, err := showOf(opt.Show)
	if err != nil {
		return nil, "", err
	}
	m, err := bodiesOf(ctx, p, project.Tallying{Stage: stage, Progress: part(say, 0, 0.5)})
	if err != nil {
		return nil, "", err
	}
	placed, looks, lines, err := m.placed(ctx, part(say, 0.5, 0.8))
	if err != nil {
		return nil, "", err
	}
	var entries []picture.Entry
	for i, l := range looks {
		l.SetShow(show)
		placed[i].Marks = l.Marks()
		if show == picture.AsSeen {
			if _, err := placed[i].Body.LoadTextures(ctx, part(say, 0.8, 0.9)); err != nil {
				return nil, "", err
			}
			continue
		}
		if show == picture.MapOnSurface {
			if _, err := placed[i].Body.LoadTextures(ctx, part(say, 0.8, 0.9)); err != nil {
				return nil, "", err
			}
		}
		for _, e := range picture.Used(m.bodies[i].Map, m.bodies[i].Regions) {
			known := false
			for _, x := range entries {
				known = known || x == e
			}
			if !known {
				entries = append(entries, e)
			}
		}
	}
	if show == picture.AsSeen {
		lines = nil
	}
	view, err := one(ctx, placed, lines, axesOf(m.record.Specimen.Orientation), opt)
	if err != nil {
		return nil, "", err
	}
	say(1, "Drawing")
	if len(entries) == 0 {
		return view.Picture, view.Name, nil
	}
	return picture.WithLegend(view.Picture, entries, m.tileMM, max(float64(opt.Height)/45, 10)), view.Name, nil
}

// PictureOfScan draws a named view of a mesh in mm with a scale bar.
func PictureOfScan(ctx context.Context, m *mesh.Mesh, opt PictureOptions) (image.Image, string, error) {
	if _, err := showOf(opt.Show); err != nil {
		return nil, "", err
	}
	body, err := render.Prepare(ctx, m, render.Options{})
	if err != nil {
		return nil, "", err
	}
	if _, err := body.LoadTextures(ctx, opt.Progress); err != nil {
		return nil, "", err
	}
	view, err := one(ctx, []render.Placed{{Body: body}}, nil, nil, opt)
	if err != nil {
		return nil, "", err
	}
	return view.Picture, view.Name, nil
}

func one(ctx context.Context, placed []render.Placed, lines []render.Line, axes *render.Axes, opt PictureOptions) (picture.View, error) {
	named := render.NamedViews(axes)
	if opt.View == "" {
		opt.View = named[0].Name
	}
	views, err := picture.Views(ctx, placed, lines, picture.Options{Axes: axes, Only: opt.View, Width: opt.Width, Height: opt.Height})
	if err != nil {
		return picture.View{}, err
	}
	if len(views) == 0 {
		var names []string
		for _, v := range named {
			names = append(names, v.Name)
		}
		return picture.View{}, fmt.Errorf("view %q: %w; there are %q", opt.View, ErrName, names)
	}
	return views[0], nil
}

func showOf(word string) (picture.Show, error) {
	for _, s := range []picture.Show{picture.AsSeen, picture.MapOnSurface, picture.MapOnly} {
		if s.String() == word {
			return s, nil
		}
	}
	return 0, fmt.Errorf("way of showing %q: %w; there are as seen, map on surface and map", word, ErrName)
}

// tileOf is the hatch tile for the largest of the bodies.
func (m *material) tileOf() float64 {
	extent := 0.0
	for _, b := range m.bodies {
		box := mesh.Bounds(b.Surface.Mesh)
		d := r3.Sub(box.Max, box.Min)
		extent = math.Max(extent, math.Max(d.X, math.Max(d.Y, d.Z)))
	}
	return terms.TileFor(extent)
}
