package render

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/png"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

// busyScene has everything in it: two bodies, marks, change, lines, a ring.
func busyScene(t testing.TB, w, h int) *Scene {
	a := solid.Icosphere(5, 30)
	b := solid.Torus(30, 12, 160, 60)
	marks := &Marks{Faces: make([]uint16, a.FaceCount()), Outline: color.RGBA{20, 20, 20, 255}}
	hatch := NewPattern(4, func(u, v float64) (bool, bool) {
		m := math.Mod(u+v+4000, 2)
		return m < 0.6, m > 1.7
	})
	marks.Looks = []Look{
		{},
		{Paper: color.RGBA{230, 180, 80, 255}, Opacity: 0.8, Inks: []Ink{{Pattern: hatch, Colour: color.RGBA{60, 40, 0, 255}}}, Edge: 1},
		{Inks: []Ink{{Pattern: hatch, Colour: color.RGBA{A: 255}, Halo: color.RGBA{255, 255, 255, 255}}}, Edge: 2},
	}
	for f := range marks.Faces {
		marks.Faces[f] = uint16(f / 97 % 3)
	}
	values := make([]float32, b.VertexCount())
	for v := range values {
		p := b.Vertex(uint32(v))
		values[v] = float32(p.X / 10)
		if p.Y < -30 {
			values[v] = float32(math.NaN())
		}
	}
	var red, blue [256]color.RGBA
	for i := range red {
		red[i], blue[i] = color.RGBA{255, uint8(255 - i), 0, 255}, color.RGBA{0, uint8(255 - i), 255, 255}
	}
	turn := frame.Rotation(r3.Vec{X: 1, Y: 1}, 1.1)
	turn.T = r3.Vec{X: 20, Y: -10, Z: 5}
	return &Scene{
		Camera:     LookFrom(r3.Vec{X: 0.4, Y: 0.3, Z: 1}, r3.Vec{Y: 1}).Whole(r3.Vec{X: 10, Y: -5}, 55, w, h),
		Background: color.RGBA{228, 225, 218, 255}, BackFace: color.RGBA{200, 170, 160, 255},
		Bodies: []Placed{
			{Body: prepared(t, a, true), Marks: marks},
			{Body: prepared(t, b, true), BodyToScene: &turn, Change: &Change{
				Values: values, SmallestMM: 0.5, FullMM: 4, Removed: &blue, Added: &red, Unchanged: grey,
				StepMM: 1, Contour: color.RGBA{A: 255}, Rim: color.RGBA{70, 30, 0, 255}, Undefined: marks.Looks[1],
			}},
		},
		Lines: []Line{{
			Points: []r3.Vec{{X: -20, Y: -10, Z: 21}, {Y: 5, Z: 30}, {X: 15, Y: 15, Z: 22}}, Ink: color.RGBA{0, 70, 110, 255},
			Casing: color.RGBA{255, 255, 255, 255}, WidthMM: 0.84, CasingMM: 0.5, DashMM: []float64{5, 3}, TickMM: 3.8,
		}},
		Ring: &Ring{Centre: r3.Vec{Z: 30}, RadiusMM: 6, Inner: color.RGBA{A: 255}, Outer: color.RGBA{255, 255, 255, 255}},
	}
}

// A picture must not depend on how many threads drew it.
func TestThreadsDrawTheSame(t *testing.T) {
	const w, h = 400, 300
	s := busyScene(t, w, h)
	for _, q := range []Quality{Moving, Settled, Fine} {
		one := drawn(t, s, w, h, q, 1)
		for _, threads := range []int{2, 5} {
			same(t, "threads", one, drawn(t, s, w, h, q, threads))
		}
	}
}

// Leaving out faces that look away, and whole clusters of them, must not change
// the picture of a closed body.
func TestCullingDrawsTheSame(t *testing.T) {
	const w, h = 400, 300
	s := busyScene(t, w, h)
	for name, camera := range tryCameras(60, w, h) {
		s.Camera = camera
		with := drawn(t, s, w, h, Settled, 2)
		for i := range s.Bodies {
			s.Bodies[i].Body.solid = false
		}
		without := drawn(t, s, w, h, Settled, 2)
		for i := range s.Bodies {
			s.Bodies[i].Body.solid = true
		}
		same(t, name, with, without)
	}
}

