package demo

import "gonum.org/v1/gonum/spatial/r3"

// place is a patch or a band.
type place interface {
	inside(d r3.Vec) bool
	outline(n int) []r3.Vec
}

// inside says whether d lies within the patch.
func (p *patch) inside(d r3.Vec) bool { return p.where(d) < 1 }

// region is the place of one of outlineNames.
func (s *specimen) region(name string) place {
	switch name {
	case "matrix":
		return s.keep
	case "old fill":
		return s.oldFill
	case "putty":
		return s.putty
	case "model":
		return s.lost
	case "abraded":
		return s.abraded
	case "uncertain":
		return s.doubt
	case "retouch":
		return s.retouched
	case "lowered":
		return s.lowered
	}
	return nil
}
