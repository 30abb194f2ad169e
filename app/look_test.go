package app

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/mesh"
	"rigatino/mesh/solid"
)

// A ball of radius 40 mm with a cavity of radius 12 stands on a bed of 200 mm
// square; beside it lie a loose ball of radius 3 and a bar of 80 × 8 × 8 mm.
func onBed() *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, q := range []struct {
		m  *mesh.Mesh
		by r3.Vec
	}{
		{solid.Icosphere(5, 40), r3.Vec{Z: 40}}, {solid.Icosphere(4, -12), r3.Vec{Z: 40}},
		{solid.Plane(200, 80), r3.Vec{}}, {solid.Icosphere(3, 3), r3.Vec{X: -70, Y: -60, Z: 5}}, {ruler(), r3.Vec{Y: 75, Z: 5}},
	} {
		base := uint32(m.VertexCount())
		for v := range uint32(q.m.VertexCount()) {
			p := r3.Add(q.m.Vertex(v), q.by)
			m.Positions = append(m.Positions, float32(p.X), float32(p.Y), float32(p.Z))
		}
		for _, v := range q.m.Triangles {
			m.Triangles = append(m.Triangles, base+v)
		}
	}
	return m
}

// ruler is a round bar along x, 80 mm long and 8 mm thick.
func ruler() *mesh.Mesh {
	return mesh.Transform(solid.Cylinder(4, 80, 24, 40), func(v r3.Vec) r3.Vec { return r3.Vec{X: v.Z - 40, Y: v.X, Z: v.Y} })
}

// rune types a sign on the specimen.
func (b *bench) rune(r rune) {
	b.Rune(r)
	b.calm()
}

// items are the entries of a list in the slip.
func (b *bench) items() (out []*part.Item) {
	each(b.slip, func(o fyne.CanvasObject) {
		if x, ok := o.(*part.Item); ok {
			out = append(out, x)
		}
	})
	return out
}

// kinds counts the surface of the use in view by substance, mm².
func (b *bench) kinds() map[string]float64 {
	b.Helper()
	m, err := b.desk.Project.Map(b.desk.View)
	if err != nil {
		b.Fatal(err)
	}
	r := b.desk.Project.Record()
	regions := r.RegionsOf(b.desk.View.String())
	out := map[string]float64{}
	for f, n := range m.Labels() {
		kind := "none"
		if g, ok := regions[n]; ok {
			kind = g.Kind
		}
		out[kind] += r3.Norm(b.desk.Body(b.desk.View).Surface.Mesh.AreaVector(uint32(f)))
	}
	return out
}

