package facemap

import (
	"cmp"
	"fmt"
	"slices"
)

// Diff is what an operation changed in a map, by value: applying it to the map
// as it was gives the map as it is, and its inverse leads back. Runs are sorted
// and do not touch others of the same values, so equal changes give equal
// diffs.
type Diff struct {
	Substance []SubstanceRun
	Over      []OverRun
	Elsewhere []ElsewhereRun
	Subs      []SubChange
}

// SubstanceRun is Count faces from Start on that went from region Before to
// region After.
type SubstanceRun struct {
	Start, Count  uint32
	Before, After uint16
}

// OverRun is Count faces from Start on that an applied or condition region won
// (On) or lost.
type OverRun struct {
	Region       uint16
	Layer        Layer
	Start, Count uint32
	On           bool
}

// ElsewhereRun is Count faces from Start on that began (On) or ceased to be
// counted in an earlier part.
type ElsewhereRun struct {
	Start, Count uint32
	On           bool
}

// SubChange is the cells of one face before and after, nil where it was or
// became whole.
type SubChange struct {
	Face          uint32
	Before, After *Sub
}

// Empty says whether the diff changes nothing.
func (d Diff) Empty() bool {
	return len(d.Substance) == 0 && len(d.Over) == 0 && len(d.Elsewhere) == 0 && len(d.Subs) == 0
}

