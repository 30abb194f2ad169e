package picture

import (
	"context"
	"image"
	"image/color"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
	"rigatino/annotate/terms"
	"rigatino/mesh/render"
)

type rgba = color.RGBA

// View is a finished picture of the specimen from a named direction, without
// perspective, so that its scale bar holds everywhere.
type View struct {
	Name        string
	Picture     *image.RGBA
	PixelsPerMM float64
	BarMM       float64 // length of the scale bar drawn in
	// Restored is the share of the specimen's surface seen here that is fill or
	// reconstruction; nil without a map, or where more than a fifth is uncertain
	// or not examined.
	Restored *float64
}

// Options of a set of views.
type Options struct {
	Width, Height int
	Background    color.RGBA // the zero colour is white
	Axes          *render.Axes
	Only          string   // name of one view; empty for all six
	On            []r3.Vec // places, the scene's frame, that fill the picture; nil for the whole specimen
	TextPixels    float64  // size of the scale bar's words; 0 is a 45th of the height
	MarginPixels  float64  // room round the specimen; 0 is a 25th of the height
	Looks         []*Looks // of each body, for Restored; may be nil
	PixelScale    float64  // of lines given in pixels; 0 fits a picture 700 pixels high
	Progress      func(done float64, words string)
}

// Views draws the named views of bodies and lines. Each body's Marks or Change
// must be set already.
func Views(ctx context.Context, bodies []render.Placed, lines []render.Line, opt Options) ([]View, error) {
	if opt.Background == (color.RGBA{}) {
		opt.Background = terms.White
	}
	if opt.TextPixels <= 0 {
		opt.TextPixels = max(float64(opt.Height)/45, 10)
	}
	if opt.MarginPixels <= 0 {
		opt.MarginPixels = max(float64(opt.Height)/25, 6)
	}
	if opt.PixelScale <= 0 {
		opt.PixelScale = max(float64(opt.Height)/700, 1)
	}
	if opt.Progress == nil {
		opt.Progress = func(float64, string) {}
	}
	r := render.NewRenderer(0)
	defer r.Close()
	frame := render.NewFrame(opt.Width, opt.Height)
	var out []View
	named := render.NamedViews(opt.Axes)
	for i, v := range named {
		if opt.Only != "" && opt.Only != v.Name {
			continue
		}
		opt.Progress(float64(i)/float64(len(named)), "Drawing the "+v.Name+" view")
		c := v.Camera
		c.Orthographic = true
		// The scale bar stands in a strip of its own below the specimen.
		strip := 2.6 * opt.TextPixels
		c = c.Fitted(bodies, opt.Width, opt.Height-int(strip), opt.MarginPixels)
		if len(opt.On) > 0 {
			c = c.Over(opt.On, opt.Width, opt.Height-int(strip), 3*opt.MarginPixels)
		}
		c.DistanceMM *= float64(opt.Height) / (float64(opt.Height) - strip)
		c = c.Moved(0, -strip/2/c.PixelsPerMM(opt.Height))
		scene := &render.Scene{
			Camera: c, Background: opt.Background, BackFace: terms.BackFace,
			Bodies: bodies, Lines: lines, PixelScale: opt.PixelScale,
		}
		if err := r.Draw(ctx, frame, scene, render.Fine); err != nil {
			return nil, err
		}
		perMM := c.PixelsPerMM(opt.Height)
		view := View{Name: v.Name, PixelsPerMM: perMM, BarMM: render.BarLength(perMM, float64(opt.Width)/5)}
		if len(opt.Looks) == len(bodies) {
			view.Restored = restored(frame, opt.Looks)
		}
		text := render.TextStyle{Size: opt.TextPixels, Colour: terms.Outline}
		render.ScaleBar(frame.Picture, opt.MarginPixels, float64(opt.Height)-opt.TextPixels*0.4, view.BarMM, perMM, text, terms.White)
		view.Picture = image.NewRGBA(frame.Picture.Rect)
		copy(view.Picture.Pix, frame.Picture.Pix)
		out = append(out, view)
	}
	opt.Progress(1, "Drawing the views")
	return out, nil
}

// restored counts what the pixels of a frame show.
func restored(f *render.Frame, looks []*Looks) *float64 {
	var added, unknown, specimen float64
	w, h := f.Size()
	for y := range h {
		for x := range w {
			p, ok := f.Pick(float64(x)+0.5, float64(y)+0.5)
			if !ok || looks[p.Body] == nil {
				continue
			}
			l := looks[p.Body]
			if l.labels.Elsewhere(p.Face) {
				continue
			}
			number := l.labels.Substance(p.Face)
			if s := l.labels.Sub(p.Face); s != nil {
				number = s.Substance[facemap.CellAt(s.Level, p.Place.Weights)]
			}
			switch l.regions[number].Kind {
			case "matrix", "support":
				continue
			case "fill", "reconstruction":
				added++
			case "uncertain", "unassigned", "":
				unknown++
			}
			specimen++
		}
	}
	if specimen == 0 || unknown > 0.2*specimen {
		return nil
	}
	share := added / specimen
	return &share
}