// Bodies and cameras moved together show the same surface at the same pixels.
func TestPlacesAndCamerasMoveTogether(t *testing.T) {
	const w, h = 200, 150
	m := solid.Ellipsoid(4, 40, 30, 20)
	b := prepared(t, m, false)
	camera := LookFrom(r3.Vec{X: 0.3, Y: 0.2, Z: 1}, r3.Vec{Y: 1}).Whole(r3.Vec{}, 45, w, h)
	f := drawn(t, &Scene{Camera: camera, Bodies: []Placed{{Body: b}}}, w, h, Settled, 1)
	g := frame.Rotation(r3.Vec{X: 1, Y: 2, Z: -1}, 0.7)
	g.T = r3.Vec{X: 300, Y: -2000, Z: 17000}
	moved := camera
	moved.Right, moved.Up, moved.Back, moved.Target = g.Turn(camera.Right), g.Turn(camera.Up), g.Turn(camera.Back), g.Apply(camera.Target)
	k := drawn(t, &Scene{Camera: moved, Bodies: []Placed{{Body: b, BodyToScene: &g}}}, w, h, Settled, 1)
	differ := 0
	for i := range f.depth {
		if uint32(f.depth[i]) != uint32(k.depth[i]) {
			differ++
		}
	}
	// Rounding of the turned axes moves corners by a step of the grid at most.
	if differ > w*h/500 {
		t.Errorf("%d of %d pixels show another face", differ, w*h)
	}
}

// A frame after the first allocates nothing.
func TestFramesAllocateNothing(t *testing.T) {
	const w, h = 320, 240
	s := busyScene(t, w, h)
	r := NewRenderer(2)
	defer r.Close()
	f := NewFrame(w, h)
	ctx := context.Background()
	for _, q := range []Quality{Moving, Settled, Fine} {
		if err := r.Draw(ctx, f, s, q); err != nil {
			t.Fatal(err)
		}
		n := testing.AllocsPerRun(5, func() {
			s.Camera = s.Camera.Turned(0.01, 0.003)
			if err := r.Draw(ctx, f, s, q); err != nil {
				t.Fatal(err)
			}
		})
		if n != 0 {
			t.Errorf("quality %d: %g allocations a frame", q, n)
		}
		if n := testing.AllocsPerRun(5, func() { f.Reshade(s, image.Rect(100, 80, 200, 160)) }); n != 0 {
			t.Errorf("quality %d: %g allocations to shade again", q, n)
		}
	}
}

// From near by, where clusters are cut and moving pictures are coloured in
// blocks, or in large ones drawn at half the resolution, the same holds: any
// number of threads gives the same bytes, nothing is allocated, a part shaded
// again is what drawing all of it gives, and a part drawn alone as well.
func TestNearMovingPictures(t *testing.T) {
	t.Run("blocks", func(t *testing.T) { holdNearMoving(t, 801, 501, func(f *Frame) bool { return f.blocks && !f.half }) })
	t.Run("half", func(t *testing.T) {
		holdNearMoving(t, 1281, 801, func(f *Frame) bool { return f.half && !f.blocks && f.smooth })
	})
}

