package app

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/widget"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/app/look"
	"rigatino/app/part"
	"rigatino/app/session"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid/bentbody"
)

// openPair opens a window on two aligned scans of the bent body: 754.246, 232.051
// and 1111.291 mm³ removed and 149.926 mm³ added, exactly (package bentbody). The
// later one is in view, in the task Change, compared.
func openPair(t *testing.T, width, height float32) *bench {
	t.Helper()
	body := bentbody.New(1)
	b := openWindow(t, width, height, scanFile(t, body.Before(bentbody.Scanning{Triangles: 20000})), scanFile(t, body.After(bentbody.Scanning{Triangles: 20000})))
	err := b.desk.Project.Edit("aligned", func(r *annotate.Record) error {
		var c [36]float64
		for k := range 6 {
			c[7*k] = 1e-12 // a millionth of a radian, a millionth of a millimetre
		}
		r.Use(b.desk.View).Alignment = &annotate.Alignment{To: b.desk.Other.String(), ScanToPiece: frame.Identity().Matrix(), Verdict: annotate.VerdictAccepted, Reason: "as made", Covariance: c[:]}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	b.press("Change")
	b.calm()
	b.press("Compare")
	if b.desk.Changed == nil {
		t.Fatalf("not compared: %q", b.next.Text())
	}
	return b
}

// The task Change says what was removed and added with its uncertainty, lists the
// change areas, turns to the one that is taken in hand, and draws how much surface
// moved how far. Source: the exact volumes of bentbody.
func TestChangeTask(t *testing.T) {
	b := openPair(t, 1280, 800)
	slip := words(b.slip)
	e := b.desk.Changed.Entry()
	if !e.Removed.Covers(754.246+232.051+1111.291) || !e.Added.Covers(149.926) {
		t.Errorf("removed %v, added %v", e.Removed, e.Added)
	}
	for _, want := range []string{"3 areas, " + e.Removed.String() + " removed", "1 area, " + e.Added.String() + " added", "They agree", "Smallest change"} {
		if !strings.Contains(slip, strings.ReplaceAll(want, "\u00a0", " ")) {
			t.Errorf("the slip does not say %q: %s", want, slip)
		}
	}
	c := b.desk.Changed
	items := b.items()
	if len(items) != len(c.Change.Areas) || len(items) != 4 {
		t.Fatalf("%d rows for %d areas", len(items), len(c.Change.Areas))
	}
	for i, a := range c.Change.Areas {
		if text := items[i].Text(); !strings.Contains(text, session.ChangeID(i)) || !strings.Contains(text, a.Surface.String()) || !strings.Contains(text, c.Volume.Areas[i].Volume.String()) {
			t.Errorf("row %d says %q", i, text)
		}
	}
	for i := range items {
		b.items()[i].Tapped(nil)
		b.calm()
		if b.walk.area != i || !b.items()[i].Chosen {
			t.Fatalf("area %d is not in hand", i)
		}
		b.until("the picture shows the camera", func() bool { f := b.shown(); return f != nil && f.Camera() == b.camera && f.Settled() })
		if n := b.pixelsOf(c.Change.Areas[i].AfterFaces); n < 2000 {
			t.Errorf("area %d takes %d pixels of the picture", i+1, n)
		}
		if len(b.desk.PointedBorder()) == 0 {
			t.Errorf("no line is drawn round area %d", i+1)
		}
		b.keep(fmt.Sprintf("change-area-%d.png", i+1))
	}

	// The histogram counts all the surface once, and nothing below what shows.
	h := b.desk.GapHistogram(c)
	sum, all := h.UnchangedMM2+h.ElsewhereMM2, 0.0
	for k := range h.Removed {
		sum += h.Removed[k] + h.Added[k]
		if float64(k+1)*h.BinMM <= h.SmallestMM && h.Removed[k]+h.Added[k] != 0 {
			t.Errorf("bin %d, below the smallest change of %.3f mm, holds %v", k, h.SmallestMM, h.Removed[k]+h.Added[k])
		}
	}
	after := c.Change.After.Mesh
	for f := range after.FaceCount() {
		all += r3.Norm(after.AreaVector(uint32(f)))
	}
	if math.Abs(sum-all) > 1e-9*all || h.UnchangedMM2 < all/2 {
		t.Errorf("%.3f mm² counted, %.3f of them unchanged; the scan has %.3f", sum, h.UnchangedMM2, all)
	}
	// What moved, surface times how far, is about the volume: on bodies so little
	// curved within a tenth.
	moved := 0.0
	for k, v := range h.Removed {
		moved += v * (float64(k) + 0.5) * h.BinMM
	}
	if want := 754.246 + 232.051 + 1111.291; math.Abs(moved-want) > 0.1*want {
		t.Errorf("the removed side of the histogram holds %.0f mm³, exactly it is %.0f", moved, want)
	}
	var chart *part.Histogram
	each(b.shelf, func(o fyne.CanvasObject) {
		if x, ok := o.(*part.Histogram); ok {
			chart = x
		}
	})
	if chart == nil || chart.SmallestMM != c.Change.SmallestMM {
		t.Fatalf("the shelf holds no histogram of the pair: %+v", chart)
	}
	for _, k := range chart.Ticks() {
		if !strings.HasSuffix(k.Words, "\u00a0mm") {
			t.Errorf("a tick says %q", k.Words)
		}
	}

	// The cut shows both dates.
	b.rune('k')
	if len(b.cutOf(b.desk.View)) == 0 || len(b.cutOf(b.desk.Other)) == 0 || !strings.Contains(b.next.Text(), "both dates") {
		t.Errorf("the cut: %d and %d lines; %q", len(b.cutOf(b.desk.View)), len(b.cutOf(b.desk.Other)), b.next.Text())
	}
	b.keep("change-cut.png")
}

// What the difference of two scans proposes is walked through by keys: accepted,
// accepted as something else, trimmed, refused with who and why; nothing is
// marked before, each answer is one action, and undo leads back to the same map.
func TestProposalWalk(t *testing.T) {
	b := openPair(t, 1280, 800)
	blank := b.sum()
	unsaved := b.desk.Project.Unsaved()
	b.press("Proposals")
	q := b.desk.Proposed
	if q == nil || len(q.List) != 4 || b.sum() != blank || b.desk.Project.Unsaved() != unsaved {
		t.Fatalf("proposed %+v; the project changed: %v", q, b.sum() != blank)
	}
	fill := -1
	for i := range q.List {
		if len(q.List[i].Marks) > 0 {
			fill = i
		}
	}
	for i := range q.List {
		b.takeChange(i)
		b.calm()
		slip := words(b.slip)
		for _, want := range []string{fmt.Sprintf("PROPOSAL %d OF 4", i+1), "inferred", "differ", q.List[i].Surface.String()} {
			if !strings.Contains(slip, strings.ReplaceAll(want, "\u00a0", " ")) {
				t.Errorf("proposal %d: the slip does not say %q: %s", i+1, want, slip)
			}
		}
		faces, marks := b.desk.ProposalFaces(&q.List[i])
		b.until("the picture shows the camera", func() bool { f := b.shown(); return f != nil && f.Camera() == b.camera && f.Settled() })
		if n := b.pixelsOf(faces); n < 2000 {
			t.Errorf("proposal %d takes %d pixels of the picture", i+1, n)
		}
		if marks != (i == fill) || b.showsChange() == marks {
			t.Errorf("proposal %d would mark %v, shown as change %v", i+1, marks, b.showsChange())
		}
		b.keep(fmt.Sprintf("proposal-%d.png", i+1))
	}

	// Trimmed to a half of it, then whole again, then trimmed and accepted.
	b.takeChange(fill)
	b.rune('t')
	p := &q.List[fill]
	spot, ok := b.desk.SpotOf(p.Marks[0].Faces, b.camera)
	if !ok {
		t.Fatal("the fill is nowhere")
	}
	box := func(from, to float64) []r3.Vec {
		at := func(x, y float64) r3.Vec {
			return r3.Add(spot.At, r3.Add(r3.Scale(x, b.camera.Right), r3.Scale(y, b.camera.Up)))
		}
		return []r3.Vec{at(from, -20), at(to, -20), at(to, 20), at(from, 20)}
	}
	b.drag(box(0, 15)...)
	if n := len(b.walk.within); n < 10 || n > len(p.Marks[0].Faces)*3/4 {
		t.Fatalf("trimmed to %d of %d faces; %q", n, len(p.Marks[0].Faces), b.next.Text())
	}
	b.keep("proposal-trimmed.png")
	trimmed := len(b.walk.within)
	b.press("Whole again")
	if b.walk.within != nil || b.sum() != blank {
		t.Error("not whole again, or something was marked")
	}
	b.drag(box(0, 15)...)
	b.rune('a')
	r := b.desk.Project.Record()
	if a := q.Answers[fill]; a == nil || !a.Trimmed || len(r.Regions) != 1 || r.Regions[0].Kind != annotate.Fill || r.Regions[0].Certainty != "inferred" || r.Regions[0].Evidence == "" {
		t.Fatalf("after accepting: %+v, regions %+v; %q", a, r.Regions, b.next.Text())
	}
	m, err := b.desk.Project.Map(b.desk.View)
	if err != nil || len(m.Faces(1)) != trimmed {
		t.Errorf("%d faces are marked, wanted %d", len(m.Faces(1)), trimmed)
	}
	if b.walk.at == fill {
		t.Error("the walk did not go on")
	}
	b.Undo()
	b.calm()
	if b.sum() != blank || b.desk.Proposed.Answers[fill] != nil {
		t.Error("undo left something")
	}

	// Accepted as another word, which needs its basis.
	b.takeChange(fill)
	b.calm()
	b.chooseWord("Fill", "Reconstruction")
	b.chooseWord("", "modelled, guided")
	b.press("Accept as reconstruction (a)")
	r = b.desk.Project.Record()
	if g := r.Regions[0]; g.Kind != annotate.Reconstruction || g.Basis != "modelled_guided" {
		t.Errorf("region %+v", g)
	}

	// Refused, with why.
	n := b.walk.at
	each(b.slip, func(o fyne.CanvasObject) {
		if x, ok := o.(*widget.Entry); ok {
			x.SetText("a stand was there")
		}
	})
	b.rune('o')
	if a := b.desk.Proposed.Answers[n]; a == nil || a.Verdict != annotate.AnswerRefused || a.Note != "a stand was there" {
		t.Errorf("refused: %+v; %q", a, b.next.Text())
	}
	// The rest accepted; what the areas were is noted.
	for range 2 {
		b.rune('a')
	}
	if !strings.Contains(b.next.Text(), "All are answered") {
		t.Errorf("at the end: %q", b.next.Text())
	}
	for i, a := range b.desk.Proposed.Answers {
		if a == nil {
			t.Errorf("proposal %d has no answer", i+1)
		}
	}
	b.press("Change areas")
	if slip := words(b.slip); !strings.Contains(slip, "What: matrix") {
		t.Errorf("the areas: %s", slip)
	}
}

// sum is the hash of the map in view.
func (b *bench) sum() string {
	b.Helper()
	s, err := b.desk.MapSum()
	if err != nil {
		b.Fatal(err)
	}
	return s
}

// chooseWord takes a word in the field where another stands.
func (b *bench) chooseWord(stands, word string) {
	b.Helper()
	var found *widget.Select
	each(b.slip, func(o fyne.CanvasObject) {
		if x, ok := o.(*widget.Select); ok && x.Selected == stands {
			for _, w := range x.Options {
				if w == word {
					found = x
				}
			}
		}
	})
	if found == nil {
		b.Fatalf("no field that says %q offers %q", stands, word)
	}
	found.SetSelected(word)
	b.calm()
}

// Every word of the task and of the walk is readable at every size of text and in
// the smallest window, in light and dark.
func TestChangeTaskShowsEveryWord(t *testing.T) {
	for _, size := range []fyne.Size{{Width: 1280, Height: 800}, {Width: 1100, Height: 720}} {
		b := openPair(t, size.Width, size.Height)
		for _, walking := range []bool{false, true} {
			if walking {
				b.theme.Scale = 1
				b.restyle()
				b.press("Proposals")
			} else {
				b.takeArea(0)
			}
			for i, scale := range look.Sizes {
				b.theme.Scale, b.theme.Appearance = scale, look.Appearance(i%2)
				b.restyle()
				b.calm()
				b.fits(fmt.Sprintf("%g x %g at size %g, walking %v", size.Width, size.Height, scale, walking))
				b.keep(fmt.Sprintf("change-%gx%g-%g-%v.png", size.Width, size.Height, scale, walking))
			}
		}
	}
}
