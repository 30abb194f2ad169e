package facemap

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"maps"
	"math"
	"slices"
)

// The file, little-endian throughout:
//
//	magic "RIGAMAP\n", version uint32, scan id 32 bytes, faces uint32,
//	regions uint32, elsewhere runs uint32, sets uint32, split faces uint32
//	substance  uint16 per face
//	regions    by number: number uint16, layer uint16, runs uint32, runs × (start, length uint32)
//	elsewhere  runs × (start, length uint32)
//	sets       each: count uint16, region numbers uint16 ascending; in lexical order, set 1 first
//	cells      by face: face uint32, level uint8, then 4^level uint16 each of substance, applied set, condition set
//
// Set 0 is the empty set. A split face stands among the substance labels and
// region runs with what most of its cells hold, so that a reader which knows no
// cells still sees the face.
const (
	magic       = "RIGAMAP\n"
	fileVersion = 1
	headerBytes = len(magic) + 4 + 32 + 5*4
)

// Encode returns the file form of the map; equal maps give equal bytes.
func (m *Map) Encode() ([]byte, error) {
	sets, number, err := m.sets()
	if err != nil {
		return nil, err
	}
	le := binary.LittleEndian
	out := make([]byte, 0, headerBytes+2*len(m.substance)+64*len(m.subs))
	out = append(out, magic...)
	out = le.AppendUint32(out, fileVersion)
	out = append(out, m.scan[:]...)
	elsewhere := m.elsewhere.runs()
	for _, n := range []int{len(m.substance), len(m.over), len(elsewhere), len(sets), len(m.subs)} {
		out = le.AppendUint32(out, uint32(n))
	}
	for _, l := range m.substance {
		out = le.AppendUint16(out, l)
	}
	appendRuns := func(runs []run) {
		for _, r := range runs {
			out = le.AppendUint32(out, r.Start)
			out = le.AppendUint32(out, r.Length)
		}
	}
	for _, n := range slices.Sorted(maps.Keys(m.over)) {
		o := m.over[n]
		runs := o.faces.runs()
		out = le.AppendUint16(out, n)
		out = le.AppendUint16(out, uint16(o.layer))
		out = le.AppendUint32(out, uint32(len(runs)))
		appendRuns(runs)
	}
	appendRuns(elsewhere)
	for _, s := range sets {
		out = le.AppendUint16(out, uint16(len(s)))
		for _, n := range s {
			out = le.AppendUint16(out, n)
		}
	}
	for _, f := range m.SplitFaces() {
		s := m.subs[f]
		out = le.AppendUint32(out, f)
		out = append(out, s.Level)
		for _, l := range s.Substance {
			out = le.AppendUint16(out, l)
		}
		for _, layer := range []Layer{Applied, Condition} {
			for cell := range s.Substance {
				out = le.AppendUint16(out, number[setKey(s.set(cell, layer))])
			}
		}
	}
	return out, nil
}

// FileName returns the name a map file has by its content: the SHA-256 of the
// encoded map and .bin.
func FileName(encoded []byte) string {
	sum := sha256.Sum256(encoded)
	return hex.EncodeToString(sum[:]) + ".bin"
}

// set returns the regions of one layer that hold a cell, ascending.
func (s *Sub) set(cell int, layer Layer) []uint16 {
	var out []uint16
	for _, o := range s.Over {
		if o.Layer == layer && o.Cells>>cell&1 == 1 {
			out = append(out, o.Region)
		}
	}
	return out
}

func setKey(set []uint16) string {
	key := make([]byte, 0, 2*len(set))
	for _, n := range set {
		key = binary.BigEndian.AppendUint16(key, n)
	}
	return string(key)
}

