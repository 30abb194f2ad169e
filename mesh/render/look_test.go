package render

import (
	"image"
	"image/color"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

// straight looks down on the plane z = 0 with so many pixels a mm.
func straight(perMM float64, h int) Camera {
	c := LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1})
	c.Orthographic = true
	c.DistanceMM = float64(h) / perMM / (2 * math.Tan(c.FieldOfView/2))
	return c
}

// evenLight shades nothing: a surface keeps its colour.
func evenLight() Light { return Light{Toward: r3.Vec{Z: 1}, Ambient: 1} }

// Hatching has its true size on the surface: lines with a period of 2 mm along
// u+v, seen at 10 pixels a mm, are where the function says, and with a tile
// twice as long they are twice as far apart. Below 2.5 pixels a mm nothing is
// left but paper.
func TestPatternsHaveTheirSizeInMM(t *testing.T) {
	const w, h = 200, 200
	m := solid.Plane(60, 6)
	lines := NewPattern(4, func(u, v float64) (bool, bool) { return math.Mod(u+v+4000, 2) < 1, false })
	paper, ink := color.RGBA{240, 200, 90, 255}, color.RGBA{20, 10, 0, 255}
	marks := &Marks{Looks: []Look{{Paper: paper, Opacity: 1, Inks: []Ink{{Pattern: lines, Colour: ink}}}}}
	s := &Scene{Light: evenLight(), Bodies: []Placed{{Body: prepared(t, m, false), Marks: marks}}}
	for _, r := range []struct{ perMM, tile float64 }{{10, 0}, {10, 8}, {40, 0}, {200, 0}} {
		marks.TileMM = r.tile
		k := 1.0
		if r.tile > 0 {
			k = r.tile / 4
		}
		s.Camera = straight(r.perMM, h)
		f := drawn(t, s, w, h, Settled, 1)
		wrong, asked := 0, 0
		for y := range h {
			for x := range w {
				u, v := (float64(x)+0.5-w/2)/r.perMM, (h/2-float64(y)-0.5)/r.perMM
				phase := math.Mod((u+v)/k+4000, 2)
				// Within a pixel of an edge it may be either.
				if d := math.Min(math.Abs(phase-1), math.Min(phase, 2-phase)); d*k*r.perMM < 1.5+r.perMM/64 {
					continue
				}
				asked++
				want := paper
				if phase < 1 {
					want = ink
				}
				if got := f.Picture.RGBAAt(x, y); absDiff(got.R, want.R) > 8 {
					wrong++
				}
			}
		}
		if wrong > 0 || asked < w*h/4 {
			t.Errorf("%.1f pixels a mm, tile %g: %d of %d pixels wrong", r.perMM, r.tile, wrong, asked)
		}
	}
	marks.TileMM = 0
	s.Camera = straight(2.4, h)
	f := drawn(t, s, w, h, Settled, 1)
	if got := f.Picture.RGBAAt(w/2, h/2); got != paper {
		t.Errorf("at 2.4 pixels a mm %v is drawn, not plain paper", got)
	}
}

