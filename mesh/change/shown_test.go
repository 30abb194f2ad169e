package change

import (
	"context"
	"math"
	"testing"

	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

// Of the bent body, whose four patches are known, a picture shows change on the
// patches and nothing between them, whatever the noise.
func TestShownGapIsTheAreas(t *testing.T) {
	body := bentbody.New(1)
	s := bentbody.Scanning{Triangles: 60000, NoiseMM: 0.03}
	before, after := body.Before(s), body.After(s)
	c, err := Compare(context.Background(), before, after, frame.Identity(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	in := make([]bool, after.VertexCount())
	for _, a := range c.Areas {
		for _, f := range a.AfterFaces {
			for _, v := range after.Triangles[3*f : 3*f+3] {
				in[v] = true
			}
		}
	}
	shown, kept := c.ShownGap(), 0
	for v, g := range shown {
		switch {
		case in[v] && g != c.AfterGap[v] && !math.IsNaN(float64(g)):
			t.Fatalf("vertex %d of an area shows %v, wanted %v", v, g, c.AfterGap[v])
		case !in[v] && g != 0 && !math.IsNaN(float64(g)):
			t.Fatalf("vertex %d outside all areas shows %v", v, g)
		case in[v]:
			kept++
		}
	}
	if kept == 0 {
		t.Fatal("no vertex is in an area: the test shows nothing")
	}
}
