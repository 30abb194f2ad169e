package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// joinPart is a part of the line along which the corner was set back, between
// two angles φ round the corner's axis.
type joinPart struct {
	name, fit string
	from, to  float64
}

// joins are the two parts of the join: where the edge is chipped the two sides
// meet in part, elsewhere closely.
func (s *specimen) joins() []joinPart {
	return []joinPart{
		{"J1", "close", s.chipped.to, s.chipped.from + 2*math.Pi},
		{"J2", "part", s.chipped.from, s.chipped.to},
	}
}

// onJoin is the direction of a place on the join line: where the break met the
// surface before the join. A putty laid over it carries the line on its own
// surface.
func (s *specimen) onJoin(phi float64) r3.Vec {
	return s.edge.direction(s.crease(AirAbrasive)(phi), phi)
}

// lengthOf is the length of a part of the join on the surface at a stage, by n
// and 2n chords and the error of second order taken out (Richardson).
func (s *specimen) lengthOf(j joinPart, stage, n int) float64 {
	chords := func(n int) float64 {
		var sum float64
		var last r3.Vec
		for i := 0; i <= n; i++ {
			p := s.body(s.onJoin(j.from+(j.to-j.from)*float64(i)/float64(n)), stage)
			if i > 0 {
				sum += r3.Norm(r3.Sub(p, last))
			}
			last = p
		}
		return sum
	}
	c, f := chords(2*n), chords(4*n)
	return f + (f-c)/3
}
