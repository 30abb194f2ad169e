package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// splitmix is the generator of Steele, Lea and Flood (OOPSLA 2014): small,
// good enough for shapes and noise, and the same on every machine and in every
// version of Go.
type splitmix struct{ state uint64 }

func (s *splitmix) next() uint64 {
	s.state += 0x9E3779B97F4A7C15
	z := s.state
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return z ^ z>>31
}

// uniform is in [0, 1).
func (s *splitmix) uniform() float64 { return float64(s.next()>>11) * 0x1p-53 }

// gauss is normal with mean 0 and standard deviation 1 (Box and Muller).
func (s *splitmix) gauss() float64 {
	a, b := 1-s.uniform(), s.uniform()
	return math.Sqrt(-2*math.Log(a)) * math.Cos(2*math.Pi*b)
}

// direction is uniform on the unit sphere.
func (s *splitmix) direction() r3.Vec {
	return r3.Unit(r3.Vec{X: s.gauss(), Y: s.gauss(), Z: s.gauss()})
}