// What a look at a scan proposes is walked through: each has its row with area
// and evidence and is seen on the specimen when it is taken in hand; it is set
// aside or kept in by keys, in one action each, that undo takes back. Source: the
// fixture's closed forms (bed 40 000 mm² but for what stands on it, cavity
// 4π·144 mm², small ball 36π mm²) and DESIGN of the record: accepted proposals
// stay inferred.
func TestLookWalk(t *testing.T) {
	b := openWindow(t, 1280, 800, scanFile(t, onBed()))
	b.press("Add")
	b.press("Look at this scan")
	list := b.desk.ScanProposals()
	at := map[string]int{}
	for i, p := range list {
		at[p.Kind] = i
	}
	if len(list) != 4 || len(at) != 4 {
		t.Fatalf("proposals %+v; the Next bar says %q", list, b.next.Text())
	}
	items := b.items()
	if len(items) != 4 {
		t.Fatalf("%d rows for 4 proposals", len(items))
	}
	for i, p := range list {
		b.takeProposal(i)
		b.calm()
		for k, x := range b.items() {
			if x.Chosen != (k == i) {
				t.Errorf("with proposal %d in hand row %d is chosen: %v", i, k, x.Chosen)
			}
		}
		text := b.items()[i].Text()
		if !strings.Contains(text, p.Area.String()) || !strings.Contains(text, sentence(p.Reason)) || strings.Contains(text, "_") {
			t.Errorf("row %d says %q", i, text)
		}
		lit := b.desk.PointedAt()
		if lit == nil || len(lit.Faces) != p.Triangles {
			t.Fatalf("proposal %s is not shown on the specimen", p.ID)
		}
		if inside := p.Kind == "inner_wall"; inside != (b.looking.seen < 0.05) || inside != strings.Contains(b.next.Text(), "inside") {
			t.Errorf("%s: %.2f of it is said to be seen; %q", p.ID, b.looking.seen, b.next.Text())
		}
		if p.Kind != "inner_wall" { // it is in the picture
			b.until("the picture shows the camera", func() bool { f := b.shown(); return f != nil && f.Camera() == b.camera && f.Settled() })
			if n := b.pixelsOf(lit.Faces); n < 200 {
				t.Errorf("%s takes %d pixels of the picture", p.ID, n)
			}
		}
	}
	// Values: closed forms, within what facets cut off.
	for kind, want := range map[string]float64{"inner_wall": 4 * math.Pi * 144, "island": 36 * math.Pi} {
		if got := list[at[kind]].Area.Value; math.Abs(got-want) > 0.02*want {
			t.Errorf("%s of %v, wanted %.1f mm²", kind, got, want)
		}
	}

	b.takeProposal(at["bed"])
	b.rune('s')
	if got := b.kinds()[annotate.Support]; math.Abs(got-list[at["bed"]].Area.Value) > 1 {
		t.Errorf("set aside %.1f mm², wanted %v; %q", got, list[at["bed"]].Area, b.next.Text())
	}
	r := b.desk.Project.Record()
	if g := r.Regions[0]; g.Certainty != "inferred" || g.Reason == "" {
		t.Errorf("region %+v", g)
	}
	if b.looking.at == at["bed"] || b.desk.ScanProposals()[b.looking.at].State != "" {
		t.Errorf("after an answer proposal %d is in hand", b.looking.at)
	}
	b.takeProposal(at["island"])
	b.rune('i')
	if s := b.desk.ScanProposals()[at["island"]].State; s != annotate.AnswerRefused {
		t.Errorf("the island is %q", s)
	}
	b.rune('n')
	b.rune('b')
	for range 2 {
		b.press("Undo")
	}
	if b.openOnScan() != 4 || b.kinds()[annotate.Support] != 0 {
		t.Errorf("after undo %d are open, %v is marked", b.openOnScan(), b.kinds())
	}
	b.Redo()
	b.calm()
	if s := b.desk.ScanProposals()[at["bed"]].State; s != annotate.AnswerAccepted {
		t.Errorf("after redo the bed is %q", s)
	}
}

// pixelsOf counts the places of the picture, of every fourth in each direction,
// that show some faces, times 16.
func (b *bench) pixelsOf(faces []uint32) int {
	in := map[uint32]bool{}
	for _, f := range faces {
		in[f] = true
	}
	n := 0
	f := b.shown()
	w, h := f.Size()
	for y := 2; y < h; y += 4 {
		for x := 2; x < w; x += 4 {
			if p, ok := f.Pick(float64(x), float64(y)); ok && in[p.Face] {
				n += 16
			}
		}
	}
	return n
}

// drag moves over the specimen with the button held.
func (b *bench) drag(places ...r3.Vec) {
	b.Helper()
	b.until("the picture shows the camera", func() bool {
		f := b.shown()
		return f != nil && f.Camera() == b.camera
	})
	pw, ph := b.specimen.Pixels()
	e := &desktop.MouseEvent{Button: desktop.MouseButtonPrimary}
	for i, p := range places {
		x, y, _, ok := b.camera.Project(p, pw, ph)
		if !ok {
			b.Fatalf("%v is not in the picture", p)
		}
		e.Position = b.specimen.Place(x, y)
		if i == 0 {
			b.specimen.MouseDown(e)
		} else {
			d := &fyne.DragEvent{}
			d.Position = e.Position
			b.specimen.Dragged(d)
		}
	}
	b.specimen.MouseUp(e)
	b.calm()
}

