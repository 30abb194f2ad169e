package picture

import (
	"context"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/render"
)

// Seen is what a named view shows of the areas of a body.
type Seen struct {
	View  string
	Share float64  // of the body as this view shows it that the largest area seen takes, 0 to 1
	Area  int      // the largest area seen
	At    []r3.Vec // places seen on it, the scene's frame, mm
}

// Size of the pictures that views are compared by, pixels.
const seenWide, seenHigh = 240, 160

// MostSeen names the view that shows most of the areas of a body, as projected
// and with what lies behind other surface left out; on a tie the first. areaOf
// gives the area of a scan face, false for none. MostSeen is false where no view
// shows any.
func MostSeen(ctx context.Context, body render.Placed, areaOf func(face uint32) (int, bool), axes *render.Axes) (Seen, bool, error) {
	r := render.NewRenderer(0)
	defer r.Close()
	f := render.NewFrame(seenWide, seenHigh)
	bodies := []render.Placed{body}
	var best Seen
	most := 0.0
	for _, v := range render.NamedViews(axes) {
		c := v.Camera
		c.Orthographic = true
		c = c.Fitted(bodies, seenWide, seenHigh, 2)
		if err := r.Draw(ctx, f, &render.Scene{Camera: c, Bodies: bodies}, render.Settled); err != nil {
			return Seen{}, false, err
		}
		all, shown := 0, 0
		at := map[int][]r3.Vec{}
		largest := -1
		for y := range seenHigh {
			for x := range seenWide {
				p, ok := f.Pick(float64(x)+0.5, float64(y)+0.5)
				if !ok {
					continue
				}
				all++
				a, ok := areaOf(p.Face)
				if !ok {
					continue
				}
				shown++
				at[a] = append(at[a], p.Point)
				if n := len(at[a]); largest < 0 || n > len(at[largest]) {
					largest = a
				}
			}
		}
		perMM := c.PixelsPerMM(seenHigh)
		if mm2 := float64(shown) / (perMM * perMM); mm2 > most {
			most = mm2
			best = Seen{View: v.Name, Share: float64(len(at[largest])) / float64(all), Area: largest, At: at[largest]}
		}
	}
	return best, most > 0, nil
}