func holdNearMoving(t *testing.T, w, h int, coarse func(*Frame) bool) {
	s := busyScene(t, w, h)
	s.Camera = s.Camera.Nearer(6)
	one := drawn(t, s, w, h, Moving, 1)
	if !coarse(one) {
		t.Fatal("a near moving picture is not drawn coarsely")
	}
	for _, threads := range []int{2, 3} {
		same(t, "threads", one, drawn(t, s, w, h, Moving, threads))
	}
	// Where one stretch of surface is seen, blocks are off by little.
	settled := drawn(t, s, w, h, Settled, 2)
	far := 0
	for i := range settled.Picture.Pix {
		if d := int(settled.Picture.Pix[i]) - int(one.Picture.Pix[i]); d > 40 || d < -40 {
			far++
		}
	}
	if share := float64(far) / float64(len(settled.Picture.Pix)); share > 0.03 {
		t.Errorf("%.1f %% of the moving picture is far from the settled one", 100*share)
	}
	// What is picked lies no farther from what the settled picture shows than a
	// sample is wide.
	for y := 5; y < h; y += 50 {
		for x := 5; x < w; x += 50 {
			p, ok := one.Pick(float64(x)+0.5, float64(y)+0.5)
			q, ok2 := settled.Pick(float64(x)+0.5, float64(y)+0.5)
			if ok != ok2 || p.Body != q.Body {
				continue // across an edge
			}
			u, v, _, _ := s.Camera.Project(p.Point, w, h)
			if d := math.Hypot(u-float64(x)-0.5, v-float64(y)-0.5); ok && d > 0.75 {
				t.Errorf("%d,%d: what is picked lies %.2f pixels away", x, y, d)
			}
		}
	}
	part := *s
	part.Clip = image.Rect(3, 5, w-2, h-1) // so large that it is drawn in the same way
	alone := drawn(t, &part, w, h, Moving, 2)
	inner := part.Clip.Inset(8) // outlines at the rim look at neighbours that were not drawn
	for y := inner.Min.Y; y < inner.Max.Y; y++ {
		for x := inner.Min.X; x < inner.Max.X; x++ {
			if got, want := alone.Picture.RGBAAt(x, y), one.Picture.RGBAAt(x, y); got != want {
				t.Fatalf("drawn alone, %d,%d is %v, want %v", x, y, got, want)
			}
		}
	}
	ring := *s.Ring
	ring.Centre = r3.Add(ring.Centre, r3.Vec{X: 1, Y: 0.5})
	dirty := one.RingRect(s.Ring)
	s.Ring = &ring
	one.Reshade(s, dirty.Union(one.RingRect(&ring)))
	same(t, "after the ring moved", one, drawn(t, s, w, h, Moving, 2))
	r := NewRenderer(2)
	defer r.Close()
	f := NewFrame(w, h)
	ctx := context.Background()
	for _, zoom := range []float64{1, 40} {
		near := *s
		near.Camera = s.Camera.Nearer(zoom)
		for _, q := range []Quality{Moving, Settled} {
			if err := r.Draw(ctx, f, &near, q); err != nil {
				t.Fatal(err)
			}
			if n := testing.AllocsPerRun(3, func() {
				near.Camera = near.Camera.Turned(0.01, 0.003)
				if err := r.Draw(ctx, f, &near, q); err != nil {
					t.Fatal(err)
				}
			}); n != 0 {
				t.Errorf("zoom %g, quality %d: %g allocations a frame", zoom, q, n)
			}
		}
	}
}

// Shading a part again after a change gives the picture that drawing all of it
// again would have given.
func TestReshadeEqualsDraw(t *testing.T) {
	const w, h = 400, 300
	s := busyScene(t, w, h)
	for _, q := range []Quality{Settled, Fine} {
		f := drawn(t, s, w, h, q, 2)
		// A dab: some faces change, and the ring moves.
		marks := s.Bodies[0].Marks
		before := append([]uint16(nil), marks.Faces...)
		old := f.RingRect(s.Ring)
		dirty := old
		for y := 120; y < 150; y++ {
			for x := 140; x < 170; x++ {
				if p, ok := f.Pick(float64(x)+0.5, float64(y)+0.5); ok && p.Body == 0 {
					marks.Faces[p.Face] = 1
				}
			}
		}
		// All pixels of the faces touched.
		for y := range h {
			for x := range w {
				if p, ok := f.Pick(float64(x)+0.25, float64(y)+0.25); ok && p.Body == 0 && marks.Faces[p.Face] != before[p.Face] {
					dirty = dirty.Union(image.Rect(x-1, y-1, x+2, y+2))
				}
			}
		}
		ring := *s.Ring
		ring.Centre = r3.Add(ring.Centre, r3.Vec{X: 4, Y: 2, Z: -0.5})
		s.Ring = &ring
		f.Reshade(s, dirty.Union(f.RingRect(&ring)))
		same(t, "after a dab", f, drawn(t, s, w, h, q, 2))
		// Another light changes everything.
		s.Light = RakingLight(1, 0.2)
		f.Reshade(s, f.Picture.Rect)
		same(t, "raking light", f, drawn(t, s, w, h, q, 2))
		s.Light = Light{}
	}
}

// Called off before it begins, a frame says so, and the next one is whole.
func TestDrawStops(t *testing.T) {
	const w, h = 200, 150
	s := busyScene(t, w, h)
	r := NewRenderer(2)
	f := NewFrame(w, h)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := r.Draw(ctx, f, s, Settled); !errors.Is(err, context.Canceled) {
		t.Errorf("a frame called off gives %v", err)
	}
	if _, ok := f.Pick(w/2, h/2); ok {
		t.Error("a frame called off can be picked from")
	}
	if err := r.Draw(context.Background(), f, s, Settled); err != nil {
		t.Fatal(err)
	}
	same(t, "after a stop", f, drawn(t, s, w, h, Settled, 1))
	r.Close()
	if err := r.Draw(context.Background(), f, s, Settled); err == nil {
		t.Error("a closed renderer draws")
	}
	r.Close()
}