// Faces are left out with a stroke or inside a loop and taken back in; what else
// is marked stays, and undo takes each back. Source: the cap that a ball of
// radius r cuts out of a sphere of radius R has the area πr².
func TestLeaveOutByHand(t *testing.T) {
	b := openBall(t, 1280, 800)
	b.press("Add")
	b.press("Look at this scan")
	if !strings.Contains(words(b.slip), "Nothing on this scan looks like") {
		t.Fatalf("the slip says %q", words(b.slip))
	}
	b.press("Leave out")
	b.drag(b.facing(0, 0))
	left := b.kinds()[annotate.Support]
	if want := math.Pi * b.desk.RadiusMM * b.desk.RadiusMM; math.Abs(left-want) > 0.2*want {
		t.Errorf("a dab left out %.1f mm², wanted %.1f; %q", left, want, b.next.Text())
	}
	b.drag(b.facing(0.3, 0), b.facing(0.5, 0))
	more := b.kinds()[annotate.Support]
	r := b.desk.Project.Record()
	if more < 1.5*left || len(r.Regions) != 1 || r.Regions[0].Certainty != "seen" || r.Regions[0].Evidence != "left out by hand" {
		t.Errorf("after a second stroke %.1f mm² in %+v", more, r.Regions)
	}
	b.press("Take back in")
	b.drag(b.facing(0, 0))
	if got := b.kinds()[annotate.Support]; math.Abs(got-(more-left)) > 0.05*more {
		t.Errorf("taken back in: %.1f mm² are left out, wanted %.1f", got, more-left)
	}
	b.Undo()
	b.calm()
	if got := b.kinds()[annotate.Support]; got != more {
		t.Errorf("after undo %.1f mm² are left out, wanted %.1f", got, more)
	}
	b.press("Leave out")
	b.rune('o') // the loop
	b.drag(b.facing(-0.6, -0.2), b.facing(-0.2, -0.2), b.facing(-0.2, 0.2), b.facing(-0.6, 0.2))
	if got := b.kinds()[annotate.Support]; got < more+200 {
		t.Errorf("a loop left out %.1f mm²; %q", got-more, b.next.Text())
	}
	b.press("Done")
	// In the task Map the brush maps what is chosen on the shelf again.
	b.press("Map")
	b.rune('b')
	b.rune('4')
	b.drag(b.facing(0, 0.6))
	if b.kinds()[annotate.Fill] == 0 {
		t.Errorf("in Map: %v; %q", b.kinds(), b.next.Text())
	}
}

// Every word of the walk and of leaving out by hand is readable at every size of
// text and in the smallest window, in light and dark.
func TestLookWalkShowsEveryWord(t *testing.T) {
	for _, size := range []fyne.Size{{Width: 1280, Height: 800}, {Width: 1100, Height: 720}} {
		b := openWindow(t, size.Width, size.Height, scanFile(t, onBed()))
		b.press("Add")
		b.press("Look at this scan")
		for _, leaving := range []bool{false, true} {
			if leaving {
				b.press("Leave out")
			}
			for i, scale := range look.Sizes {
				b.theme.Scale, b.theme.Appearance = scale, look.Appearance(i%2)
				b.restyle()
				b.calm()
				b.fits(fmt.Sprintf("%g x %g at size %g, leaving out %v", size.Width, size.Height, scale, leaving))
				b.keep(fmt.Sprintf("look-%gx%g-%g-%v.png", size.Width, size.Height, scale, leaving))
			}
		}
	}
}

// keep writes a picture of the window where somebody wants to look at it.
func (b *bench) keep(name string) {
	if dir := os.Getenv("RIGATINO_PICTURES"); dir != "" {
		b.until("the picture is settled", func() bool { f := b.shown(); return f != nil && f.Camera() == b.camera && f.Settled() })
		b.win.Canvas().Refresh(b.specimen)
		b.picture(filepath.Join(dir, name))
	}
}