// Box projection: on each face of a cube a pattern of dots at 4 mm is seen
// straight on, none is stretched.
func TestBoxProjectionOnACube(t *testing.T) {
	const w, h = 160, 160
	m := solid.Cube(16)
	// One normal a face: a cube's corners are sharp.
	flat := &mesh.Mesh{}
	for f := range m.FaceCount() {
		n := m.AreaVector(uint32(f))
		n = r3.Scale(1/r3.Norm(n), n)
		for _, v := range m.Triangles[3*f : 3*f+3] {
			flat.Triangles = append(flat.Triangles, uint32(len(flat.Positions)/3))
			flat.Positions = append(flat.Positions, m.Positions[3*v:3*v+3]...)
			flat.Normals = append(flat.Normals, float32(n.X), float32(n.Y), float32(n.Z))
		}
	}
	dots := NewPattern(4, func(u, v float64) (bool, bool) {
		a, b := math.Mod(u+402, 4)-2, math.Mod(v+402, 4)-2
		return math.Hypot(a, b) < 1, false
	})
	black := color.RGBA{A: 255}
	marks := &Marks{Looks: []Look{{Paper: color.RGBA{255, 255, 255, 255}, Opacity: 1, Inks: []Ink{{Pattern: dots, Colour: black}}}}}
	b := prepared(t, flat, false)
	for _, v := range NamedViews(nil) {
		c := v.Camera
		c.Orthographic, c.DistanceMM = true, h/10.0/(2*math.Tan(c.FieldOfView/2))
		f := drawn(t, &Scene{Camera: c, Light: evenLight(), Bodies: []Placed{{Body: b, Marks: marks}}}, w, h, Settled, 1)
		dark := 0
		for i := 0; i < len(f.Picture.Pix); i += 4 {
			dark += 255 - int(f.Picture.Pix[i])
		}
		// A dot of radius 1 in 16 mm².
		if share := float64(dark) / 255 / (w * h); math.Abs(share-math.Pi/16) > 0.004 {
			t.Errorf("%s: ink on %.4f of the face, want %.4f", v.Name, share, math.Pi/16)
		}
	}
}

// Outlines run where the group changes, a pixel and a half wide, and not where
// only the look changes.
func TestOutlines(t *testing.T) {
	const w, h = 100, 100
	m := solid.Plane(100, 10)
	marks := &Marks{
		Faces: make([]uint16, m.FaceCount()), Outline: color.RGBA{A: 255},
		Looks: []Look{
			{},
			{Paper: color.RGBA{250, 0, 0, 255}, Opacity: 1, Edge: 7},
			{Paper: color.RGBA{0, 250, 0, 255}, Opacity: 1, Edge: 7},
			{Paper: color.RGBA{0, 0, 250, 255}, Opacity: 1, Edge: 9},
		},
	}
	// Columns 20 mm wide: nothing, red, green, blue, nothing.
	for f := range marks.Faces {
		a, b, c := m.Corners(uint32(f))
		x := (a.X+b.X+c.X)/3 + 50
		marks.Faces[f] = uint16([]int{0, 1, 2, 3, 0}[int(x/20)])
	}
	white := color.RGBA{255, 255, 255, 255}
	s := &Scene{Camera: straight(1, h), Light: evenLight(), Bodies: []Placed{{Body: prepared(t, m, false), Marks: marks, Plain: white}}}
	f := drawn(t, s, w, h, Settled, 1)
	row := func(x int) color.RGBA { return f.Picture.RGBAAt(x, 50) }
	for _, r := range []struct {
		x    int
		want color.RGBA
	}{
		{10, white}, {19, color.RGBA{128, 128, 128, 255}}, {20, color.RGBA{A: 255}}, {30, color.RGBA{250, 0, 0, 255}},
		{39, color.RGBA{250, 0, 0, 255}}, {40, color.RGBA{0, 250, 0, 255}}, // one group: no line
		{59, color.RGBA{0, 125, 0, 255}}, {60, color.RGBA{A: 255}}, {61, color.RGBA{0, 0, 250, 255}},
		{79, color.RGBA{A: 255}}, {80, color.RGBA{128, 128, 128, 255}}, {81, white},
	} {
		if got := row(r.x); absDiff(got.R, r.want.R) > 1 || absDiff(got.G, r.want.G) > 1 || absDiff(got.B, r.want.B) > 1 {
			t.Errorf("x = %d is %v, want %v", r.x, got, r.want)
		}
	}
}

