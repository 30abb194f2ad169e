package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Pick is one pair of places that match, each in its own scan's frame, mm.
type Pick struct{ Before, After r3.Vec }

// Picks are given pairs for aligning one scan with another of the same piece,
// or the loose fragment's last scan with the first of the body that holds it.
type Picks struct {
	Before, After int // indexes into the list of scans
	Pairs         []Pick
}

// pickError is the length of the error of each picked pair, as a share of the
// specimen's diagonal.
const pickError = 0.001

// diagonal of the bare bone's box, mm.
const diagonal = 245.0

// aligned lists the pairs of scans that are aligned, by index.
var aligned = [][2]int{{0, 1}, {1, 3}, {2, 4}, {3, 5}, {5, 6}, {6, 7}, {4, 5}}

// Given makes the picks for every pair of scans: six places that both show,
// far from each other and from anything that changed, and every second place
// of a pair wrong by 0.1 % of the diagonal in some direction.
func Given(scans []Scan) []Picks {
	s := newSpecimen()
	random := &splitmix{31}
	out := make([]Picks, len(aligned))
	for i, pair := range aligned {
		a, b := scans[pair[0]], scans[pair[1]]
		out[i] = Picks{Before: pair[0], After: pair[1]}
		for _, d := range s.landmarks(a.Stage, b.Stage, a.Piece) {
			p := s.seen(a, d)
			slip := r3.Scale(pickError*diagonal, random.direction())
			out[i].Pairs = append(out[i].Pairs, Pick{a.SpecimenToScan.Apply(p), b.SpecimenToScan.Apply(r3.Add(p, slip))})
		}
	}
	return out
}

// seen is the place of a scan's surface in direction d, in the specimen's own
// frame and without noise.
func (s *specimen) seen(a Scan, d r3.Vec) r3.Vec {
	if a.Piece == "fragment" {
		return s.outer(a.Stage)(d)
	}
	return s.at(a.Stage)(d)
}

// landmarks are six directions in which the surface of a piece is the same at
// two stages, each as far as can be from those before it.
func (s *specimen) landmarks(before, after, piece string) []r3.Vec {
	radius := func(stage string) func(r3.Vec) float64 {
		n := rank(stage)
		if piece == "fragment" && n < rank(Join) {
			return func(d r3.Vec) float64 { return s.corner(d, n) }
		}
		return func(d r3.Vec) float64 { return s.cubed(d, n) }
	}
	a, b := radius(before), radius(after)
	var same []r3.Vec
	for i := range 6000 {
		d := evenly(i, 6000)
		if piece == "fragment" {
			// On the outer side, clear of the rim and of its chipped edge.
			theta, phi := s.edge.polar(d)
			if theta > s.chipped.centre.at(phi)-1.6*s.chipped.half.at(phi) {
				continue
			}
		}
		if math.Abs(a(d)-b(d)) < 1e-9 && s.clear(d) {
			same = append(same, d)
		}
	}
	var out []r3.Vec
	far := make([]float64, len(same))
	for i := range far {
		far[i] = r3.Norm(s.at(Join)(same[i])) // the first is the one farthest out
	}
	for range 6 {
		best := 0
		for i := range far {
			if far[i] > far[best] {
				best = i
			}
		}
		d := same[best]
		out = append(out, d)
		p := s.at(Join)(d)
		for i := range far {
			l := r3.Norm(r3.Sub(s.at(Join)(same[i]), p))
			if len(out) == 1 {
				far[i] = l
			}
			far[i] = min(far[i], l)
		}
	}
	return out
}

// clear says whether d is off the edges of the places where something happens,
// so that a pick there is one of plain bone.
func (s *specimen) clear(d r3.Vec) bool {
	for _, p := range []*patch{s.lost, s.keep, s.lowered, s.rocks[0], s.rocks[1], s.rocks[2]} {
		if w := p.where(d); w > 0.8 && w < 1.25 {
			return false
		}
	}
	return true
}

// evenly is direction i of n spread evenly over the sphere.
func evenly(i, n int) r3.Vec {
	z := 1 - (2*float64(i)+1)/float64(n)
	s, c := math.Sincos(math.Pi * (3 - math.Sqrt(5)) * float64(i))
	r := math.Sqrt(1 - z*z)
	return r3.Vec{X: r * c, Y: r * s, Z: z}
}

// Outline is the true edge of a region on one scan: a closed line of points on
// the noise-free surface, in the scan's frame, mm, with the region to its left
// as seen from outside.
type Outline struct {
	Name   string
	Points []r3.Vec
}

// Outlines are those of the body's last map on a scan of the body.
func Outlines(scan Scan) []Outline {
	s := newSpecimen()
	out := make([]Outline, len(outlineNames))
	for i, name := range outlineNames {
		o := Outline{Name: name}
		for _, d := range s.region(name).outline(240) {
			o.Points = append(o.Points, scan.SpecimenToScan.Apply(s.seen(scan, d)))
		}
		out[i] = o
	}
	return out
}

// JoinLine is a part of the join on one scan, in its frame, mm.
type JoinLine struct {
	Name, Fit string
	Points    []r3.Vec
}

// JoinLines are the lines of the join on a scan of the body after it.
func JoinLines(scan Scan) []JoinLine {
	s := newSpecimen()
	var out []JoinLine
	for _, j := range s.joins() {
		l := JoinLine{Name: j.name, Fit: j.fit}
		const n = 60
		for i := range n + 1 {
			d := s.onJoin(j.from + (j.to-j.from)*float64(i)/n)
			l.Points = append(l.Points, scan.SpecimenToScan.Apply(s.seen(scan, d)))
		}
		out = append(out, l)
	}
	return out
}
