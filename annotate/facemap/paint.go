package facemap

import (
	"fmt"
)

// Paint says what an operation does to the faces it takes.
type Paint struct {
	// Layer and Region say what the faces become part of. In layer substance
	// region 0 makes them unassigned.
	Layer  Layer
	Region uint16
	// Erase takes the faces out of Region instead; in layer substance only
	// those that are in it, which become unassigned.
	Erase bool
	// Only, if not nil, leaves alone whatever lies on a substance region it
	// does not accept: a tool mark belongs on the fossil, not on a fill.
	Only func(substance uint16) bool
	// Drop takes the faces out of these applied or condition regions as well,
	// for conditions that the new substance cannot have.
	Drop []uint16
}

// Outcome is what an operation did.
type Outcome struct {
	Diff    Diff
	Taken   int // faces that the operation reached and could mark, whole or in part
	Skipped int // faces that Paint.Only kept it from, whole or in part
}

// edit makes changes to a map and remembers them.
type edit struct {
	m     *Map
	p     Paint
	made  changes
	taken int
	left  int
}

func (m *Map) begin(p Paint) (*edit, error) {
	if p.Layer > Condition {
		return nil, fmt.Errorf("%v does not exist: layers are substance, applied and condition", p.Layer)
	}
	if p.Region == 0 && (p.Layer != Substance || p.Erase) {
		return nil, fmt.Errorf("region 0 is no %v region: give the number of one", p.Layer)
	}
	if o := m.over[p.Region]; o != nil && o.layer != p.Layer {
		return nil, fmt.Errorf("region %d is in layer %v already and cannot be in layer %v too", p.Region, o.layer, p.Layer)
	}
	return &edit{m: m, p: p}, nil
}

func (e *edit) done() Outcome {
	e.m.dropEmpty()
	e.m.revision++
	return Outcome{Diff: e.made.diff(), Taken: e.taken, Skipped: e.left}
}

// accepts says whether the paint may go where this substance is.
func (e *edit) accepts(substance uint16) bool { return e.p.Only == nil || e.p.Only(substance) }

// becomes returns the substance label a place has afterwards.
func (e *edit) becomes(substance uint16) uint16 {
	switch {
	case e.p.Layer != Substance:
		return substance
	case !e.p.Erase:
		return e.p.Region
	case substance == e.p.Region:
		return 0
	default:
		return substance
	}
}

// face paints a whole face.
func (e *edit) face(f uint32) {
	if e.m.subs[f] != nil {
		e.cells(f, 0, 1)
		return
	}
	old := e.m.substance[f]
	if !e.accepts(old) {
		e.left++
		return
	}
	e.taken++
	e.setSubstance(f, e.becomes(old))
	if e.p.Layer != Substance {
		e.setOver(e.p.Region, e.p.Layer, f, !e.p.Erase)
	}
	for _, n := range e.p.Drop {
		if o := e.m.over[n]; o != nil {
			e.setOver(n, o.layer, f, false)
		}
	}
}

// cells paints the cells of a face that the mask at a level names.
func (e *edit) cells(f uint32, level uint8, mask uint64) {
	if mask == 0 {
		return
	}
	old := e.m.subs[f]
	if old == nil && mask == allCells(level) {
		e.face(f)
		return
	}
	var s *Sub
	if old != nil {
		to := max(level, old.Level)
		s, mask = old.finer(to), finerMask(mask, level, to)
	} else {
		s = e.m.whole(f, level)
	}
	var on uint64
	for i, label := range s.Substance {
		if mask>>i&1 == 1 && e.accepts(label) {
			on |= 1 << i
			s.Substance[i] = e.becomes(label)
		}
	}
	if on != mask {
		e.left++
	}
	if on == 0 {
		return
	}
	e.taken++
	if e.p.Layer != Substance {
		cells := s.over(e.p.Region) | on
		if e.p.Erase {
			cells &^= on
		}
		s.setOver(e.p.Region, e.p.Layer, cells)
	}
	for _, n := range e.p.Drop {
		if o := e.m.over[n]; o != nil {
			s.setOver(n, o.layer, s.over(n)&^on)
		}
	}
	e.setCells(f, s)
}

