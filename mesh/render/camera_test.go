package render

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

// A point on a line of sight projects back to the pixel it was sent through, at
// its depth; turning keeps the axes square and the distance the same.
func TestCameraProjectsItsRays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		vec := func(name string) r3.Vec { return r3.Vec{X: num(name, -1, 1), Y: num(name, -1, 1), Z: num(name, -1, 1)} }
		c := LookFrom(vec("back"), vec("up"))
		c.Target = r3.Scale(100, vec("target"))
		c.DistanceMM = num("distance", 1, 500)
		c.FieldOfView = num("field", 0.1, 2)
		c.Orthographic = rapid.Bool().Draw(t, "orthographic")
		before := c.DistanceMM
		for range rapid.IntRange(0, 40).Draw(t, "turns") {
			c = c.Turned(num("yaw", -3, 3), num("pitch", -3, 3)).Rolled(num("roll", -3, 3))
		}
		for _, d := range []float64{
			r3.Dot(c.Right, c.Up), r3.Dot(c.Up, c.Back), r3.Dot(c.Back, c.Right),
			r3.Norm(c.Right) - 1, r3.Norm(c.Up) - 1, r3.Dot(r3.Cross(c.Right, c.Up), c.Back) - 1,
		} {
			if math.Abs(d) > 1e-9 {
				t.Fatalf("axes are skewed by %g", d)
			}
		}
		if got := r3.Norm(r3.Sub(c.Eye(), c.Target)); math.Abs(got-before) > 1e-9*before {
			t.Fatalf("turning changed the distance from %g to %g", before, got)
		}
		const w, h = 640, 480
		x, y := num("x", 0, w), num("y", 0, h)
		from, dir := c.Ray(x, y, w, h)
		depth := num("depth", 0.01, 10) * c.DistanceMM
		px, py, pd, ok := c.Project(r3.Add(from, r3.Scale(depth, dir)), w, h)
		if !ok || math.Hypot(px-x, py-y) > 1e-6 || math.Abs(pd-depth) > 1e-9*depth {
			t.Fatalf("%g,%g at %g comes back as %g,%g at %g", x, y, depth, px, py, pd)
		}
	})
}

// A millimetre at the target is PixelsPerMM long in the picture, with and
// without perspective.
func TestPixelsPerMM(t *testing.T) {
	c := LookFrom(r3.Vec{X: 1, Y: 1}, r3.Vec{Z: 1})
	c.DistanceMM, c.Target = 300, r3.Vec{X: 5}
	for _, c.Orthographic = range []bool{false, true} {
		x, y, _, _ := c.Project(r3.Add(c.Target, c.Right), 800, 600)
		if s := math.Hypot(x-400, y-300); math.Abs(s-c.PixelsPerMM(600)) > 1e-9 {
			t.Errorf("1 mm is %g pixels, want %g", s, c.PixelsPerMM(600))
		}
	}
}

// Positive yaw brings the camera to the right of the specimen, positive pitch
// above it.
func TestTurningGoesTheRightWay(t *testing.T) {
	c := LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1})
	if e := c.Turned(0.1, 0).Back; e.X < 0.09 {
		t.Errorf("yaw leads to %v", e)
	}
	if e := c.Turned(0, 0.1).Back; e.Y < 0.09 {
		t.Errorf("pitch leads to %v", e)
	}
	// Rolled anticlockwise, what was right is seen further up.
	r := c.Rolled(0.1)
	if _, y, _, _ := r.Project(r3.Vec{X: 0.1}, 100, 100); y > 50 {
		t.Errorf("rolled the wrong way: y = %g", y)
	}
}

// Fitted leaves the margin on the tighter sides and no corner outside, for
// closed forms of a box seen along its axes and for any direction.
func TestFitted(t *testing.T) {
	b := prepared(t, solid.Box(80, 30, 20), false)
	g := frame.Identity()
	g.T = r3.Vec{X: 1000, Y: -20, Z: 3}
	bodies := []Placed{{Body: b, BodyToScene: &g}}
	const w, h, margin = 600, 400, 25
	for _, back := range []r3.Vec{{Z: 1}, {Y: 1}, {X: 1}, {X: 1, Y: 2, Z: 3}} {
		for _, ortho := range []bool{false, true} {
			c := LookFrom(back, r3.Vec{X: 0.1, Y: 1})
			c.Orthographic = ortho
			c = c.Fitted(bodies, w, h, margin)
			lo, hi := math.Inf(1), math.Inf(-1)
			top, bottom := math.Inf(1), math.Inf(-1)
			for v := range b.mesh.VertexCount() {
				x, y, _, ok := c.Project(g.Apply(b.mesh.Vertex(uint32(v))), w, h)
				if !ok {
					t.Fatal("a corner behind the eye")
				}
				lo, hi, top, bottom = min(lo, x), max(hi, x), min(top, y), max(bottom, y)
			}
			least := min(lo, w-hi, top, h-bottom)
			if math.Abs(least-margin) > 0.01 {
				t.Errorf("from %v (orthographic %v) the margin is %.3f", back, ortho, least)
			}
		}
	}
}

