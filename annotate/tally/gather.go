package tally

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh"
)

// combo is one set of labels that places of a body carry, and their area in the
// scan's own mm².
type combo struct {
	word      string            // substance
	regions   []annotate.Region // of all layers
	kinds     []kindIn          // applied and condition kinds, each once
	retouched bool              // on the specimen, not on matrix or support
	changed   bool              // in look: filled, reconstructed or retouched
	area      mesh.Sum
	shares    []*faceShares // of everything above, to find outlines
}

// kindIn is an applied or condition kind.
type kindIn struct{ layer, kind string }

// Names under which the union of several kinds stands among shares.
const (
	unionRestored = "\x00restored"
	unionChanged  = "\x00changed"
)

// gather sums the area of every set of labels of a body, and notes in which
// faces each region, kind and union lies. Sets come in the order of the first
// face that carries them.
func gather(b Body, known map[uint16]annotate.Region, share *shares) ([]*combo, error) {
	var combos []*combo
	byLabels := map[string]*combo{}
	var last *combo
	var lastSubstance uint16
	var lastOver []uint16
	var bad error
	m := b.Surface.Mesh
	b.Map.Visit(0, uint32(m.FaceCount()), func(f uint32, part float64, substance uint16, overlays []uint16) {
		if bad != nil || b.Surface.Topology.Component[f] < 0 {
			return // a repeat of an earlier face, or one without area
		}
		if last == nil || substance != lastSubstance || !slices.Equal(overlays, lastOver) {
			key := fmt.Sprint(substance, overlays)
			if last = byLabels[key]; last == nil {
				if last, bad = newCombo(f, substance, overlays, known, share); bad != nil {
					return
				}
				byLabels[key] = last
				combos = append(combos, last)
			}
			lastSubstance, lastOver = substance, append(lastOver[:0], overlays...)
		}
		last.area.Add(part * r3.Norm(m.AreaVector(f)))
		for _, s := range last.shares {
			s.add(f, part)
		}
	})
	return combos, bad
}

func newCombo(f uint32, substance uint16, overlays []uint16, known map[uint16]annotate.Region, share *shares) (*combo, error) {
	c := &combo{word: unassigned}
	take := func(number uint16) (annotate.Region, error) {
		r, ok := known[number]
		if !ok {
			return r, fmt.Errorf("face %d carries region number %d, which the record does not know", f, number)
		}
		c.regions = append(c.regions, r)
		c.shares = append(c.shares, share.ofRegion(number))
		return r, nil
	}
	if substance != 0 {
		r, err := take(substance)
		if err != nil {
			return nil, err
		}
		c.word = r.Kind
	}
	c.shares = append(c.shares, share.ofWord(c.word))
	restored := annotate.IsRestored(c.word)
	if restored {
		c.shares = append(c.shares, share.ofWord(unionRestored))
	}
	for _, o := range overlays {
		r, err := take(o)
		if err != nil {
			return nil, err
		}
		k := kindIn{r.Layer, r.Kind}
		if slices.Contains(c.kinds, k) {
			continue // two regions of one kind on one place are one area
		}
		c.kinds = append(c.kinds, k)
		c.shares = append(c.shares, share.ofWord(k.layer+"/"+k.kind))
		c.retouched = c.retouched || r.Kind == retouch
	}
	c.retouched = c.retouched && c.word != matrix && c.word != support
	c.changed = restored || c.retouched
	if c.changed {
		c.shares = append(c.shares, share.ofWord(unionChanged))
	}
	return c, nil
}

// shares holds, for each region and each word, the faces it holds.
type shares struct {
	faces  int
	region map[uint16]*faceShares
	word   map[string]*faceShares
}

// faceShares is the share that something holds of every face: all of those in
// whole, part of a few.
type faceShares struct {
	whole []uint64 // a bit a face
	part  map[uint32]float64
}

func newShares(faces int) *shares {
	return &shares{faces: faces, region: map[uint16]*faceShares{}, word: map[string]*faceShares{}}
}

func (s *shares) fresh() *faceShares {
	return &faceShares{whole: make([]uint64, (s.faces+63)/64), part: map[uint32]float64{}}
}

func (s *shares) ofRegion(region uint16) *faceShares {
	if s.region[region] == nil {
		s.region[region] = s.fresh()
	}
	return s.region[region]
}

func (s *shares) ofWord(word string) *faceShares {
	if s.word[word] == nil {
		s.word[word] = s.fresh()
	}
	return s.word[word]
}

func (s *faceShares) add(f uint32, part float64) {
	if part == 1 {
		s.whole[f/64] |= 1 << (f % 64)
	} else {
		s.part[f] += part
	}
}

// of returns the share of a face.
func (s *faceShares) of(f uint32) float64 {
	if s.whole[f/64]>>(f%64)&1 == 1 {
		return 1
	}
	if len(s.part) == 0 {
		return 0
	}
	return s.part[f]
}
