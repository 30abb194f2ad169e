package volume

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// shell is the closed surface of one change: the patch of the scan before, the
// patch of the scan after turned round, and what closes the gap between their
// outlines.
type shell struct {
	before, after *patch

	volume float64 // matter of the scan before that the scan after lacks, mm³; negative for matter added
	// What closing rests on.
	ribbonArea float64
	outline    float64 // length of the paired outlines, on the scan after
	rimLength  float64 // of which along the open rim of either scan
	slant      float64 // volume between the ribbon and one that stands upright, at rims only
	capArea    float64 // surface of loops that had no partner
	capDepth   float64 // ∫ distance of their rim from the flat over the cap
	loops      int
	unpaired   int

	openness float64 // |Σ area vectors| / Σ|area vectors|: 0 when closed
	// shifted is by how much the volume differs when it is made about an origin
	// as far off as the specimen is long, mm³: what is closed has the same volume
	// about any.
	shifted float64
}

// newShell closes two patches, whose integrals are about the origins given.
func newShell(before, after *patch, about *origins, edge float64) *shell {
	s := &shell{before: before, after: after}
	var six, far mesh.Sum
	six.Add(before.sixVolume.Value())
	six.Add(-after.sixVolume.Value())
	far.Add(before.sixFar.Value())
	far.Add(-after.sixFar.Value())
	open := r3.Sub(before.areaVector, after.areaVector)
	size := before.area + after.area
	triangle := func(p, q, r r3.Vec) float64 {
		a := r3.Scale(0.5, r3.Cross(r3.Sub(q, p), r3.Sub(r, p)))
		six.Add(2 * r3.Dot(r3.Sub(p, about.near), a))
		far.Add(2 * r3.Dot(r3.Sub(p, about.far), a))
		open = r3.Add(open, a)
		l := length(a)
		size += l
		return l
	}

	pairs, loose := match(chainsOf(before), chainsOf(after), edge)
	for _, p := range pairs {
		s.loops++
		s.bridge(p[0], p[1], edge, triangle)
	}
	for _, l := range loose[0] {
		s.cap(l.points, func(p, q, r r3.Vec) float64 { return triangle(q, p, r) })
	}
	for _, l := range loose[1] {
		s.cap(l.points, triangle)
	}
	s.volume = six.Value() / 6
	// Moving the origin by t changes the sum by t·Σa/3: the one far origin shows
	// what the sums really do, the formula the worst direction.
	s.shifted = max(math.Abs(far.Value()/6-s.volume), distance(about.far, about.near)*length(open)/3)
	if size > 0 {
		s.openness = length(open) / size
	}
	return s
}

// teeth is the length of rim, in edges, over which what leans out and what leans
// in balance: a scan cut along its faces ends in teeth.
const teeth = 8

// bridge closes the gap between two outlines with a ribbon.
func (s *shell) bridge(b, a *chain, edge float64, triangle func(p, q, r r3.Vec) float64) {
	path := ribbon(b.points, a.points)
	leans, along := 0.0, 0.0
	settle := func() {
		s.slant += math.Abs(leans)
		leans, along = 0, 0
	}
	defer settle()
	for n := 1; n < len(path); n++ {
		from, to := path[n-1], path[n]
		b0, b1, a0, a1 := b.points[from.i], b.points[to.i], a.points[from.j], a.points[to.j]
		rim := false
		if from.i != to.i {
			s.ribbonArea += triangle(b1, b0, a0)
			rim = b.rim[from.i]
		} else {
			s.ribbonArea += triangle(a0, a1, b0)
			rim = a.rim[from.j]
			l := distance(a0, a1)
			s.outline += l
			if rim {
				s.rimLength += l
			}
		}
		if !rim {
			settle()
			continue
		}
		v, l := slantOf(b0, a0, b1, a1, a.normal[from.j])
		leans, along = leans+v, along+l
		if along > teeth*edge {
			settle()
		}
	}
}

// slantOf is the volume of the wedge between a piece of ribbon at a rim and
// one that stands upright on the surface after, positive where it leans out, and
// the piece's length: where one scan ends short of the other nobody knows how the
// matter ended.
func slantOf(b0, a0, b1, a1, normal r3.Vec) (wedge, along float64) {
	across := r3.Scale(0.5, r3.Add(r3.Sub(b0, a0), r3.Sub(b1, a1)))
	way := r3.Add(r3.Sub(a1, a0), r3.Sub(b1, b0))
	l, n := length(way), length(normal)
	if l == 0 || n == 0 {
		return 0, 0
	}
	side := r3.Scale(1/(l*n), r3.Cross(way, normal))
	up := math.Abs(r3.Dot(across, normal)) / n
	// One of the two loop edges may have no length: the piece is as long as
	// the longer one.
	along = max(distance(a0, a1), distance(b0, b1))
	return along * up * r3.Dot(across, side) / 2, along
}

// cap closes a loop without partner with a fan about its middle, on its own
// surface. Such loops bound holes in a patch where the gap is about zero.
func (s *shell) cap(l []r3.Vec, triangle func(p, q, r r3.Vec) float64) {
	s.unpaired++
	var middle r3.Vec
	for _, p := range l {
		middle = r3.Add(middle, r3.Scale(1/float64(len(l)), p))
	}
	var normal r3.Vec
	for i, p := range l {
		q := l[(i+1)%len(l)]
		normal = r3.Add(normal, r3.Cross(r3.Sub(p, middle), r3.Sub(q, middle)))
	}
	if n := length(normal); n > 0 {
		normal = r3.Scale(1/n, normal)
	}
	off, area := 0.0, 0.0
	for i, p := range l {
		area += triangle(p, l[(i+1)%len(l)], middle)
		off += math.Abs(r3.Dot(r3.Sub(p, middle), normal)) / float64(len(l))
	}
	s.capArea += area
	s.capDepth += area * off
}
