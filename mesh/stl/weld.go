package stl

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// welder gives corners at exactly equal coordinates one number, in order of
// first appearance. It takes memory for different places only.
type welder struct {
	places []r3.Vec
	slots  []uint32 // open addressing: 1 + number of the place, 0 for free
}

// add returns the number of a place, whose coordinates must be numbers.
func (w *welder) add(p r3.Vec) uint32 {
	// Adding zero makes -0 and +0 the same bits.
	p = r3.Vec{X: p.X + 0, Y: p.Y + 0, Z: p.Z + 0}
	if 2*len(w.places) >= len(w.slots) {
		w.grow()
	}
	mask := uint64(len(w.slots) - 1)
	for h := hash(p); ; h++ {
		s := w.slots[h&mask]
		if s == 0 {
			w.places = append(w.places, p)
			w.slots[h&mask] = uint32(len(w.places))
			return uint32(len(w.places) - 1)
		}
		if w.places[s-1] == p {
			return s - 1
		}
	}
}

func (w *welder) grow() {
	w.slots = make([]uint32, max(64, 2*len(w.slots)))
	mask := uint64(len(w.slots) - 1)
	for i, p := range w.places {
		h := hash(p)
		for w.slots[h&mask] != 0 {
			h++
		}
		w.slots[h&mask] = uint32(i) + 1
	}
}

// hash mixes three coordinates (the steps of splitmix64; Steele, Lea and Flood,
// OOPSLA 2014).
func hash(p r3.Vec) uint64 {
	h := math.Float64bits(p.X)*0x9E3779B97F4A7C15 ^ math.Float64bits(p.Y)*0xC2B2AE3D27D4EB4F ^ math.Float64bits(p.Z)*0x165667B19E3779F9
	h = (h ^ h>>30) * 0xBF58476D1CE4E5B9
	h = (h ^ h>>27) * 0x94D049BB133111EB
	return h ^ h>>31
}
