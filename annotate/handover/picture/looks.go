package picture

import (
	"cmp"
	"slices"
	"sync"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/terms"
	"rigatino/mesh/render"
)

// Show is a way of laying the map over the specimen.
type Show int

// The ways, in the order of the buttons.
const (
	AsSeen Show = iota
	MapOnSurface
	MapOnly
)

// String gives the words on screen.
func (s Show) String() string {
	return [...]string{"as seen", "map on surface", "map"}[min(max(int(s), 0), 2)]
}

// Looks is the map of one use as the renderer wants it. It is made once and
// kept up to date face by face, so that a dab costs what it touched.
type Looks struct {
	labels  *facemap.Map
	regions map[uint16]annotate.Region
	show    Show
	hidden  map[uint16]bool

	marks  render.Marks
	sets   map[string]uint16   // set of regions → look
	cells  map[uint32][]uint16 // looks of the cells of split faces
	over   []uint16
	key    []byte
	layers []facemap.OverlayRegion
}

// NewLooks makes the looks of a whole map. regions are those of its use; tileMM
// is the side of the hatch tile (terms.TileFor). The map and its renderer must
// not be used at once with Update.
func NewLooks(labels *facemap.Map, regions []annotate.Region, show Show, tileMM float64) *Looks {
	l := &Looks{
		labels: labels, show: show, regions: make(map[uint16]annotate.Region, len(regions)),
		hidden: map[uint16]bool{}, sets: map[string]uint16{}, cells: map[uint32][]uint16{},
	}
	for _, r := range regions {
		l.regions[r.Number] = r
	}
	l.marks.TileMM, l.marks.Outline = tileMM, terms.Outline
	l.marks.Faces = make([]uint16, labels.FaceCount())
	l.marks.At = l.at
	l.rebuild()
	return l
}

// Marks is what the renderer draws; nil shows the scan alone.
func (l *Looks) Marks() *render.Marks {
	if l.show == AsSeen {
		return nil
	}
	return &l.marks
}

// Only is the map with everything but one substance left as the scan looks,
// however the map is shown. Faces follow the map; Looks are as they are now.
func (l *Looks) Only(kind string) render.Marks {
	out := l.marks
	out.Looks = make([]render.Look, len(l.marks.Looks))
	for key, i := range l.sets {
		number := uint16(key[0]) | uint16(key[1])<<8
		if r, ok := l.regions[number]; ok && r.Kind == kind {
			out.Looks[i] = l.marks.Looks[i]
		}
	}
	return out
}

// SetShow changes the way of showing.
func (l *Looks) SetShow(show Show) {
	if show != l.show {
		l.show = show
		l.rebuild()
	}
}

// SetRegions takes the regions anew, as after one changed its kind.
func (l *Looks) SetRegions(regions []annotate.Region) {
	clear(l.regions)
	for _, r := range regions {
		l.regions[r.Number] = r
	}
	l.rebuild()
}

// Hide leaves a region's pattern out, or shows it again.
func (l *Looks) Hide(region uint16, hidden bool) {
	if l.hidden[region] != hidden {
		l.hidden[region] = hidden
		l.rebuild()
	}
}

// Update reads the faces that an action touched again, and the regions it may
// have made; the whole map, if a region is of another kind than before.
func (l *Looks) Update(faces []uint32, regions []annotate.Region) {
	other := false
	for _, r := range regions {
		old, ok := l.regions[r.Number]
		if !ok || old.Kind != r.Kind || old.Layer != r.Layer {
			l.regions[r.Number] = r
			other = other || ok
		}
	}
	if other {
		l.rebuild()
		return
	}
	l.layers = l.labels.OverlayRegions()
	for _, f := range faces {
		l.read(f)
	}
}

func (l *Looks) rebuild() {
	clear(l.sets)
	clear(l.cells)
	l.marks.Looks = l.marks.Looks[:0]
	l.layers = l.labels.OverlayRegions()
	l.lookOf(0, nil) // index 0: nobody has marked it
	split := l.labels.SplitFaces()
	if len(l.layers) == 0 && l.labels.ElsewhereCount() == 0 {
		// Most maps: one look a substance region.
		looks := map[uint16]uint16{}
		for f, n := range l.labels.Labels() {
			i, ok := looks[n]
			if !ok {
				i = l.lookOf(n, nil)
				looks[n] = i
			}
			l.marks.Faces[f] = i
		}
		for _, f := range split {
			l.read(f)
		}
		return
	}
	for f := range l.marks.Faces {
		l.read(uint32(f))
	}
}