// sets lists the distinct sets of regions that cells hold, and their numbers.
func (m *Map) sets() ([][]uint16, map[string]uint16, error) {
	all := map[string][]uint16{}
	for _, s := range m.subs {
		for cell := range s.Substance {
			for _, layer := range []Layer{Applied, Condition} {
				if set := s.set(cell, layer); len(set) > 0 {
					all[setKey(set)] = set
				}
			}
		}
	}
	if len(all) > math.MaxUint16 {
		return nil, nil, fmt.Errorf("the map holds %d combinations of regions, more than the %d its file can number", len(all), math.MaxUint16)
	}
	number := map[string]uint16{"": 0}
	var sets [][]uint16
	for _, key := range slices.Sorted(maps.Keys(all)) {
		sets = append(sets, all[key])
		number[key] = uint16(len(sets))
	}
	return sets, number, nil
}

// Decode reads the file form of a map. What Encode could not have written is
// refused with the place where the file departs from it.
func Decode(data []byte) (*Map, error) {
	r := &reader{data: data}
	if !bytes.Equal(r.take("magic", len(magic)), []byte(magic)) {
		return nil, fmt.Errorf("this is no map file: it does not begin with %q", magic)
	}
	if version := r.u32("version"); r.err == nil && version != fileVersion {
		return nil, fmt.Errorf("map file version %d is not known here, only version %d: open it with a newer program", version, fileVersion)
	}
	scan := r.take("scan id", 32)
	faces, regions, elsewhere, sets, subs := r.u32("face count"), r.u32("region count"), r.u32("run count"), r.u32("set count"), r.u32("split face count")
	dense := r.take("substance labels", 2*int(faces))
	if r.err != nil {
		return nil, r.err
	}
	m := &Map{substance: make([]uint16, faces), over: map[uint16]*overlay{}, subs: map[uint32]*Sub{}}
	copy(m.scan[:], scan)
	for i := range m.substance {
		m.substance[i] = binary.LittleEndian.Uint16(dense[2*i:])
	}
	last := -1
	for range regions {
		n, layer := r.u16("region number"), r.u16("region layer")
		o := &overlay{layer: Layer(layer)}
		r.runs(&o.faces, r.u32("run count"), faces)
		if r.err == nil && (int(n) <= last || n == 0 || (layer != uint16(Applied) && layer != uint16(Condition))) {
			r.fail("region %d in layer %d after region %d", n, layer, last)
		}
		if r.err != nil {
			return nil, r.err
		}
		last = int(n)
		m.over[n] = o
	}
	r.runs(&m.elsewhere, elsewhere, faces)
	setOf := [][]uint16{nil}
	for range sets {
		set := r.set(m)
		if r.err == nil && slices.Compare(set, setOf[len(setOf)-1]) <= 0 {
			r.fail("set %d is out of order", len(setOf))
		}
		if r.err != nil {
			return nil, r.err
		}
		setOf = append(setOf, set)
	}
	used := make([]bool, len(setOf))
	before := int64(-1)
	for range subs {
		f, s := r.sub(m, setOf, used)
		if r.err == nil && (int64(f) <= before || f >= faces) {
			r.fail("split face %d after %d in a map of %d faces", f, before, faces)
		}
		if r.err == nil {
			r.agrees(m, f, s)
		}
		if r.err != nil {
			return nil, r.err
		}
		before = int64(f)
		m.putSub(f, s)
	}
	if r.err == nil && r.at != len(data) {
		r.fail("%d bytes follow the end of the map", len(data)-r.at)
	}
	for i, u := range used[1:] {
		if r.err == nil && !u {
			r.fail("set %d is not used", i+1)
		}
	}
	for n, o := range m.over {
		if r.err == nil && o.faces.count == 0 && o.cells == 0 {
			r.fail("region %d holds nothing", n)
		}
	}
	if r.err != nil {
		return nil, r.err
	}
	return m, nil
}

// reader takes values off a file; after the first failure it gives zeros.
type reader struct {
	data []byte
	at   int
	err  error
}