// A face whose parts differ is asked for each place with the weights of its
// corners: here the part nearest the first corner is blue.
func TestSplitFaces(t *testing.T) {
	const w, h = 120, 120
	m := &mesh.Mesh{Positions: []float32{-50, -50, 0, 50, -50, 0, 0, 50, 0}, Triangles: []uint32{0, 1, 2}}
	red, blue := color.RGBA{255, 0, 0, 255}, color.RGBA{0, 0, 255, 255}
	marks := &Marks{
		Faces: []uint16{Split}, Looks: []Look{{Paper: red, Opacity: 1}, {Paper: blue, Opacity: 1}},
		At: func(face uint32, weights [3]float64) uint16 {
			if face == 0 && weights[0] > 0.5 {
				return 1
			}
			return 0
		},
	}
	f := drawn(t, &Scene{Camera: straight(1, h), Light: evenLight(), Bodies: []Placed{{Body: prepared(t, m, false), Marks: marks}}}, w, h, Settled, 1)
	n := 0
	for y := range h {
		for x := range w {
			p, ok := f.Pick(float64(x)+0.5, float64(y)+0.5)
			if !ok || math.Abs(p.Place.Weights[0]-0.5) < 1e-4 {
				continue
			}
			want := red
			if p.Place.Weights[0] > 0.5 {
				want, n = blue, n+1
			}
			if got := f.Picture.RGBAAt(x, y); got != want {
				t.Fatalf("%d,%d with weight %.3f is %v", x, y, p.Place.Weights[0], got)
			}
		}
	}
	// A quarter of 5000 mm².
	if math.Abs(float64(n)-1250) > 60 {
		t.Errorf("%d pixels of the first part, want about 1250", n)
	}
}

// Change on a plane that rises evenly: grey below the smallest change, ramp by
// thickness, a contour at every whole mm removed, a rim round what was added,
// the undefined in its own look.
func TestChangeColours(t *testing.T) {
	const w, h = 200, 60
	m := solid.Plane(200, 40)
	ch := &Change{
		Values: make([]float32, m.VertexCount()), SmallestMM: 0.5, FullMM: 4.5, StepMM: 1,
		Unchanged: grey, Contour: color.RGBA{1, 2, 3, 255}, Rim: color.RGBA{4, 5, 6, 255},
		Undefined: Look{Paper: color.RGBA{255, 0, 255, 255}, Opacity: 1},
	}
	var removed, added [256]color.RGBA
	for i := range removed {
		removed[i], added[i] = color.RGBA{0, 0, uint8(i), 255}, color.RGBA{uint8(i), 0, 0, 255}
	}
	ch.Removed, ch.Added = &removed, &added
	for v := range ch.Values {
		x := m.Vertex(uint32(v)).X
		ch.Values[v] = float32(x / 20) // from -5 to 5 mm
		if x > 90 {
			ch.Values[v] = float32(math.NaN())
		}
	}
	f := drawn(t, &Scene{Camera: straight(1, h), Light: evenLight(), Bodies: []Placed{{Body: prepared(t, m, false), Change: ch}}}, w, h, Settled, 1)
	contours := 0
	for x := range w {
		got := f.Picture.RGBAAt(x, h/2)
		v := (float64(x) + 0.5 - w/2) / 20
		switch {
		case v > 85.0/20:
			if x > 191 && got != (color.RGBA{255, 0, 255, 255}) {
				t.Errorf("undefined at %d is %v", x, got)
			}
		case got == ch.Contour:
			contours++
			if k := math.Abs(v); math.Abs(k-math.Round(k)) > 1.0/20 || k < 0.9 {
				t.Errorf("a contour at %g mm", v)
			}
		case math.Abs(v) < 0.5-1e-3:
			if got != grey {
				t.Errorf("%g mm is %v, not grey", v, got)
			}
		case v < -0.5:
			want := uint8(math.Round(min(255*(-v-0.5)/4, 255)))
			if absDiff(got.B, want) > 1 || got.R != 0 {
				t.Errorf("%g mm is %v, want blue %d", v, got, want)
			}
		case v > 0.5 && v < 0.5+3.0/20-1e-6:
			if got != ch.Rim {
				t.Errorf("no rim at %g mm: %v", v, got)
			}
		case v > 0.7:
			want := uint8(math.Round(min(255*(v-0.5)/4, 255)))
			if absDiff(got.R, want) > 1 || got.B != 0 {
				t.Errorf("%g mm is %v, want red %d", v, got, want)
			}
		}
	}
	// At 1, 2, 3 and 4 mm.
	if contours != 4 {
		t.Errorf("%d contours, want 4", contours)
	}
}

