package quality

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Orientation says how the faces look.
type Orientation struct {
	// Turned is the fewest faces that have to be turned for neighbours to look
	// the same way everywhere.
	Turned int
	// OneSided counts the parts of the surface on which that is not possible,
	// as on a Möbius band.
	OneSided int
	// InsideOut counts the closed parts, seen by themselves and as most of
	// their faces look, that look inward and lie in no other part's box: a
	// cavity in a segmented scan looks inward by right.
	InsideOut int
}

// How a face looks, compared with the one where its part was begun.
const (
	unseen = iota
	as
	against
)

// orientation floods each part of the surface from face to face. way is how
// faces look; turn says for each part which of the two ways is to be turned for
// it to look outward, unseen for none.
func (s *surface) orientation() (out Orientation, way, turn []uint8) {
	parts := s.t.Components
	way, turn = make([]uint8, s.m.FaceCount()), make([]uint8, parts)
	type tally struct {
		all, against int
		oneSided     bool
		open         bool
		volume       float64
		low, high    r3.Vec
	}
	tallies := make([]tally, parts)
	centre := s.box.Centre()
	var queue []uint32
	for f, c := range s.t.Component {
		if c < 0 || way[f] != unseen {
			continue
		}
		p := &tallies[c]
		if p.all == 0 {
			p.low, _, _ = s.m.Corners(uint32(f))
			p.high = p.low
		}
		way[f] = as
		queue = append(queue[:0], uint32(f))
		for i := 0; i < len(queue); i++ {
			f := queue[i]
			sign := 1.0
			p.all++
			if way[f] == against {
				p.against++
				sign = -1
			}
			a, b, c := s.m.Corners(f)
			for _, v := range [3]r3.Vec{a, b, c} {
				p.low = r3.Vec{X: min(p.low.X, v.X), Y: min(p.low.Y, v.Y), Z: min(p.low.Z, v.Z)}
				p.high = r3.Vec{X: max(p.high.X, v.X), Y: max(p.high.Y, v.Y), Z: max(p.high.Z, v.Z)}
			}
			p.volume += sign * r3.Dot(r3.Sub(a, centre), r3.Cross(r3.Sub(b, centre), r3.Sub(c, centre))) / 6
			for k := range uint32(3) {
				g := s.t.Neighbour[3*f+k]
				if g < 0 {
					p.open = true
					continue
				}
				then := way[f]
				if s.sameWay(f, k, uint32(g)) {
					then = as + against - then
				}
				switch way[g] {
				case unseen:
					way[g] = then
					queue = append(queue, uint32(g))
				case then:
				default:
					p.oneSided = true
				}
			}
		}
	}
	large := make([]int, parts)
	for i := range large {
		large[i] = i
	}
	size := func(i int) float64 { return r3.Norm2(r3.Sub(tallies[i].high, tallies[i].low)) }
	slices.SortStableFunc(large, func(i, j int) int { return cmp.Compare(size(j), size(i)) })
	large = large[:min(parts, largeParts)]
	for i := range tallies {
		p := &tallies[i]
		if p.oneSided {
			out.OneSided++
			continue
		}
		out.Turned += min(p.against, p.all-p.against)
		volume := p.volume
		turn[i] = against
		if 2*p.against > p.all {
			volume, turn[i] = -volume, as
		}
		if p.open || volume >= 0 {
			continue
		}
		within := slices.ContainsFunc(large, func(q int) bool {
			q1 := &tallies[q]
			return q1.low.X < p.low.X && q1.low.Y < p.low.Y && q1.low.Z < p.low.Z &&
				q1.high.X > p.high.X && q1.high.Y > p.high.Y && q1.high.Z > p.high.Z
		})
		if !within {
			out.InsideOut++
			turn[i] = as + against - turn[i]
		}
	}
	return out, way, turn
}

// Upright returns m with faces turned so that in every part of the surface
// neighbours look the same way, and closed parts outward but for cavities, and
// how many that were. A part with one side only stays as it is. Faces keep their
// numbers; normals at corners are dropped where any face was turned. Where all
// is well m itself is returned, at hardly any cost.
func Upright(m *mesh.Mesh, w *mesh.Weld, t *mesh.Topology) (upright *mesh.Mesh, turned int) {
	if t.Oriented() && (!t.Closed() || mesh.Volume(m) >= 0 && t.Components == 1) {
		return m, 0
	}
	s := &surface{m: m, w: w, t: t, box: mesh.Bounds(m)}
	_, way, turn := s.orientation()
	var over []uint32
	for f, c := range t.Component {
		if c >= 0 && way[f] == turn[c] {
			over = append(over, uint32(f))
		}
	}
	if len(over) == 0 {
		return m, 0
	}
	out := *m
	out.Normals = nil
	out.Triangles = slices.Clone(m.Triangles)
	for _, f := range over {
		out.Triangles[3*f+1], out.Triangles[3*f+2] = out.Triangles[3*f+2], out.Triangles[3*f+1]
	}
	return &out, len(over)
}

// largeParts is how many parts are looked at for one that another lies in.
const largeParts = 64

// sameWay says whether face g runs along side k of face f in the direction in
// which f does: then one of the two is turned.
func (s *surface) sameWay(f, k, g uint32) bool {
	var a, b [3]uint32
	a[0], a[1], a[2] = s.t.Face(f)
	b[0], b[1], b[2] = s.t.Face(g)
	from, to := a[k], a[(k+1)%3]
	for j := range 3 {
		if b[j] == from && b[(j+1)%3] == to {
			return true
		}
	}
	return false
}
