package change

import (
	"context"
	"math"
	"testing"

	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

// Of the bent body, whose four patches are known, a picture shows change on the
// patches and nothing between them, whatever the noise, and nothing put on where
// the patch was taken off or the other way round: the list of areas names none
// there. Else nothing within them is shown otherwise than it is by more than the
// noise put in (0.03 mm on both scans, so 0.042 in the gap, three times). Faces that are left out, here the
// first tenth, move nothing.
func TestShownGapIsTheAreas(t *testing.T) {
	body := bentbody.New(1)
	const noise = 0.03
	s := bentbody.Scanning{Triangles: 60000, NoiseMM: noise}
	before, after := body.Before(s), body.After(s)
	ignore := make([]bool, after.FaceCount())
	for f := range len(ignore) / 10 {
		ignore[f] = true
	}
	for _, left := range [][]bool{nil, ignore} {
		c, err := Compare(context.Background(), before, after, frame.Identity(), Options{AfterIgnore: left})
		if err != nil {
			t.Fatal(err)
		}
		in, removed := make([]bool, after.VertexCount()), make([]bool, after.VertexCount())
		for _, a := range c.Areas {
			for _, f := range a.AfterFaces {
				for _, v := range after.Triangles[3*f : 3*f+3] {
					in[v], removed[v] = true, a.Kind == Removed
				}
			}
		}
		shown, kept, averaged := c.ShownGap(), 0, 0
		for v, g := range shown {
			off := math.Abs(float64(g) - float64(c.AfterGap[v]))
			switch {
			case !in[v] && g != 0 && !math.IsNaN(float64(g)):
				t.Fatalf("vertex %d outside all areas shows %v", v, g)
			case in[v] && g != 0 && (g < 0) != removed[v]:
				t.Fatalf("vertex %d of an area that was removed (%v) shows %v", v, removed[v], g)
			case in[v] && g == 0 && (c.AfterGap[v] < 0) != removed[v]:
			case in[v] && off > 3*math.Sqrt2*noise*1.1:
				t.Fatalf("vertex %d of an area shows %v, wanted %v", v, g, c.AfterGap[v])
			case in[v] && off > 0:
				averaged++
			}
			if in[v] {
				kept++
			}
		}
		if kept == 0 || averaged < kept/2 || averaged == kept {
			t.Errorf("of %d vertices in areas %d are shown averaged: the test shows nothing", kept, averaged)
		}
	}
}
