package picture

import (
	"context"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/render"
	"rigatino/mesh/solid"
)

func body(t testing.TB, m *mesh.Mesh) *render.Body {
	t.Helper()
	b, err := render.Prepare(context.Background(), m, render.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// marked is a ball with a fill on the side of z > 12, retouch and a crack over
// it, and the rest original below z = 0.
func marked(t testing.TB) (*facemap.Surface, *facemap.Map, []annotate.Region) {
	t.Helper()
	s := facemap.NewSurface(solid.Icosphere(4, 20))
	labels, err := facemap.New("", s.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	regions := []annotate.Region{
		{ID: "R1", Number: 1, Layer: "substance", Kind: "fill"},
		{ID: "R2", Number: 2, Layer: "applied", Kind: "retouch"},
		{ID: "R3", Number: 3, Layer: "condition", Kind: "crack"},
		{ID: "R4", Number: 4, Layer: "substance", Kind: "original"},
	}
	var low []uint32
	for f := range uint32(s.Mesh.FaceCount()) {
		a, b, c := s.Mesh.Corners(f)
		if a.Z+b.Z+c.Z < 0 {
			low = append(low, f)
		}
	}
	at := func(x, y, z float64) mesh.SurfacePoint {
		p, _, ok := s.Locate(r3.Vec{X: x, Y: y, Z: z})
		if !ok {
			t.Fatal("nothing there")
		}
		return p
	}
	must := func(_ facemap.Outcome, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(labels.AssignFaces(low, facemap.Paint{Layer: facemap.Substance, Region: 4}))
	must(labels.Stroke(s, at(0, 0, 20), facemap.Brush{RadiusMM: 12, Levels: 3}, facemap.Paint{Layer: facemap.Substance, Region: 1}))
	must(labels.Stroke(s, at(5, 0, 20), facemap.Brush{RadiusMM: 5, Levels: 3}, facemap.Paint{Layer: facemap.Applied, Region: 2}))
	must(labels.Stroke(s, at(8, 3, 20), facemap.Brush{RadiusMM: 4, Levels: 3}, facemap.Paint{Layer: facemap.Condition, Region: 3}))
	return s, labels, regions
}

// The look of every place is that of the regions the map says are there:
// substance paper, then overlays with condition over applied.
func TestLooksFollowTheMap(t *testing.T) {
	s, labels, regions := marked(t)
	l := NewLooks(labels, regions, MapOnSurface, 4)
	if len(labels.SplitFaces()) == 0 {
		t.Fatal("the example has no split faces")
	}
	random := rand.New(rand.NewPCG(3, 4))
	split := 0
	for range 20000 {
		f := uint32(random.IntN(s.Mesh.FaceCount()))
		u, v := random.Float64(), random.Float64()
		if u+v > 1 {
			u, v = 1-u, 1-v
		}
		p := mesh.SurfacePoint{Face: f, Weights: [3]float64{1 - u - v, u, v}}
		substance, over := labels.At(p, nil)
		index := l.Marks().Faces[f]
		if index == render.Split {
			split++
			index = l.Marks().At(f, p.Weights)
		}
		look := l.Marks().Looks[index]
		kind := map[uint16]string{0: "unassigned", 1: "fill", 4: "original"}[substance]
		term, _ := terms.Get(terms.Substance, kind)
		if look.Paper != term.Look.Paper || look.Opacity != term.Look.Opacity {
			t.Fatalf("face %d, %s: paper %v at %g", f, kind, look.Paper, look.Opacity)
		}
		var want []color.RGBA
		if kind != "original" || len(over) > 0 {
			want = append(want, term.Look.Ink)
		}
		for _, n := range []uint16{2, 3} { // retouch below crack
			for _, o := range over {
				if o == n {
					w, _ := terms.Get(terms.List(regions[n-1].Layer), regions[n-1].Kind)
					want = append(want, w.Look.Ink)
				}
			}
		}
		if len(look.Inks) != len(want) {
			t.Fatalf("face %d: %d inks, want %d", f, len(look.Inks), len(want))
		}
		for i, ink := range look.Inks {
			if ink.Colour != want[i] {
				t.Fatalf("face %d: ink %d is %v, want %v", f, i, ink.Colour, want[i])
			}
		}
		if (look.Edge == 0) != (kind == "original" && len(over) == 0) {
			t.Fatalf("face %d, %s: edge %d", f, kind, look.Edge)
		}
	}
	if split < 100 {
		t.Errorf("only %d places on split faces", split)
	}
}

// Kept up to date by the faces of each action, the looks are those of a map
// read anew; undo leads back.
func TestUpdateEqualsReadingAnew(t *testing.T) {
	s, labels, regions := marked(t)
	l := NewLooks(labels, regions, MapOnSurface, 4)
	same := func(when string) {
		t.Helper()
		fresh := NewLooks(labels, regions, MapOnSurface, 4)
		for f := range l.marks.Faces {
			a, b := l.marks.Faces[f], fresh.marks.Faces[f]
			if (a == render.Split) != (b == render.Split) {
				t.Fatalf("%s: face %d is split in one", when, f)
			}
			if a == render.Split {
				continue
			}
			if x, y := l.marks.Looks[a], fresh.marks.Looks[b]; x.Paper != y.Paper || len(x.Inks) != len(y.Inks) {
				t.Fatalf("%s: face %d looks different", when, f)
			}
		}
	}
	at, _, _ := s.Locate(r3.Vec{Y: 20})
	regions = append(regions, annotate.Region{ID: "R5", Number: 5, Layer: "substance", Kind: "matrix"})
	out, err := labels.Stroke(s, at, facemap.Brush{RadiusMM: 7, Levels: 3}, facemap.Paint{Layer: facemap.Substance, Region: 5})
	if err != nil {
		t.Fatal(err)
	}
	l.Update(out.Diff.Faces(), regions)
	same("after a stroke")
	if err := labels.Apply(out.Diff.Inverse()); err != nil {
		t.Fatal(err)
	}
	l.Update(out.Diff.Faces(), regions)
	same("after undo")
	regions[0].Kind = "reconstruction"
	l.Update(nil, regions)
	same("after a region changed its kind")
	regions[0].Kind = "fill"
	l.Update(nil, regions)
	l.SetShow(AsSeen)
	if l.Marks() != nil {
		t.Error("as seen still shows the map")
	}
	l.SetShow(MapOnly)
	for _, look := range l.Marks().Looks {
		if look.Opacity != 1 {
			t.Errorf("in the map paper has opacity %g", look.Opacity)
		}
	}
	l.Hide(1, true)
	for _, look := range l.Marks().Looks {
		if fill, _ := terms.Get(terms.Substance, "fill"); look.Paper == fill.Look.Paper && look.Opacity > 0 {
			t.Error("a hidden region is drawn")
		}
	}
}

// Half a ball is fill: seen from its pole all of the disc is, seen from the
// side half of it is (the equator is a straight line through the middle).
func TestRestoredShareOfAView(t *testing.T) {
	s := facemap.NewSurface(solid.Icosphere(5, 20))
	labels, err := facemap.New("", s.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	var up, down []uint32
	for f := range uint32(s.Mesh.FaceCount()) {
		a, b, c := s.Mesh.Corners(f)
		if a.Z+b.Z+c.Z > 0 {
			up = append(up, f)
		} else {
			down = append(down, f)
		}
	}
	regions := []annotate.Region{{Number: 1, Layer: "substance", Kind: "fill"}, {Number: 2, Layer: "substance", Kind: "original"}}
	for i, faces := range [][]uint32{up, down} {
		if _, err := labels.AssignFaces(faces, facemap.Paint{Layer: facemap.Substance, Region: uint16(i + 1)}); err != nil {
			t.Fatal(err)
		}
	}
	l := NewLooks(labels, regions, MapOnly, 4)
	views, err := Views(context.Background(), []render.Placed{{Body: body(t, s.Mesh), Marks: l.Marks()}}, nil,
		Options{Width: 200, Height: 160, Looks: []*Looks{l}})
	if err != nil || len(views) != 6 {
		t.Fatal(err, len(views))
	}
	for _, v := range views {
		want := 0.5
		switch v.Name {
		case "front":
			want = 1
		case "back":
			want = 0
		}
		if v.Restored == nil || math.Abs(*v.Restored-want) > 0.02 {
			t.Errorf("%s: restored share %v, want %g", v.Name, v.Restored, want)
		}
		// The ball spans its true size at the scale that is stated: the widest
		// row of the picture that is not white.
		widest := 0
		for y := range 160 {
			lo, hi := 200, 0
			for x := range 200 {
				if c := v.Picture.RGBAAt(x, y); c.R < 250 || c.B < 250 {
					lo, hi = min(lo, x), max(hi, x+1)
				}
			}
			if y < 130 {
				widest = max(widest, hi-lo)
			}
		}
		if mm := float64(widest) / v.PixelsPerMM; math.Abs(mm-40) > 2/v.PixelsPerMM {
			t.Errorf("%s: the ball is %.2f mm across, want 40", v.Name, mm)
		}
	}
	// With more than a fifth not examined there is no single value.
	if _, err := labels.AssignFaces(down, facemap.Paint{Layer: facemap.Substance}); err != nil {
		t.Fatal(err)
	}
	l = NewLooks(labels, regions, MapOnly, 4)
	views, err = Views(context.Background(), []render.Placed{{Body: body(t, s.Mesh), Marks: l.Marks()}}, nil,
		Options{Width: 100, Height: 80, Looks: []*Looks{l}, Only: "top"})
	if err != nil || len(views) != 1 || views[0].Restored != nil {
		t.Errorf("half not examined: %v %v", views, err)
	}
}

// The patterns of every pair of words stay apart where it is hardest: on a ball
// 60 pixels across, in grey (luminance by ITU-R BT.709), at 6 pixels a step of
// the hatch, turned at random. The mean difference of the two pictures must
// be at least 10 of 255; two noiseless pictures of one pattern differ by 0.
func TestPatternsDifferInGrey(t *testing.T) {
	const px, radius = 60, 10.0
	m := solid.Icosphere(5, radius)
	b := body(t, m)
	r := render.NewRenderer(1)
	defer r.Close()
	frame := render.NewFrame(px, px)
	type look struct {
		id   string
		look render.Look
	}
	var all []look
	for _, list := range []terms.List{terms.Substance, terms.Applied, terms.Condition} {
		for _, w := range terms.All(list) {
			k := render.Look{Paper: terms.Stone, Opacity: 1}
			if list == terms.Substance {
				k.Paper = w.Look.Paper
			}
			k.Inks = []render.Ink{InkOf(w.Look)}
			all = append(all, look{w.ID, k})
		}
	}
	if len(all) != 24 {
		t.Fatalf("%d looks", len(all))
	}
	grey := func(k render.Look, back, up r3.Vec) []float64 {
		marks := &render.Marks{Looks: []render.Look{k}, TileMM: 8}
		c := render.LookFrom(back, up).Whole(r3.Vec{}, radius, px, px)
		if err := r.Draw(context.Background(), frame, &render.Scene{
			Camera: c, Background: terms.White, Light: render.Light{Toward: r3.Vec{Z: 1}, Ambient: 1},
			Bodies: []render.Placed{{Body: b, Marks: marks}},
		}, render.Fine); err != nil {
			t.Fatal(err)
		}
		out := make([]float64, px*px)
		for i := range out {
			p := frame.Picture.Pix[4*i:]
			out[i] = 0.2126*float64(p[0]) + 0.7152*float64(p[1]) + 0.0722*float64(p[2])
		}
		return out
	}
	apart := func(a, b []float64) (sum float64) {
		for i := range a {
			sum += math.Abs(a[i] - b[i])
		}
		return sum / float64(len(a))
	}
	random := rand.New(rand.NewPCG(1, 2))
	least, pair := math.Inf(1), ""
	for range 2 {
		back := r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}
		up := r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}
		var pictures [][]float64
		for _, k := range all {
			pictures = append(pictures, grey(k.look, back, up))
		}
		for i := range all {
			for j := range i {
				if d := apart(pictures[i], pictures[j]); d < least {
					least, pair = d, all[i].id+" and "+all[j].id
				}
			}
		}
	}
	if least < 10 {
		t.Errorf("%s differ by %.1f of 255 only", pair, least)
	}
	t.Logf("nearest pair: %s, %.1f of 255", pair, least)
}

func TestLegendNamesWhatTheMapShows(t *testing.T) {
	_, labels, regions := marked(t)
	var got []string
	entries := Used(labels, regions)
	for _, e := range entries {
		got = append(got, e.ID)
	}
	want := []string{"original", "fill", "unassigned", "retouch", "crack"}
	if len(got) != len(want) {
		t.Fatalf("legend names %v, want %v", got, want)
	}
	for i := range got {
		if got[i] != want[i] {
			t.Fatalf("legend names %v, want %v", got, want)
		}
	}
	picture := image.NewRGBA(image.Rect(0, 0, 500, 200))
	out := WithLegend(picture, entries, 5, 16)
	if out.Rect.Dx() != 500 || out.Rect.Dy() < 260 {
		t.Errorf("with its legend the picture is %v", out.Rect)
	}
	// The fill's swatch shows its two colours.
	fill, _ := terms.Get(terms.Substance, "fill")
	found := map[color.RGBA]int{}
	for y := 200; y < out.Rect.Dy(); y++ {
		for x := range 500 {
			found[out.RGBAAt(x, y)]++
		}
	}
	if found[fill.Look.Paper] < 100 || found[fill.Look.Ink] < 30 {
		t.Errorf("%d pixels of the fill's paper, %d of its ink", found[fill.Look.Paper], found[fill.Look.Ink])
	}
}

// One round number ends the scale; contours are round and neither few nor many.
func TestScaleOfChange(t *testing.T) {
	for _, r := range []struct{ most, full float64 }{
		{3.2, 4}, {4, 4}, {0.31, 0.4}, {11, 20}, {0.9, 1}, {7, 8}, {81, 100}, {0, 1}, {math.Inf(1), 1},
	} {
		if got := FullScale(r.most); math.Abs(got-r.full) > 1e-9 {
			t.Errorf("up to %g mm the scale ends at %g, want %g", r.most, got, r.full)
		}
	}
	for _, full := range []float64{0.1, 0.2, 0.3, 0.5, 1, 2, 3, 4, 5, 6, 8, 10, 20, 100} {
		if n := full / StepOf(full); n < 2.99 || n > 10.01 {
			t.Errorf("%g mm has %g contours", full, n)
		}
	}
}

// The tile chosen for a scale is drawn, not faded; the next smaller one would
// have steps under five pixels.
func TestReadableTile(t *testing.T) {
	for _, r := range []struct{ perMM, tile float64 }{{40, 1}, {20, 1}, {19, 2}, {10, 2}, {6, 5}, {4, 5}, {3, 10}, {0.5, 50}} {
		if got := ReadableTile(r.perMM); got != r.tile {
			t.Errorf("%g pixels a mm: tile %g, want %g", r.perMM, got, r.tile)
		}
	}
}