// read finds the look of one face.
func (l *Looks) read(f uint32) {
	if l.labels.Elsewhere(f) {
		// Counted in another part: shown as the scan looks.
		l.marks.Faces[f] = l.lookOf(elsewhere, nil)
		return
	}
	if s := l.labels.Sub(f); s != nil {
		cells := make([]uint16, facemap.Cells(s.Level))
		for i := range cells {
			l.over = l.over[:0]
			for _, o := range s.Over {
				if o.Cells>>i&1 == 1 {
					l.over = append(l.over, o.Region)
				}
			}
			cells[i] = l.lookOf(s.Substance[i], l.over)
		}
		l.cells[f] = cells
		l.marks.Faces[f] = render.Split
		return
	}
	if len(l.cells) > 0 {
		delete(l.cells, f)
	}
	l.over = l.over[:0]
	if len(l.layers) > 0 {
		l.over = l.labels.Overlays(f, l.over)
	}
	l.marks.Faces[f] = l.lookOf(l.labels.Substance(f), l.over)
}

// at is asked by the renderer for places on split faces.
func (l *Looks) at(face uint32, weights [3]float64) uint16 {
	cells := l.cells[face]
	level := uint8(0)
	for n := len(cells); n > 1; n /= 4 {
		level++
	}
	if i := facemap.CellAt(level, weights); i < len(cells) {
		return cells[i]
	}
	return 0
}

// elsewhere stands for the substance region of faces counted in another part.
// No region has it: numbers are given from 1 upwards.
const elsewhere = 0xFFFF

// lookOf returns the look of a set of regions, making it where it is new.
func (l *Looks) lookOf(substance uint16, over []uint16) uint16 {
	l.key = append(l.key[:0], byte(substance), byte(substance>>8))
	for _, n := range over {
		l.key = append(l.key, byte(n), byte(n>>8))
	}
	if i, ok := l.sets[string(l.key)]; ok {
		return i
	}
	if len(l.marks.Looks) >= render.Split {
		return 0 // 65 535 different overlaps: more than a picture can tell apart
	}
	i := uint16(len(l.marks.Looks))
	l.sets[string(l.key)] = i
	l.marks.Looks = append(l.marks.Looks, l.make(substance, over, uint32(i)+1))
	return i
}

// make puts a look together: paper and ink of the substance, then the overlays,
// the topmost last.
func (l *Looks) make(substance uint16, over []uint16, edge uint32) render.Look {
	if substance == elsewhere {
		return render.Look{}
	}
	kind := "unassigned"
	if r, ok := l.regions[substance]; ok {
		kind = r.Kind
	}
	var look render.Look
	if term, ok := terms.Get(terms.Substance, kind); ok && !l.hidden[substance] {
		look.Paper, look.Opacity = term.Look.Paper, term.Look.Opacity
		if l.show == MapOnly {
			look.Opacity = 1
		}
		look.Inks = append(look.Inks, InkOf(term.Look))
	}
	if kind == "original" && len(over) == 0 {
		look.Inks = nil
		return look // no edge: the others' outlines run round it
	}
	look.Edge = edge
	var overlays []annotate.Region
	for _, n := range over {
		if r, ok := l.regions[n]; ok && !l.hidden[n] {
			overlays = append(overlays, r)
		}
	}
	slices.SortStableFunc(overlays, func(a, b annotate.Region) int {
		return cmp.Compare(terms.Order(terms.List(a.Layer), a.Kind), terms.Order(terms.List(b.Layer), b.Kind))
	})
	for _, r := range overlays {
		if term, ok := terms.Get(terms.List(r.Layer), r.Kind); ok && term.Look != nil {
			look.Inks = append(look.Inks, InkOf(term.Look))
		}
	}
	return look
}

// patterns holds the hatch of every word, worked out once for the program.
var patterns sync.Map // *terms.Look → *render.Pattern

// InkOf is the hatch of a word as the renderer draws it.
func InkOf(look *terms.Look) render.Ink {
	p, ok := patterns.Load(look)
	if !ok {
		p, _ = patterns.LoadOrStore(look, render.NewPattern(terms.TileMM, look.Cover))
	}
	ink := render.Ink{Pattern: p.(*render.Pattern), Colour: look.Ink}
	if look.HaloMM > 0 {
		ink.Halo = terms.White
	}
	return ink
}