// The six views: right-handed, along the axes, named after them.
func TestNamedViews(t *testing.T) {
	views := NamedViews(&Axes{Long: r3.Vec{Y: 3}, LongName: "distal", Face: r3.Vec{X: 1, Y: 0.5}, FaceName: "dorsal"})
	want := [6]struct {
		name string
		back r3.Vec
	}{
		{"dorsal", r3.Vec{X: 1}}, {"ventral", r3.Vec{X: -1}}, {"upper edge", r3.Vec{Z: 1}},
		{"lower edge", r3.Vec{Z: -1}}, {"distal end", r3.Vec{Y: 1}}, {"proximal end", r3.Vec{Y: -1}},
	}
	for i, v := range views {
		if v.Name != want[i].name || r3.Norm(r3.Sub(v.Camera.Back, want[i].back)) > 1e-12 {
			t.Errorf("view %d is %q from %v, want %q from %v", i, v.Name, v.Camera.Back, want[i].name, want[i].back)
		}
		if d := r3.Dot(r3.Cross(v.Camera.Right, v.Camera.Up), v.Camera.Back); math.Abs(d-1) > 1e-12 {
			t.Errorf("view %q is mirrored", v.Name)
		}
	}
	if r := views[0].Camera.Right; r3.Norm(r3.Sub(r, r3.Vec{Y: 1})) > 1e-12 {
		t.Errorf("the long axis runs along %v, not to the right", r)
	}
	for _, v := range NamedViews(nil) {
		if v.Name == "top" && v.Camera.Back != (r3.Vec{Y: 1}) {
			t.Errorf("top looks from %v", v.Camera.Back)
		}
	}
	if NamedViews(&Axes{})[0].Name != "front" {
		t.Error("axes without directions are named")
	}
}

// Scale bars are the longest round number of mm that fits, and are drawn as
// long as they say.
func TestScaleBar(t *testing.T) {
	for _, r := range []struct{ perMM, pixels, want float64 }{
		{4, 100, 20}, {4, 79, 10}, {1, 200, 200}, {0.03, 100, 2000}, {300, 100, 0.2}, {2, 10, 5}, {0, 100, 0},
	} {
		if got := BarLength(r.perMM, r.pixels); math.Abs(got-r.want) > 1e-12 {
			t.Errorf("%g pixels a mm, %g pixels: %g mm, want %g", r.perMM, r.pixels, got, r.want)
		}
	}
	f := NewFrame(200, 60)
	Fill(f.Picture, f.Picture.Rect, grey)
	ink, paper := TextStyle{Size: 14}, grey
	ink.Colour.A, paper.R = 255, 255
	room := ScaleBar(f.Picture, 20, 50, 20, 4, ink, paper)
	n := 0
	for x := range 200 {
		if c := f.Picture.RGBAAt(x, 47); c != grey {
			n++
		}
	}
	if n != 80 {
		t.Errorf("a bar of 20 mm at 4 pixels a mm is %d pixels long", n)
	}
	if room.Min.X > 20 || room.Max.X < 100 || room.Min.Y > 35 {
		t.Errorf("the bar says it takes %v", room)
	}
	written := 0
	for y := room.Min.Y; y < 42; y++ {
		for x := range 200 {
			if f.Picture.RGBAAt(x, y) != grey {
				written++
			}
		}
	}
	if written < 20 || BarText(0.2) != "0.2\u00a0mm" {
		t.Errorf("%d pixels of writing, %q", written, BarText(0.2))
	}
	if w := ink.Width("20 mm"); w < 30 || w > 60 {
		t.Errorf("the words are %g pixels wide", w)
	}
}
