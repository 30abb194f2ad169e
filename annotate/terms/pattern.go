package terms

import "math"

// TileMM is the length after which every pattern repeats, in u and in v.
const TileMM = 4.0

// m is x modulo p, never negative.
func m(x, p float64) float64 { return x - p*math.Floor(x/p) }

// odd is 1 where ⌊x⌋ is odd.
func odd(x float64) float64 { return m(math.Floor(x), 2) }

// lat is the offset to the nearest point of a staggered lattice of period p:
// points at the corners and in the middle of each square.
func lat(u, v, p float64) (a, b float64) {
	a, b = m(u+p/2, p)-p/2, m(v+p/2, p)-p/2
	c, d := m(u, p)-p/2, m(v, p)-p/2
	if c*c+d*d < a*a+b*b {
		return c, d
	}
	return a, b
}

var abs = math.Abs

// Substances. One set of lines stands between original parts (fill), two sets
// for a shape that is not there (reconstruction); an open ring is an open
// question, a cross says that nobody has looked.

func dashes(u, v float64) bool {
	return m(v, 2) < 0.5 && m(u+2*odd(v/2), 4) < 2.4
}

func checker(u, v float64) bool { return odd(u) == odd(v) }

func diagonals(u, v float64) bool { return m(u+v, 2) < 0.62 }

func crosshatch(u, v float64) bool { return m(u+v, 2) < 0.44 || m(u-v, 2) < 0.44 }

func bricks(u, v float64) bool {
	return m(v, 2) < 0.42 || m(u+2*odd(v/2), 4) < 0.42
}

func rings(u, v float64) bool {
	a, b := lat(u, v, 4)
	r := math.Hypot(a, b)
	return r > 0.70 && r < 1.15
}

func crosses(u, v float64) bool {
	a, b := lat(u, v, 4)
	return abs(abs(a)-abs(b)) < 0.3 && max(abs(a), abs(b)) < 0.74
}

// Applied.

func waves(u, v float64) bool {
	return abs(m(v-0.5*math.Sin(math.Pi*u/2)+1, 2)-1) < 0.24
}

func pluses(u, v float64) bool {
	a, b := lat(u, v, 4)
	return (abs(a) < 0.95 && abs(b) < 0.24) || (abs(b) < 0.95 && abs(a) < 0.24)
}

func dots(u, v float64) bool {
	a, b := lat(u, v, 2)
	return math.Hypot(a, b) < 0.48
}

func scales(u, v float64) bool {
	x := m(u+2*odd(v/2)+2, 4) - 2
	return abs(math.Hypot(x, m(v, 2))-1.75) < 0.24
}

func halfDiscs(u, v float64) bool {
	a, b := lat(u, v, 4)
	return math.Hypot(a, b+0.4) < 1.05 && b > -0.4
}

func squares(u, v float64) bool {
	a, b := lat(u, v, 4)
	return abs(max(abs(a), abs(b))-0.68) < 0.20
}

// Conditions.

func strokePairs(u, v float64) bool {
	a, b := lat(u, v, 4)
	return abs(abs(a-b/2)-0.5) < 0.2 && abs(b) < 0.95
}

func steps(u, v float64) bool {
	h := 1.5 * odd(u/2)
	tread := abs(m(v-h+2, 4)-2) < 0.16
	riser := abs(m(u+1, 2)-1) < 0.16 && m(v, 4) < 1.5
	return tread || riser
}

func ruled(_, v float64) bool { return m(v, 1) < 0.24 }

func triangles(u, v float64) bool {
	a, b := lat(u, v, 4)
	return b > -0.75 && b < 0.85-1.75*abs(a)
}

func bowTies(u, v float64) bool {
	a, b := lat(u, v, 4)
	return abs(b) < 0.12+0.75*abs(a) && abs(a) < 0.9
}

// slits are wavering uprights 3.1 mm long and .32 wide, 2 mm apart, every
// other one shifted by half a tile.
func slits(u, v float64) bool {
	x := u - 0.18*math.Sin(math.Pi*v/2)
	return abs(m(x+1, 2)-1) < 0.16 && abs(m(v+2*odd((x+1)/2)+2, 4)-2) < 1.55
}

func barStacks(u, v float64) bool {
	a, b := lat(u, v, 4)
	return abs(a) < 0.85 && (abs(b+0.62) < 0.15 || abs(b) < 0.15 || abs(b-0.62) < 0.15)
}

func dotTriples(u, v float64) bool {
	a, b := lat(u, v, 4)
	const r = 0.37
	return math.Hypot(a, b-0.55) < r || math.Hypot(a+0.62, b+0.42) < r || math.Hypot(a-0.62, b+0.42) < r
}

func vees(u, v float64) bool {
	a, b := lat(u, v, 4)
	return abs(b-1.2*abs(a)+0.5) < 0.36 && abs(a) < 0.95
}

func diamonds(u, v float64) bool {
	a, b := lat(u, v, 4)
	return abs(a)+abs(b) < 0.85
}

// What carries a fit: a clamp holds, a ring with a bar lets nothing through.

func clamps(u, v float64) bool {
	a, b := lat(u, v, 4)
	return abs(b) < 0.95 && abs(a) < 0.17 || abs(a) < 0.7 && abs(abs(b)-0.8) < 0.15
}

func barredRings(u, v float64) bool {
	a, b := lat(u, v, 4)
	r := math.Hypot(a, b)
	return r > 0.78 && r < 1.1 || r < 0.8 && abs(b) < 0.18
}

// zigzags run like the edge of a break.
func zigzags(u, v float64) bool { return abs(m(v-abs(m(u, 2)-1)+1, 2)-1) < 0.22 }

// Cover says what lies at (u, v), mm on a tile of TileMM: ink, or the white
// halo round it. The halo is looked for on two circles round the place, which
// is exact to a few hundredths of a millimetre.
func (l *Look) Cover(u, v float64) (ink, halo bool) {
	if l.ink == nil {
		return false, false
	}
	if l.ink(u, v) {
		return true, false
	}
	if l.HaloMM == 0 {
		return false, false
	}
	for _, d := range haloRing {
		if l.ink(u+l.HaloMM*d[0], v+l.HaloMM*d[1]) || l.ink(u+l.HaloMM/2*d[0], v+l.HaloMM/2*d[1]) {
			return false, true
		}
	}
	return false, false
}

var haloRing = func() (ring [16][2]float64) {
	for i := range ring {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(len(ring)))
		ring[i] = [2]float64{c, s}
	}
	return ring
}()

// TileFor is the tile for a specimen of the given longest extent: 1, 2, 5 or
// 10 mm, the largest that is at most a fortieth of it. Patterns are made for
// TileMM and scale with the tile.
func TileFor(extentMM float64) float64 {
	for _, t := range []float64{10, 5, 2} {
		if t <= extentMM/40 {
			return t
		}
	}
	return 1
}
