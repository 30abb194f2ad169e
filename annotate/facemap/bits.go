package facemap

import "math/bits"

// pageFaces is the number of faces one page of a faceSet covers.
const pageFaces = 1 << 12

// faceSet is a set of face ids as bits, in pages that exist only where the set
// has members.
type faceSet struct {
	pages []*[pageFaces / 64]uint64
	count int
}

func (s *faceSet) has(face uint32) bool {
	p := int(face / pageFaces)
	return p < len(s.pages) && s.pages[p] != nil && s.pages[p][face%pageFaces/64]>>(face%64)&1 == 1
}

// set puts face in or takes it out and says whether that changed anything.
func (s *faceSet) set(face uint32, on bool) bool {
	if s.has(face) == on {
		return false
	}
	p := int(face / pageFaces)
	for len(s.pages) <= p {
		s.pages = append(s.pages, nil)
	}
	if s.pages[p] == nil {
		s.pages[p] = new([pageFaces / 64]uint64)
	}
	s.pages[p][face%pageFaces/64] ^= 1 << (face % 64)
	if on {
		s.count++
	} else {
		s.count--
	}
	return true
}

// each visits the members in ascending order.
func (s *faceSet) each(visit func(face uint32)) {
	for p, page := range s.pages {
		if page == nil {
			continue
		}
		for w, word := range page {
			for ; word != 0; word &= word - 1 {
				visit(uint32(p*pageFaces + w*64 + bits.TrailingZeros64(word)))
			}
		}
	}
}

// run is Length faces from Start on.
type run struct{ Start, Length uint32 }

// runs returns the members as sorted runs that do not touch.
func (s *faceSet) runs() []run {
	var out []run
	s.each(func(f uint32) {
		if n := len(out); n > 0 && out[n-1].Start+out[n-1].Length == f {
			out[n-1].Length++
			return
		}
		out = append(out, run{f, 1})
	})
	return out
}

func (s *faceSet) clone() faceSet {
	out := faceSet{pages: make([]*[pageFaces / 64]uint64, len(s.pages)), count: s.count}
	for i, p := range s.pages {
		if p != nil {
			page := *p
			out.pages[i] = &page
		}
	}
	return out
}