// Lines have their width in mm, dashes and stitches their length, and what lies
// behind the surface is hidden unless it is drawn through.
func TestLines(t *testing.T) {
	const w, h = 200, 100
	m := solid.Plane(300, 3)
	b := prepared(t, m, false)
	white, blue := color.RGBA{255, 255, 255, 255}, color.RGBA{0, 0, 255, 255}
	black := color.RGBA{A: 255}
	line := Line{Points: []r3.Vec{{X: -40}, {X: 40}}, Ink: blue, Casing: black, WidthMM: 2, CasingMM: 1}
	draw := func(l Line) *Frame {
		return drawn(t, &Scene{Camera: straight(2, h), Light: evenLight(), Bodies: []Placed{{Body: b, Plain: white}}, Lines: []Line{l}}, w, h, Settled, 1)
	}
	// ink is the area of blue on white, in pixels, shares counted.
	ink := func(l Line) (sum float64) {
		l.Casing = color.RGBA{}
		f := draw(l)
		for i := 0; i < len(f.Picture.Pix); i += 4 {
			sum += float64(255-f.Picture.Pix[i]) / 255
		}
		return sum
	}
	f := draw(line)
	// 80 × 2 mm and a round end at both sides, at 4 pixels a mm².
	if n, want := ink(line), 4*(160+math.Pi); math.Abs(n-want) > 2 {
		t.Errorf("%.1f pixels of ink, want about %.0f", n, want)
	}
	if got := f.Picture.RGBAAt(100, 50-3); got != black {
		t.Errorf("no casing beside the line: %v", got)
	}
	dashed := line
	dashed.DashMM = []float64{5, 3}
	// Ten dashes of 5 mm; the ends of each are round.
	if n, want := ink(dashed), 4*10*(10+math.Pi); math.Abs(n-want) > 10 {
		t.Errorf("%.1f pixels of dashes, want about %.0f", n, want)
	}
	ticks := line
	ticks.TickMM, ticks.TickAtMM = 8, 16
	f = draw(ticks)
	for i := range 5 {
		x := 20 + 16*2*i + 16
		if got := f.Picture.RGBAAt(x, 50-7); got != blue {
			t.Errorf("no stitch at x = %d: %v", x, got)
		}
		if got := f.Picture.RGBAAt(x+16, 50-7); got == blue {
			t.Errorf("a stitch at x = %d", x+16)
		}
	}
	double := line
	double.WidthMM, double.GapMM = 1, 4
	f = draw(double)
	if up, mid, down := f.Picture.RGBAAt(100, 45), f.Picture.RGBAAt(100, 50), f.Picture.RGBAAt(100, 54); up != blue || down != blue || mid != black {
		t.Errorf("double line: %v %v %v", up, mid, down)
	}
	hidden := line
	hidden.Points = []r3.Vec{{X: -40, Z: -10}, {X: 40, Z: -10}}
	if n := ink(hidden); n != 0 {
		t.Errorf("%.1f pixels of a hidden line", n)
	}
	hidden.Through = true
	if n, want := ink(hidden), ink(line); n != want {
		t.Errorf("%.1f pixels of a line drawn through, want %.1f", n, want)
	}
	// Thin lines stay visible: never under 1.5 pixels.
	thin := line
	thin.WidthMM, thin.CasingMM = 0.01, 0
	if n, want := ink(thin), 1.5*160; n < want {
		t.Errorf("%.1f pixels of a thin line, want %.0f", n, want)
	}
}

