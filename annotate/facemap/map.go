package facemap

import (
	"encoding/hex"
	"fmt"
	"maps"
	"math"
	"math/bits"
	"slices"

	"rigatino/mesh"
)

// Layer is one of the three layers that faces carry.
type Layer uint8

// The layers of a map, as they are numbered in its file.
const (
	Substance Layer = iota // exactly one region per face
	Applied                // any number
	Condition              // any number
)

// ParseLayer reads the word the record uses for a layer.
func ParseLayer(word string) (Layer, error) {
	for l, w := range layerWords {
		if w == word {
			return Layer(l), nil
		}
	}
	return 0, fmt.Errorf("layer %q is not known: use substance, applied or condition", word)
}

var layerWords = [...]string{"substance", "applied", "condition"}

// String gives the word the record uses.
func (l Layer) String() string {
	if int(l) < len(layerWords) {
		return layerWords[l]
	}
	return fmt.Sprintf("layer %d", uint8(l))
}

// Map says to which regions each face of one scan belongs.
type Map struct {
	scan      [32]byte
	substance []uint16
	over      map[uint16]*overlay
	elsewhere faceSet
	subs      map[uint32]*Sub
	revision  uint64
}

// overlay is the faces of one applied or condition region; of a split face, if
// at least half of its cells belong to it. cells counts the split faces that
// hold any.
type overlay struct {
	layer Layer
	faces faceSet
	cells int
}

// New returns a map in which every face is unassigned. scanID is the scan's
// id, 64 hexadecimal digits, or empty for a mesh that is no scan.
func New(scanID string, faces int) (*Map, error) {
	if faces < 0 || int64(faces) > math.MaxUint32 {
		return nil, fmt.Errorf("a map cannot hold %d faces: the limit is %d", faces, uint32(math.MaxUint32))
	}
	m := &Map{substance: make([]uint16, faces), over: map[uint16]*overlay{}, subs: map[uint32]*Sub{}}
	if scanID != "" {
		id, err := hex.DecodeString(scanID)
		if err != nil || len(id) != len(m.scan) {
			return nil, fmt.Errorf("scan id %q is not 64 hexadecimal digits", scanID)
		}
		copy(m.scan[:], id)
	}
	return m, nil
}

// ScanID returns the id of the scan the map belongs to, empty for none.
func (m *Map) ScanID() string {
	if m.scan == [32]byte{} {
		return ""
	}
	return hex.EncodeToString(m.scan[:])
}

// FaceCount returns the number of faces.
func (m *Map) FaceCount() int { return len(m.substance) }

// Revision grows with every change, so that pictures and sums know when they
// are out of date.
func (m *Map) Revision() uint64 { return m.revision }

// Clone returns an independent copy.
func (m *Map) Clone() *Map {
	out := &Map{
		scan: m.scan, substance: slices.Clone(m.substance), over: make(map[uint16]*overlay, len(m.over)),
		elsewhere: m.elsewhere.clone(), subs: maps.Clone(m.subs), revision: m.revision,
	}
	for n, o := range m.over {
		out.over[n] = &overlay{layer: o.layer, faces: o.faces.clone(), cells: o.cells}
	}
	return out
}

// Substance returns the substance region of a face, 0 for unassigned; of a
// split face, the one that most of its cells hold.
func (m *Map) Substance(face uint32) uint16 { return m.substance[face] }

// Labels returns the substance region of every face. The slice is the map's
// own: do not change it.
func (m *Map) Labels() []uint16 { return m.substance }

// Overlays appends the applied and condition regions of a face, ascending; of
// a split face, those that hold at least half of its cells.
func (m *Map) Overlays(face uint32, to []uint16) []uint16 {
	from := len(to)
	for n, o := range m.over {
		if o.faces.has(face) {
			to = append(to, n)
		}
	}
	slices.Sort(to[from:])
	return to
}

// Sub returns the labels of the cells of a split face, or nil.
func (m *Map) Sub(face uint32) *Sub { return m.subs[face] }

