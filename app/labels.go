package app

import (
	"image"
	"sync"

	"rigatino/annotate/terms"
	"rigatino/app/look"
	"rigatino/app/session"
	"rigatino/app/tool"
	"rigatino/mesh/render"
)

// labelling remembers where the regions lie in the settled picture of a camera.
// It is filled by whoever draws that picture.
type labelling struct {
	mu     sync.Mutex
	camera render.Camera
	size   image.Point
	labels []tool.Label
}

// spot is the visible part of a region as far as it was sampled.
type spot struct {
	count int
	x, y  float64
}

// labelStep is the distance of the places looked at, pixels.
const labelStep = 7

// named is what has its name beside the specimen.
type named struct{ id, words string }

// find looks where what has a name is in a picture: at a grid of places it asks
// what is there, and takes for each the place nearest to the middle of what is
// seen of it. What takes few pixels has no label.
func (l *labelling) find(f *render.Frame, nameAt func(p render.Picked) (named, bool)) []tool.Label {
	w, h := f.Size()
	seen := map[string]*spot{}
	var order []named
	places := map[string][]tool.Point{}
	for y := labelStep / 2; y < h; y += labelStep {
		for x := labelStep / 2; x < w; x += labelStep {
			p, ok := f.Pick(float64(x)+0.5, float64(y)+0.5)
			if !ok || p.Inside {
				continue
			}
			g, ok := nameAt(p)
			if !ok {
				continue
			}
			s := seen[g.id]
			if s == nil {
				s = &spot{}
				seen[g.id] = s
				order = append(order, g)
			}
			s.count++
			s.x += float64(x)
			s.y += float64(y)
			places[g.id] = append(places[g.id], tool.Point{X: float64(x), Y: float64(y)})
		}
	}
	var out []tool.Label
	for _, g := range order {
		s := seen[g.id]
		if s.count < 4 {
			continue
		}
		mid := tool.Point{X: s.x / float64(s.count), Y: s.y / float64(s.count)}
		best := places[g.id][0]
		for _, p := range places[g.id] {
			if sq(p.X-mid.X)+sq(p.Y-mid.Y) < sq(best.X-mid.X)+sq(best.Y-mid.Y) {
				best = p
			}
		}
		out = append(out, tool.Label{Words: g.words, At: best})
	}
	return out
}

func sq(v float64) float64 { return v * v }

// regionNames names the regions of the use in view, each with its area where that
// is known, but for the rest and those whose pattern is hidden.
func (w *Window) regionNames(b *session.Body) func(p render.Picked) (named, bool) {
	regionAt := w.desk.RegionFinder(b)
	names := map[string]string{} // to show; made here, since the painter asks on its own goroutine
	for _, g := range w.desk.RegionsHere() {
		if g.Rest || w.desk.Hidden(g.ID) {
			continue
		}
		names[g.ID] = g.ID + " " + terms.Label(terms.List(g.Layer), g.Kind)
		if area := w.areas[g.ID]; area != "" {
			names[g.ID] += ", " + area
		}
	}
	return func(p render.Picked) (named, bool) {
		g, ok := regionAt(p)
		words := names[g.ID]
		return named{g.ID, words}, ok && words != ""
	}
}

// overLabels draws names beside the specimen, each with a leader to its place.
func (w *Window) overLabels(nameAt func(p render.Picked) (named, bool)) func(img *image.RGBA, f *render.Frame) {
	th := look.Current()
	c := th.Colours()
	scale := float64(w.win.Canvas().Scale())
	style := render.TextStyle{Size: float64(th.Px(look.TextCaption)) * scale, Colour: toRGBA(c.Ink)}
	height := int(style.Size * 1.7)
	top := int((float64(th.Px(36)) + 28) * scale)
	return func(img *image.RGBA, f *render.Frame) {
		fw, fh := f.Size()
		l := &w.labels
		l.mu.Lock()
		defer l.mu.Unlock()
		if whole := img.Rect.Dx() == fw && img.Rect.Dy() == fh; whole && f.Settled() {
			found := l.find(f, nameAt)
			for i := range found {
				found[i].Wide = style.Width(found[i].Words) + 14*scale
			}
			room := image.Rect(int(12*scale), top, fw-int(12*scale), fh-top-int(style.Size))
			l.labels, l.camera, l.size = tool.LayLabels(found, room, height, int(6*scale)), f.Camera(), image.Pt(fw, fh)
		}
		if l.camera != f.Camera() || l.size != image.Pt(fw, fh) {
			return
		}
		for _, q := range l.labels {
			x, y := float64(q.Box.Max.X), float64(q.Box.Min.Y+q.Box.Max.Y)/2
			if q.Box.Min.X > fw/2 {
				x = float64(q.Box.Min.X)
			}
			render.Stretch(img, x, y, q.At.X, q.At.Y, 4*scale, ground())
			render.Stretch(img, x, y, q.At.X, q.At.Y, 1.5*scale, toRGBA(c.Ink))
			render.Dot(img, q.At.X, q.At.Y, 3.5*scale, toRGBA(c.Ink))
		}
		for _, q := range l.labels {
			render.Fill(img, q.Box, toRGBA(c.Card))
			render.Outline(img, q.Box, max(int(scale), 1), toRGBA(c.Edge))
			style.Draw(img, float64(q.Box.Min.X)+7*scale, float64(q.Box.Max.Y)-style.Size*0.55, q.Words)
		}
	}
}