// A texture seen straight on, unlit, one texel a pixel, comes back byte for
// byte.
func TestTextureRoundTrip(t *testing.T) {
	const n = 32
	img := image.NewNRGBA(image.Rect(0, 0, n, n))
	for i := range img.Pix {
		img.Pix[i] = uint8(i*37 ^ i>>3)
		if i%4 == 3 {
			img.Pix[i] = 255
		}
	}
	var data bytes.Buffer
	if err := png.Encode(&data, img); err != nil {
		t.Fatal(err)
	}
	m := solid.Plane(n, 4)
	for v := range m.VertexCount() {
		p := m.Vertex(uint32(v))
		// Row 0 of the picture at the top, as glTF has it.
		m.UVs = append(m.UVs, float32(p.X/n+0.5), float32(0.5-p.Y/n))
	}
	m.Images = []mesh.Image{{Name: "test", MIME: "image/png", Data: data.Bytes()}}
	m.Materials = []mesh.Material{{BaseColour: [4]float32{1, 1, 1, 1}, Image: 0, Unlit: true}}
	b := prepared(t, m, false)
	findings, err := b.LoadTextures(context.Background(), nil)
	if err != nil || len(findings) > 0 {
		t.Fatal(err, findings)
	}
	camera := LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1})
	camera.Orthographic = true
	camera.DistanceMM = n / (2 * math.Tan(camera.FieldOfView/2))
	f := drawn(t, &Scene{Camera: camera, Bodies: []Placed{{Body: b}}}, n, n, Settled, 1)
	for y := range n {
		for x := range n {
			// A fraction of a texel of rounding may blend in a neighbour.
			got, want := f.Picture.RGBAAt(x, y), img.NRGBAAt(x, y)
			if d := max(absDiff(got.R, want.R), absDiff(got.G, want.G), absDiff(got.B, want.B)); d > 0 {
				t.Fatalf("texel %d,%d is %v, want %v", x, y, got, want)
			}
		}
	}
	// From afar the mean in linear light is seen, not the mean of the codes:
	// a fine checker of black and white is 188, not 128 (IEC 61966-2-1).
	for i := range img.Pix {
		x, y := i/4%n, i/4/n
		if i%4 != 3 {
			img.Pix[i] = uint8(255 * ((x + y) % 2))
		}
	}
	data.Reset()
	if err := png.Encode(&data, img); err != nil {
		t.Fatal(err)
	}
	m.Images[0].Data = data.Bytes()
	b = prepared(t, m, false)
	if _, err := b.LoadTextures(context.Background(), nil); err != nil {
		t.Fatal(err)
	}
	f = drawn(t, &Scene{Camera: camera.Nearer(0.25), Bodies: []Placed{{Body: b}}}, n, n, Settled, 1)
	if c := f.Picture.RGBAAt(n/2, n/2); absDiff(c.R, 188) > 1 {
		t.Errorf("a checker from afar is %v, want 188", c)
	}
}

func absDiff(a, b uint8) int { return max(int(a)-int(b), int(b)-int(a)) }

// A picture that cannot be read is said, and the body is drawn all the same.
func TestBrokenTexture(t *testing.T) {
	m := solid.Plane(10, 1)
	m.UVs = make([]float32, 2*m.VertexCount())
	huge := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x7f\xff\xff\xff\x7f\xff\xff\xff\x08\x02\x00\x00\x00")
	for name, data := range map[string][]byte{"missing": nil, "rubbish": []byte("not a picture"), "huge": huge} {
		m.Images = []mesh.Image{{Name: "skin", Data: data}}
		m.Materials = []mesh.Material{{BaseColour: [4]float32{1, 1, 1, 1}}}
		b := prepared(t, m, false)
		findings, err := b.LoadTextures(context.Background(), nil)
		if err != nil || len(findings) != 1 || findings[0].Severity != mesh.Warning || findings[0].WayOut == "" {
			t.Errorf("%s: %v %v", name, findings, err)
		}
		camera := LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1}).Whole(r3.Vec{}, 4, 20, 20)
		f := drawn(t, &Scene{Camera: camera, Bodies: []Placed{{Body: b}}}, 20, 20, Settled, 1)
		if c := f.Picture.RGBAAt(10, 10); c.R < 200 || c.R < c.B {
			t.Errorf("%s: drawn as %v, not as stone", name, c)
		}
	}
}