// SplitFaces returns the faces that are split into cells, ascending.
func (m *Map) SplitFaces() []uint32 { return slices.Sorted(maps.Keys(m.subs)) }

// At returns the substance region at a place and appends the applied and
// condition regions there, ascending, cells of split faces taken into account.
func (m *Map) At(p mesh.SurfacePoint, overlays []uint16) (uint16, []uint16) {
	s := m.subs[p.Face]
	if s == nil {
		return m.substance[p.Face], m.Overlays(p.Face, overlays)
	}
	cell := CellAt(s.Level, p.Weights)
	for _, o := range s.Over {
		if o.Cells>>cell&1 == 1 {
			overlays = append(overlays, o.Region)
		}
	}
	return s.Substance[cell], overlays
}

// Elsewhere says whether a face is counted in an earlier part of the same
// piece, so that it is in no sum here.
func (m *Map) Elsewhere(face uint32) bool { return m.elsewhere.has(face) }

// ElsewhereCount returns how many faces are counted in an earlier part.
func (m *Map) ElsewhereCount() int { return m.elsewhere.count }

// OverlayRegion is an applied or condition region that holds at least a cell.
type OverlayRegion struct {
	Number uint16
	Layer  Layer
}

// OverlayRegions returns the applied and condition regions in the map, by
// number.
func (m *Map) OverlayRegions() []OverlayRegion {
	var out []OverlayRegion
	for _, n := range slices.Sorted(maps.Keys(m.over)) {
		out = append(out, OverlayRegion{n, m.over[n].layer})
	}
	return out
}

// Faces returns the faces of a region in any layer, ascending, split faces
// included if any of their cells belongs to it.
func (m *Map) Faces(region uint16) []uint32 {
	var out []uint32
	if o := m.over[region]; o != nil {
		o.faces.each(func(f uint32) { out = append(out, f) })
	} else {
		for f, n := range m.substance {
			if n == region {
				out = append(out, uint32(f))
			}
		}
	}
	for f, s := range m.subs {
		if s.over(region) != 0 || slices.Contains(s.Substance, region) {
			out = append(out, f)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Visit calls f for every face of [from, to) with its labels and share 1, and
// for a split face once for each distinct set of labels with the share of the
// face's area that holds it. Faces counted elsewhere are left out. The slice
// of overlays, ascending, is good during the call only.
func (m *Map) Visit(from, to uint32, f func(face uint32, share float64, substance uint16, overlays []uint16)) {
	regions := m.OverlayRegions()
	var over []uint16
	for face := from; face < to; face++ {
		if m.elsewhere.has(face) {
			continue
		}
		if s := m.subs[face]; s != nil {
			s.visit(func(share float64, substance uint16, overlays []uint16) { f(face, share, substance, overlays) })
			continue
		}
		over = over[:0]
		for _, r := range regions {
			if m.over[r.Number].faces.has(face) {
				over = append(over, r.Number)
			}
		}
		f(face, 1, m.substance[face], over)
	}
}

// visit calls f once for each distinct set of labels among the cells, in the
// order of the first cell that holds it.
func (s *Sub) visit(f func(share float64, substance uint16, overlays []uint16)) {
	left := allCells(s.Level)
	n := Cells(s.Level)
	var over []uint16
	for cell := range n {
		if left>>cell&1 == 0 {
			continue
		}
		var same uint64
		for i := cell; i < n; i++ {
			if s.Substance[i] == s.Substance[cell] {
				same |= 1 << i
			}
		}
		over = over[:0]
		for _, o := range s.Over {
			if o.Cells>>cell&1 == 1 {
				over = append(over, o.Region)
				same &= o.Cells
			} else {
				same &^= o.Cells
			}
		}
		same &= left
		left &^= same
		f(float64(bits.OnesCount64(same))/float64(n), s.Substance[cell], over)
	}
}

// Blank says whether nothing is marked at all.
func (m *Map) Blank() bool {
	if len(m.over) > 0 || len(m.subs) > 0 || m.elsewhere.count > 0 {
		return false
	}
	for _, l := range m.substance {
		if l != 0 {
			return false
		}
	}
	return true
}
