package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// loose is the surface of the loose fragment as a map of a sphere of its own:
// the half towards the corner's axis is its outer side, the other half its
// side of the break, and the equator is the rim where both meet.
type loose struct {
	*specimen
	stage int
	rim   []float64 // crease angles at even φ, the last the first again
}

func (s *specimen) newLoose() *loose {
	l := &loose{specimen: s}
	// The rock on the fragment keeps away from the rim, so the crease is the
	// clean one at every stage.
	crease := s.crease(AirAbrasive)
	const n = 1024
	l.rim = make([]float64, n+1)
	for i := range n {
		l.rim[i] = crease(2 * math.Pi * float64(i) / n)
	}
	l.rim[n] = l.rim[0]
	return l
}

// when is the fragment at a stage.
func (l loose) when(stage string) *loose {
	l.stage = rank(stage)
	return &l
}

// rimAt is the crease angle at φ, by Catmull and Rom's cubic through the table.
func (l *loose) rimAt(phi float64) float64 {
	n := len(l.rim) - 1
	x := math.Mod(phi/(2*math.Pi)+1, 1) * float64(n)
	i := int(x) % n
	t := x - math.Floor(x)
	a, b, c, d := l.rim[(i+n-1)%n], l.rim[i], l.rim[i+1], l.rim[(i+2)%n]
	return b + t/2*(c-a+t*(2*a-5*b+4*c-d+t*(3*(b-c)+d-a)))
}

// unfold is the direction from the middle of the bone behind a place of the
// fragment's own sphere, and whether it is on the break.
func (l *loose) unfold(u r3.Vec) (d r3.Vec, broken bool) {
	alpha, phi := l.edge.polar(u)
	share := alpha / (math.Pi / 2)
	if share > 1 {
		share, broken = 2-share, true
	}
	return l.edge.direction(share*l.rimAt(phi), phi), broken
}

// at is the place of the fragment's surface, mm, in the specimen's own frame.
func (l *loose) at(u r3.Vec) r3.Vec {
	d, broken := l.unfold(u)
	r := l.edge.radius(d)
	if !broken {
		r = max(r, math.Cbrt(l.corner(d, l.stage)))
	}
	return l.place(d, r)
}

// rimOf is the fragment's crease, its equator.
func (l *loose) rimOf(u r3.Vec) (side int8, on r3.Vec) {
	alpha, phi := l.edge.polar(u)
	side = 1
	if alpha < math.Pi/2 {
		side = -1
	}
	return side, l.edge.direction(math.Pi/2, phi)
}

// breakOf is the crease of the body without its corner.
func (l *loose) breakOf(d r3.Vec) (side int8, on r3.Vec) {
	theta, phi := l.edge.polar(d)
	rim := l.rimAt(phi)
	side = 1
	if theta < rim {
		side = -1
	}
	return side, l.edge.direction(rim, phi)
}