func (r *reader) fail(format string, args ...any) {
	r.err = fmt.Errorf("map file is damaged at byte %d: %s; restore it from a copy of the project", r.at, fmt.Sprintf(format, args...))
}

func (r *reader) take(what string, n int) []byte {
	if r.err != nil {
		return nil
	}
	if n < 0 || n > len(r.data)-r.at {
		r.fail("it ends inside the %s", what)
		return nil
	}
	out := r.data[r.at : r.at+n]
	r.at += n
	return out
}

func (r *reader) u16(what string) uint16 {
	if b := r.take(what, 2); b != nil {
		return binary.LittleEndian.Uint16(b)
	}
	return 0
}

func (r *reader) u32(what string) uint32 {
	if b := r.take(what, 4); b != nil {
		return binary.LittleEndian.Uint32(b)
	}
	return 0
}

func (r *reader) runs(to *faceSet, count, faces uint32) {
	end := int64(-1)
	for range count {
		start, length := r.u32("runs"), r.u32("runs")
		if r.err != nil {
			return
		}
		if int64(start) <= end || length == 0 || uint64(start)+uint64(length) > uint64(faces) {
			r.fail("run of %d faces from %d, after one that ends at %d, in a map of %d faces", length, start, end, faces)
			return
		}
		for f := start; f < start+length; f++ {
			to.set(f, true)
		}
		end = int64(start) + int64(length)
	}
}

// set reads one set of regions of one layer.
func (r *reader) set(m *Map) []uint16 {
	n := r.u16("sets")
	raw := r.take("sets", 2*int(n))
	if r.err == nil && n == 0 {
		r.fail("a set without regions")
	}
	if r.err != nil {
		return nil
	}
	set := make([]uint16, n)
	for i := range set {
		set[i] = binary.LittleEndian.Uint16(raw[2*i:])
		o := m.over[set[i]]
		if o == nil || (i > 0 && (set[i] <= set[i-1] || o.layer != m.over[set[0]].layer)) {
			r.fail("a set names region %d out of place", set[i])
			return nil
		}
	}
	return set
}

// sub reads the cells of one face.
func (r *reader) sub(m *Map, setOf [][]uint16, used []bool) (uint32, *Sub) {
	f := r.u32("split faces")
	level := r.take("split faces", 1)
	if r.err == nil && (level[0] < 1 || level[0] > MaxLevel) {
		r.fail("face %d is split at level %d, not 1 to %d", f, level[0], MaxLevel)
	}
	if r.err != nil {
		return 0, nil
	}
	s := &Sub{Level: level[0]}
	n := Cells(s.Level)
	labels := r.take("cells", 3*2*n)
	if r.err != nil {
		return 0, nil
	}
	s.Substance = make([]uint16, n)
	for i := range s.Substance {
		s.Substance[i] = binary.LittleEndian.Uint16(labels[2*i:])
	}
	for _, layer := range []Layer{Applied, Condition} {
		for cell := range n {
			k := binary.LittleEndian.Uint16(labels[2*(int(layer)*n+cell):])
			if int(k) >= len(setOf) || (k > 0 && m.over[setOf[k][0]].layer != layer) {
				r.fail("a cell of face %d names %v set %d", f, layer, k)
				return 0, nil
			}
			used[k] = true
			for _, region := range setOf[k] {
				s.setOver(region, layer, s.over(region)|1<<cell)
			}
		}
	}
	return f, s
}

// agrees checks that what stands for a split face as a whole follows from its
// cells.
func (r *reader) agrees(m *Map, f uint32, s *Sub) {
	switch {
	case s.uniform():
		r.fail("the cells of face %d are all the same", f)
	case m.substance[f] != s.majority():
		r.fail("face %d says substance region %d, most of its cells %d", f, m.substance[f], s.majority())
	}
	for n, o := range m.over {
		if r.err == nil && o.faces.has(f) != s.mostly(n) {
			r.fail("face %d and its cells differ about region %d", f, n)
		}
	}
}