// Meshes that no scan should be must not stop the program.
func TestOddMeshes(t *testing.T) {
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	for name, m := range map[string]*mesh.Mesh{
		"empty":       {},
		"point":       {Positions: []float32{1, 2, 3}, Triangles: []uint32{0, 0, 0}},
		"nan":         {Positions: []float32{nan, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0}, Triangles: []uint32{0, 1, 2, 1, 2, 3}},
		"infinite":    {Positions: []float32{inf, 0, 0, 1, 0, 0, 0, 1, 0}, Triangles: []uint32{0, 1, 2}},
		"huge":        {Positions: []float32{-1e30, 0, 0, 1e30, 0, 0, 0, 1e30, 0}, Triangles: []uint32{0, 1, 2}},
		"tiny":        {Positions: []float32{0, 0, 0, 1e-30, 0, 0, 0, 1e-30, 0}, Triangles: []uint32{0, 1, 2}},
		"far away":    {Origin: r3.Vec{X: 1e9}, Positions: []float32{0, 0, 0, 9, 0, 0, 0, 9, 0}, Triangles: []uint32{0, 1, 2}},
		"bad normals": {Positions: []float32{0, 0, 0, 9, 0, 0, 0, 9, 0}, Normals: []float32{nan, 0, 0, 0, 0, 0, inf, 1, 1}, Triangles: []uint32{0, 1, 2}},
	} {
		b, err := Prepare(context.Background(), m, Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		centre, radius := b.Sphere()
		for _, q := range []Quality{Moving, Settled} {
			f := drawn(t, &Scene{Camera: LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1}).Whole(centre, radius, 40, 30), Bodies: []Placed{{Body: b}}}, 40, 30, q, 2)
			got := false
			for _, d := range f.depth {
				got = got || d != 0
			}
			if want := name == "nan" || name == "far away" || name == "bad normals"; want && !got {
				t.Errorf("%s: nothing is drawn", name)
			}
		}
	}
	r := NewRenderer(1)
	defer r.Close()
	for _, size := range [][2]int{{0, 10}, {10, -1}, {20000, 1}} {
		f := &Frame{w: size[0], h: size[1]}
		if err := r.Draw(t.Context(), f, &Scene{Camera: LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1})}, Settled); err == nil {
			t.Errorf("a picture of %v is drawn", size)
		}
	}
	// Nothing in the scene: background everywhere.
	f := drawn(t, &Scene{Camera: LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1}), Background: grey}, 8, 8, Settled, 2)
	if f.Picture.RGBAAt(3, 3) != grey {
		t.Error("an empty scene does not show its background")
	}
}

// A part of the picture drawn alone is that part of the whole picture, and
// nothing else is touched or can be picked.
func TestClipDrawsAPart(t *testing.T) {
	const w, h = 400, 300
	s := busyScene(t, w, h)
	r := NewRenderer(2)
	defer r.Close()
	for name, camera := range tryCameras(60, w, h) {
		s.Camera = camera
		for _, q := range []Quality{Moving, Settled, Fine} {
			s.Clip = image.Rectangle{}
			whole := drawn(t, s, w, h, q, 2)
			s.Clip = image.Rect(150, 90, 263, 201)
			part := NewFrame(w, h)
			Fill(part.Picture, part.Picture.Rect, color.RGBA{1, 2, 3, 255})
			if err := r.Draw(t.Context(), part, s, q); err != nil {
				t.Fatal(err)
			}
			// Outlines at the rim look at neighbours that were not drawn.
			inner := s.Clip.Inset(5)
			for y := range h {
				for x := range w {
					p := image.Pt(x, y)
					want := color.RGBA{1, 2, 3, 255}
					if p.In(inner) {
						want = whole.Picture.RGBAAt(x, y)
					} else if p.In(s.Clip) {
						continue
					}
					if got := part.Picture.RGBAAt(x, y); got != want {
						t.Fatalf("%s, quality %d: %v is %v, want %v", name, q, p, got, want)
					}
				}
			}
			if _, ok := part.Pick(10, 10); ok {
				t.Errorf("%s: something is picked outside", name)
			}
		}
	}
	s.Clip = image.Rect(500, 500, 600, 600)
	f := NewFrame(w, h)
	if err := r.Draw(t.Context(), f, s, Settled); err != nil {
		t.Error("nothing to draw:", err)
	}
}
