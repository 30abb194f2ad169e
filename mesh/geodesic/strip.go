package geodesic

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// leg is a part of a way with the strip of faces it crosses, each across an
// edge from the one before. A way has one leg, or several that meet in
// vertices where the surface hangs together by the vertex alone.
type leg struct {
	surface
	from, to r3.Vec
	faces    []uint32 // nil for a straight way in a face that takes no part
}

// legs turns the way found into strips of faces.
func (s *search) legs(last int32, start, end uint32) []*leg {
	var way []int32
	for i := last; i >= 0; i = s.visits[i].back {
		way = append(way, i)
	}
	slices.Reverse(way)
	vertices := uint32(s.topo.VertexCount())
	var legs []*leg
	now := &leg{surface: s.surface, from: s.from, faces: []uint32{start}}
	for n, i := range way {
		v := &s.visits[i]
		next := end
		if n+1 < len(way) {
			next = s.visits[way[n+1]].via
		}
		at := now.faces[len(now.faces)-1]
		if next == at {
			continue
		}
		if v.node >= vertices {
			now.faces = append(now.faces, next)
			continue
		}
		if between, ok := s.round(v.node, at, next); ok {
			now.faces = append(append(now.faces, between...), next)
			continue
		}
		now.to = v.at
		legs = append(legs, now)
		now = &leg{surface: s.surface, from: v.at, faces: []uint32{next}}
	}
	now.to = s.goal
	return append(legs, now)
}

// round lists the faces between two faces at vertex v on the side where the
// turn is smaller.
func (s *surface) round(v, f, g uint32) (between []uint32, ok bool) {
	if s.topo.Component[f] < 0 || s.topo.Component[g] < 0 {
		return nil, false
	}
	k := s.cornerOf(f, v)
	least := math.Inf(1)
	for _, out := range [2]int{k, (k + 2) % 3} {
		side, found := s.fan(v, f, out, g)
		if !found {
			continue
		}
		turn := 0.0
		for _, h := range side {
			turn += s.angle(h, v)
		}
		if turn < least {
			least, between, ok = turn, side, true
		}
	}
	return between, ok
}

// angle is the angle of face f at vertex v.
func (s *surface) angle(f, v uint32) float64 {
	k := s.cornerOf(f, v)
	return mesh.CornerAngle(s.corner(f, k), s.corner(f, (k+1)%3), s.corner(f, (k+2)%3))
}

// taut returns the points of the shortest way of the leg. The strip is led
// round a vertex as long as that shortens the way.
func (l *leg) taut() []r3.Vec {
	// Every round shortens, so it ends; the limit is for rounding alone.
	const rounds = 10_000
	l.prune()
	best := l.pull()
	for range rounds {
		was := slices.Clone(l.faces)
		if !l.flip(best) {
			break
		}
		now := l.pull()
		if now.length > best.length*(1+1e-12) {
			l.faces = was
			break
		}
		best = now
	}
	return best.points
}

// prune takes out faces that are entered and left by the same edge.
func (l *leg) prune() {
	out := l.faces[:0]
	for _, f := range l.faces {
		if n := len(out); n > 0 && out[n-1] == f {
			continue
		} else if n > 1 && out[n-2] == f {
			out = out[:n-1]
			continue
		}
		out = append(out, f)
	}
	l.faces = out
}

// flip leads the strip round the other side of every vertex where the way
// bends and that side is less than a half turn, and says whether there was any.
// Bends that share faces wait for the next round.
func (l *leg) flip(p pulled) bool {
	flipped := false
	untouched := len(l.faces)
	for _, b := range slices.Backward(p.bends) {
		if b.last+1 >= untouched {
			continue
		}
		if between, ok := l.otherSide(b, p); ok {
			l.faces = slices.Concat(l.faces[:b.first+1], between, l.faces[b.last+1:])
			untouched = b.first
			flipped = true
		}
	}
	if flipped {
		l.prune()
	}
	return flipped
}

// otherSide lists the faces round the other side of a bend if the turn there
// is less than a half.
func (l *leg) otherSide(b bend, p pulled) (between []uint32, ok bool) {
	f, g := l.faces[b.first], l.faces[b.last+1]
	in, out := l.awayFrom(f, l.faces[b.first+1], b.vertex), l.awayFrom(g, l.faces[b.last], b.vertex)
	between, ok = l.fan(b.vertex, f, in, g)
	if !ok {
		return nil, false
	}
	v := l.corner(f, l.cornerOf(f, b.vertex))
	turn := l.angleTo(f, in, b.vertex, v, p.crossings[b.first]) + l.angleTo(g, out, b.vertex, v, p.crossings[b.last+2])
	for _, h := range between {
		turn += l.angle(h, b.vertex)
	}
	return between, turn < math.Pi-1e-9
}

// awayFrom is the edge of face f at vertex v that does not lead to face g.
func (l *leg) awayFrom(f, g, v uint32) int {
	k := l.cornerOf(f, v)
	if n, _, ok := l.across(f, k); ok && n == g {
		return (k + 2) % 3
	}
	return k
}

// angleTo is the angle at vertex v, which stands at `at`, between edge k of
// face f and a point of the way in that face.
func (l *leg) angleTo(f uint32, k int, v uint32, at, point r3.Vec) float64 {
	end := k
	if l.corners(f)[k] == v {
		end = (k + 1) % 3
	}
	return mesh.CornerAngle(at, l.corner(f, end), point)
}