// Faces returns the faces that the diff touches, ascending.
func (d Diff) Faces() []uint32 {
	var out []uint32
	add := func(start, count uint32) {
		for f := start; f < start+count; f++ {
			out = append(out, f)
		}
	}
	for _, r := range d.Substance {
		add(r.Start, r.Count)
	}
	for _, r := range d.Over {
		add(r.Start, r.Count)
	}
	for _, r := range d.Elsewhere {
		add(r.Start, r.Count)
	}
	for _, c := range d.Subs {
		out = append(out, c.Face)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Inverse returns the diff that undoes d.
func (d Diff) Inverse() Diff {
	out := Diff{
		Substance: slices.Clone(d.Substance), Over: slices.Clone(d.Over),
		Elsewhere: slices.Clone(d.Elsewhere), Subs: slices.Clone(d.Subs),
	}
	for i, r := range out.Substance {
		out.Substance[i].Before, out.Substance[i].After = r.After, r.Before
	}
	for i := range out.Over {
		out.Over[i].On = !out.Over[i].On
	}
	for i := range out.Elsewhere {
		out.Elsewhere[i].On = !out.Elsewhere[i].On
	}
	for i, c := range out.Subs {
		out.Subs[i].Before, out.Subs[i].After = c.After, c.Before
	}
	return out
}

// Apply makes the changes of d. If the map is not as it was before d, nothing
// is changed and the first place that differs is named.
func (m *Map) Apply(d Diff) error {
	if err := m.fits(d); err != nil {
		return err
	}
	for _, r := range d.Substance {
		for f := r.Start; f < r.Start+r.Count; f++ {
			m.substance[f] = r.After
		}
	}
	for _, r := range d.Over {
		for f := r.Start; f < r.Start+r.Count; f++ {
			m.putOver(r.Region, r.Layer, f, r.On)
		}
	}
	for _, r := range d.Elsewhere {
		for f := r.Start; f < r.Start+r.Count; f++ {
			m.elsewhere.set(f, r.On)
		}
	}
	for _, c := range d.Subs {
		m.putSub(c.Face, c.After)
	}
	m.dropEmpty()
	m.revision++
	return nil
}

func (m *Map) fits(d Diff) error {
	n := uint64(len(m.substance))
	inside := func(start, count uint32) error {
		if uint64(start)+uint64(count) > n {
			return fmt.Errorf("change of faces %d to %d does not fit a map of %d faces", start, uint64(start)+uint64(count)-1, n)
		}
		return nil
	}
	for _, r := range d.Substance {
		if err := inside(r.Start, r.Count); err != nil {
			return err
		}
		for f := r.Start; f < r.Start+r.Count; f++ {
			if m.substance[f] != r.Before {
				return fmt.Errorf("face %d is in substance region %d, the change expects %d", f, m.substance[f], r.Before)
			}
		}
	}
	for _, r := range d.Over {
		if err := inside(r.Start, r.Count); err != nil {
			return err
		}
		o := m.over[r.Region]
		if o != nil && o.layer != r.Layer {
			return fmt.Errorf("region %d is in layer %v, the change says %v", r.Region, o.layer, r.Layer)
		}
		for f := r.Start; f < r.Start+r.Count; f++ {
			if (o != nil && o.faces.has(f)) == r.On {
				return fmt.Errorf("face %d does not stand to %v region %d as the change expects", f, r.Layer, r.Region)
			}
		}
	}
	for _, r := range d.Elsewhere {
		if err := inside(r.Start, r.Count); err != nil {
			return err
		}
		for f := r.Start; f < r.Start+r.Count; f++ {
			if m.elsewhere.has(f) == r.On {
				return fmt.Errorf("face %d is not counted as the change expects", f)
			}
		}
	}
	for _, c := range d.Subs {
		if err := inside(c.Face, 1); err != nil {
			return err
		}
		if !m.subs[c.Face].equal(c.Before) {
			return fmt.Errorf("the cells of face %d are not as the change expects", c.Face)
		}
		if c.After == nil {
			continue
		}
		for _, s := range c.After.Over {
			if o := m.over[s.Region]; o != nil && o.layer != s.Layer {
				return fmt.Errorf("region %d is in layer %v, the change says %v", s.Region, o.layer, s.Layer)
			}
		}
	}
	return nil
}

func (m *Map) putOver(region uint16, layer Layer, face uint32, on bool) {
	o := m.over[region]
	if o == nil {
		o = &overlay{layer: layer}
		m.over[region] = o
	}
	o.faces.set(face, on)
}

func (m *Map) putSub(face uint32, s *Sub) {
	if old := m.subs[face]; old != nil {
		for _, o := range old.Over {
			m.over[o.Region].cells--
		}
	}
	if s == nil {
		delete(m.subs, face)
		return
	}
	m.subs[face] = s
	for _, o := range s.Over {
		if m.over[o.Region] == nil {
			m.over[o.Region] = &overlay{layer: o.Layer}
		}
		m.over[o.Region].cells++
	}
}

// dropEmpty forgets regions that hold nothing any more, so that a map does not
// remember what was undone.
func (m *Map) dropEmpty() {
	for n, o := range m.over {
		if o.faces.count == 0 && o.cells == 0 {
			delete(m.over, n)
		}
	}
}

// Join returns the one diff that does what the given ones do one after the
// other.
func Join(diffs ...Diff) Diff {
	var c changes
	for _, d := range diffs {
		for _, r := range d.Substance {
			for f := r.Start; f < r.Start+r.Count; f++ {
				c.substance = append(c.substance, substanceChange{f, r.Before, r.After})
			}
		}
		for _, r := range d.Over {
			for f := r.Start; f < r.Start+r.Count; f++ {
				c.over = append(c.over, overChange{r.Region, r.Layer, f, r.On})
			}
		}
		for _, r := range d.Elsewhere {
			for f := r.Start; f < r.Start+r.Count; f++ {
				c.elsewhere = append(c.elsewhere, overChange{face: f, on: r.On})
			}
		}
		c.subs = append(c.subs, d.Subs...)
	}
	return c.diff()
}

// changes are single changes in the order they were made.
type changes struct {
	substance []substanceChange
	over      []overChange
	elsewhere []overChange
	subs      []SubChange
}

type substanceChange struct {
	face          uint32
	before, after uint16
}

type overChange struct {
	region uint16
	layer  Layer
	face   uint32
	on     bool
}

// diff sums the changes up: what each face was first and is last.
func (c *changes) diff() Diff {
	var d Diff
	sortBy(c.substance, func(a, b substanceChange) int { return cmp.Compare(a.face, b.face) })
	for i := 0; i < len(c.substance); {
		first := c.substance[i]
		last := first
		for ; i < len(c.substance) && c.substance[i].face == first.face; i++ {
			last = c.substance[i]
		}
		if first.before == last.after {
			continue
		}
		if n := len(d.Substance) - 1; n >= 0 && d.Substance[n].Before == first.before && d.Substance[n].After == last.after &&
			d.Substance[n].Start+d.Substance[n].Count == first.face {
			d.Substance[n].Count++
			continue
		}
		d.Substance = append(d.Substance, SubstanceRun{first.face, 1, first.before, last.after})
	}
	d.Over = overRuns(c.over)
	for _, r := range overRuns(c.elsewhere) {
		d.Elsewhere = append(d.Elsewhere, ElsewhereRun{r.Start, r.Count, r.On})
	}
	sortBy(c.subs, func(a, b SubChange) int { return cmp.Compare(a.Face, b.Face) })
	for i := 0; i < len(c.subs); {
		first := c.subs[i]
		last := first
		for ; i < len(c.subs) && c.subs[i].Face == first.Face; i++ {
			last = c.subs[i]
		}
		if !first.Before.equal(last.After) {
			d.Subs = append(d.Subs, SubChange{first.Face, first.Before, last.After})
		}
	}
	return d
}

func overRuns(list []overChange) []OverRun {
	sortBy(list, func(a, b overChange) int {
		return cmp.Or(cmp.Compare(a.region, b.region), cmp.Compare(a.face, b.face))
	})
	var out []OverRun
	for i := 0; i < len(list); {
		first := list[i]
		last := first
		for ; i < len(list) && list[i].region == first.region && list[i].face == first.face; i++ {
			last = list[i]
		}
		if first.on != last.on {
			continue // won and lost again, or the reverse
		}
		if n := len(out) - 1; n >= 0 && out[n].Region == first.region && out[n].On == first.on && out[n].Start+out[n].Count == first.face {
			out[n].Count++
			continue
		}
		out = append(out, OverRun{first.region, first.layer, first.face, 1, first.on})
	}
	return out
}

// sortBy sorts stably, and costs one pass when the list is in order already.
func sortBy[T any](list []T, compare func(a, b T) int) {
	if !slices.IsSortedFunc(list, compare) {
		slices.SortStableFunc(list, compare)
	}
}