// The brush ring lies where the surface is at its radius: on a plane a circle,
// on a sphere the circle that the ball cuts, also when seen askew.
func TestRing(t *testing.T) {
	const w, h = 300, 300
	white, black := color.RGBA{255, 255, 255, 255}, color.RGBA{A: 255}
	centre := r3.Vec{Z: 30}
	s := &Scene{
		Light:  evenLight(),
		Bodies: []Placed{{Body: prepared(t, solid.Icosphere(6, 30), true), Plain: grey}},
		Ring:   &Ring{Centre: centre, RadiusMM: 9, Inner: black, Outer: white},
	}
	for _, back := range []r3.Vec{{Z: 1}, {X: 0.8, Z: 1}} {
		s.Camera = LookFrom(back, r3.Vec{Y: 1}).Whole(r3.Vec{}, 30, w, h).Nearer(1.5)
		f := drawn(t, s, w, h, Settled, 1)
		n := 0
		for y := range h {
			for x := range w {
				p, ok := f.Pick(float64(x)+0.5, float64(y)+0.5)
				if !ok {
					continue
				}
				off := math.Abs(r3.Norm(r3.Sub(p.Point, centre)) - 9)
				pixel := 1 / s.Camera.PixelsPerMM(h)
				switch c := f.Picture.RGBAAt(x, y); c {
				case black:
					n++
					if off > 2*pixel {
						t.Fatalf("ring drawn %.3f mm off at %d,%d", off, x, y)
					}
				case grey:
					if off < 0.3*pixel {
						t.Fatalf("no ring at %d,%d", x, y)
					}
				}
				if !image.Pt(x, y).In(f.RingRect(s.Ring)) && f.Picture.RGBAAt(x, y) != grey {
					t.Fatalf("the ring reaches outside its rectangle at %d,%d", x, y)
				}
			}
		}
		if n < 100 {
			t.Errorf("%d pixels of ring", n)
		}
	}
}

func TestLoupeAndDateEdge(t *testing.T) {
	const w, h = 120, 100
	a, b := image.NewRGBA(image.Rect(0, 0, w, h)), image.NewRGBA(image.Rect(0, 0, w, h))
	red, blue, rim, dark := color.RGBA{200, 0, 0, 255}, color.RGBA{0, 0, 200, 255}, color.RGBA{0, 90, 120, 255}, color.RGBA{20, 20, 20, 255}
	Fill(a, a.Rect, red)
	Fill(b, b.Rect, blue)
	Loupe(a, b, Glass{X: 60, Y: 50, Radius: 30, Rim: rim, Casing: dark})
	for _, r := range []struct {
		x, y int
		want color.RGBA
	}{{60, 50, blue}, {60, 24, blue}, {90, 50, rim}, {92, 50, dark}, {95, 50, red}, {0, 0, red}} {
		if got := a.RGBAAt(r.x, r.y); max(absDiff(got.R, r.want.R), absDiff(got.G, r.want.G), absDiff(got.B, r.want.B)) > 1 {
			t.Errorf("loupe at %d,%d is %v, want %v", r.x, r.y, got, r.want)
		}
	}
	// Half outside the picture is no harm.
	Loupe(a, b, Glass{X: -5, Y: 200, Radius: 150, Rim: rim, Casing: dark, Scale: 2})

	Fill(a, a.Rect, red)
	DateEdge(a, b, 40, rim, dark, 1)
	for _, r := range []struct {
		x    int
		want color.RGBA
	}{{10, red}, {36, red}, {38, dark}, {39, rim}, {40, rim}, {41, dark}, {44, blue}, {119, blue}} {
		if got := a.RGBAAt(r.x, 50); got != r.want {
			t.Errorf("date edge at %d is %v, want %v", r.x, got, r.want)
		}
	}
	DateEdge(a, b, -50, rim, dark, 1)
	DateEdge(a, b, 1e9, rim, dark, 1)
}

// A surface seen from its back is tinted, seen from its front it is not.
func TestBackFaces(t *testing.T) {
	const w, h = 40, 40
	b := prepared(t, solid.Plane(60, 2), false)
	tint := color.RGBA{200, 100, 100, 255}
	s := &Scene{Camera: straight(1, h), Light: evenLight(), BackFace: tint, Bodies: []Placed{{Body: b, Plain: grey}}}
	if c := drawn(t, s, w, h, Settled, 1).Picture.RGBAAt(20, 20); c != grey {
		t.Errorf("front is %v", c)
	}
	s.Camera = LookFrom(r3.Vec{Z: -1}, r3.Vec{Y: 1}).Whole(r3.Vec{}, 10, w, h)
	f := drawn(t, s, w, h, Settled, 1)
	if c := f.Picture.RGBAAt(20, 20); c.R < c.G+20 {
		t.Errorf("back is %v", c)
	}
	if p, ok := f.Pick(20, 20); !ok || !p.Inside {
		t.Errorf("back is picked as %v", p)
	}
}