// whole returns the labels of an unsplit face as cells.
func (m *Map) whole(f uint32, level uint8) *Sub {
	s := &Sub{Level: level, Substance: make([]uint16, Cells(level))}
	for i := range s.Substance {
		s.Substance[i] = m.substance[f]
	}
	for n, o := range m.over {
		if o.faces.has(f) {
			s.setOver(n, o.layer, allCells(level))
		}
	}
	return s
}

// setCells gives a face its cells, or makes it whole again if they are equal,
// and keeps what stands for the whole face in step.
func (e *edit) setCells(f uint32, s *Sub) {
	e.setSubstance(f, s.majority())
	var now []uint16
	now = e.m.Overlays(f, now)
	for _, n := range now {
		if !s.mostly(n) {
			e.setOver(n, e.m.over[n].layer, f, false)
		}
	}
	for _, o := range s.Over {
		if s.mostly(o.Region) {
			e.setOver(o.Region, o.Layer, f, true)
		}
	}
	if s.uniform() {
		s = nil
	}
	if old := e.m.subs[f]; !old.equal(s) {
		e.made.subs = append(e.made.subs, SubChange{f, old, s})
		e.m.putSub(f, s)
	}
}

func (e *edit) setSubstance(f uint32, label uint16) {
	if old := e.m.substance[f]; old != label {
		e.made.substance = append(e.made.substance, substanceChange{f, old, label})
		e.m.substance[f] = label
	}
}

func (e *edit) setOver(region uint16, layer Layer, f uint32, on bool) {
	if o := e.m.over[region]; (o != nil && o.faces.has(f)) != on {
		e.made.over = append(e.made.over, overChange{region, layer, f, on})
		e.m.putOver(region, layer, f, on)
	}
}

// AssignFaces paints the faces listed, whole.
func (m *Map) AssignFaces(faces []uint32, p Paint) (Outcome, error) {
	for _, f := range faces {
		if int64(f) >= int64(len(m.substance)) {
			return Outcome{}, fmt.Errorf("face %d does not exist: the scan has faces 0 to %d", f, len(m.substance)-1)
		}
	}
	e, err := m.begin(p)
	if err != nil {
		return Outcome{}, err
	}
	for _, f := range faces {
		e.face(f)
	}
	return e.done(), nil
}

// Rest puts every face, and every cell of a split face, that is in no
// substance region into the given one. Applied and condition regions there
// stay: retouch that oversteps on to bone lies on bone.
func (m *Map) Rest(region uint16) (Outcome, error) {
	e, err := m.begin(Paint{Layer: Substance, Region: region, Only: func(s uint16) bool { return s == 0 }})
	if err != nil {
		return Outcome{}, err
	}
	if region == 0 {
		return Outcome{}, fmt.Errorf("region 0 is no substance region: give the number of one")
	}
	for f, s := range m.substance {
		if s == 0 || m.subs[uint32(f)] != nil {
			e.face(uint32(f))
		}
	}
	out := e.done()
	out.Skipped = 0
	return out, nil
}

// CountElsewhere replaces the set of faces that are counted in an earlier part
// of the same piece.
func (m *Map) CountElsewhere(faces []uint32) (Diff, error) {
	var want faceSet
	for _, f := range faces {
		if int64(f) >= int64(len(m.substance)) {
			return Diff{}, fmt.Errorf("face %d does not exist: the scan has faces 0 to %d", f, len(m.substance)-1)
		}
		want.set(f, true)
	}
	var c changes
	m.elsewhere.each(func(f uint32) {
		if !want.has(f) {
			c.elsewhere = append(c.elsewhere, overChange{face: f, on: false})
		}
	})
	want.each(func(f uint32) {
		if !m.elsewhere.has(f) {
			c.elsewhere = append(c.elsewhere, overChange{face: f, on: true})
		}
	})
	d := c.diff()
	return d, m.Apply(d)
}
