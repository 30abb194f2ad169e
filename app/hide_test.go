package app

import (
	"strings"
	"testing"

	"rigatino/annotate"
	"rigatino/app/part"
	"rigatino/mesh/solid"
)

// A region that is pressed in the list loses its pattern in the picture and its
// name, and gets both back; the map and its values stay. Source: the map itself,
// and the scan's own looks where nothing is marked.
func TestHideRegion(t *testing.T) {
	b := openWindow(t, 1280, 800, scanFile(t, solid.Icosphere(5, 40)))
	var all []uint32
	for f := range b.desk.Body(b.desk.View).Surface.Mesh.FaceCount() {
		all = append(all, uint32(f))
	}
	if _, err := b.desk.Project.MapFaces(b.desk.View, annotate.Region{Layer: annotate.LayerSubstance, Kind: annotate.Matrix, Certainty: "seen"}, all); err != nil {
		t.Fatal(err)
	}
	if err := b.desk.Refresh(nil); err != nil {
		t.Fatal(err)
	}
	b.press("Map")
	b.press("Map on surface")
	b.calm()
	list := func() []*part.Item { return b.items() }
	b.until("the regions are listed", func() bool { return len(list()) == 1 })
	item := list()[0]
	if text := item.Text(); !strings.HasPrefix(text, "**R1** matrix left") || !strings.Contains(text, "201\u00a0cm²") {
		t.Errorf("the row says %q", text)
	}
	sum, err := b.desk.MapSum()
	if err != nil {
		t.Fatal(err)
	}
	looks := func() (marked int) {
		for _, n := range b.desk.Body(b.desk.View).Looks.Marks().Faces {
			if l := b.desk.Body(b.desk.View).Looks.Marks().Looks[n]; l.Opacity > 0 || len(l.Inks) > 0 {
				marked++
			}
		}
		return marked
	}
	if looks() != len(all) {
		t.Fatalf("%d of %d faces look marked", looks(), len(all))
	}
	item.Tapped(nil)
	b.calm()
	if looks() != 0 || !b.desk.Hidden("R1") || !strings.Contains(item.Text(), "pattern hidden") {
		t.Errorf("hidden: %d faces look marked; the row says %q", looks(), item.Text())
	}
	// It stays hidden when the map is read anew, and nothing was marked by it.
	if err := b.desk.Refresh(nil); err != nil {
		t.Fatal(err)
	}
	if now, err := b.desk.MapSum(); looks() != 0 || now != sum || err != nil {
		t.Errorf("read anew: %d faces look marked, map %s, was %s (%v)", looks(), now, sum, err)
	}
	item.Tapped(nil)
	b.calm()
	if looks() != len(all) || b.desk.Hidden("R1") {
		t.Errorf("shown again: %d of %d faces look marked", looks(), len(all))
	}
}