// Raking light shows relief that light from the eye hides: on a plane with low
// ridges the spread of grey grows.
func TestRakingLightShowsRelief(t *testing.T) {
	const w, h = 100, 100
	m := solid.Plane(60, 120)
	for v := 0; v < len(m.Positions); v += 3 {
		m.Positions[v+2] = 0.05 * float32(math.Sin(float64(m.Positions[v])*2))
	}
	s := &Scene{Camera: straight(2, h), Bodies: []Placed{{Body: prepared(t, m, false), Plain: grey}}}
	spread := func(l Light) float64 {
		s.Light = l
		f := drawn(t, s, w, h, Settled, 1)
		var sum, sum2 float64
		for i := 0; i < len(f.Picture.Pix); i += 4 {
			g := float64(f.Picture.Pix[i])
			sum += g
			sum2 += g * g
		}
		n := float64(w * h)
		return math.Sqrt(sum2/n-sum/n*sum/n) / (sum / n)
	}
	along, across, plain := spread(RakingLight(math.Pi/2, 0.15)), spread(RakingLight(0, 0.15)), spread(DefaultLight())
	if across < 3*plain || across < 3*along {
		t.Errorf("spread of grey: raking across %.3f, along %.3f, usual light %.3f", across, along, plain)
	}
}

// Picking returns the face and place that the brute-force ray meets, also on a
// body that was moved.
func TestPick(t *testing.T) {
	const w, h = 160, 120
	m := solid.Ellipsoid(3, 50, 30, 20)
	g := frame.Rotation(r3.Vec{X: 1, Z: 2}, 2)
	g.T = r3.Vec{X: 7, Y: -300, Z: 12}
	camera := LookFrom(r3.Vec{X: 0.3, Y: -0.5, Z: 0.8}, r3.Vec{Y: 1}).Whole(g.T, 50, w, h)
	for _, q := range []Quality{Settled, Fine} {
		f := drawn(t, &Scene{Camera: camera, Bodies: []Placed{{Body: prepared(t, m, true), BodyToScene: &g}}}, w, h, q, 1)
		hits, others := 0, 0
		for y := range h {
			for x := range w {
				p, ok := f.Pick(float64(x)+0.25, float64(y)+0.25)
				if !ok {
					continue
				}
				hits++
				// The sample's own middle is what was seen.
				sx, sy := float64(x)+0.5, float64(y)+0.5
				if q == Fine {
					sx, sy = float64(x)+0.25, float64(y)+0.25
				}
				px, py, depth, _ := camera.Project(p.Point, w, h)
				if math.Hypot(px-sx, py-sy) > 0.02 || math.Abs(depth-p.Depth) > 1e-3*depth {
					t.Fatalf("%d,%d: the place lies at %.3f,%.3f, depth %g and %g", x, y, px, py, depth, p.Depth)
				}
				if d := r3.Norm(r3.Sub(g.Apply(m.At(p.Place)), p.Point)); d > 1e-4 {
					t.Fatalf("%d,%d: place and point are %g mm apart", x, y, d)
				}
				if r3.Dot(p.Normal, camera.Back) < -0.3 {
					t.Fatalf("%d,%d: the normal looks away", x, y)
				}
				if x%7 == 0 && y%5 == 0 {
					back := g.Inverse()
					from, dir := camera.Ray(sx, sy, w, h)
					if face, _, _ := meets(m, back.Apply(from), back.Turn(dir), 0); face != int(p.Face) {
						others++
					}
				}
			}
		}
		if hits < 3000 || others > 2 {
			t.Errorf("quality %d: %d places, %d on another face than the ray's", q, hits, others)
		}
		for _, at := range [][2]float64{{-1, 5}, {5, -0.1}, {w, 5}, {5, h + 3}, {0, 0}, {math.NaN(), 2}} {
			if _, ok := f.Pick(at[0], at[1]); ok {
				t.Errorf("something is picked at %v", at)
			}
		}
	}
}
