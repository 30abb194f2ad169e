package geodesic

import "gonum.org/v1/gonum/spatial/r3"

// flat is a point of the unfolded plane.
type flat struct{ x, y float64 }

func (a flat) sub(b flat) flat { return flat{a.x - b.x, a.y - b.y} }

// cross is positive where c lies to the left of a → b.
func cross(a, b, c flat) float64 {
	u, v := b.sub(a), c.sub(a)
	return u.x*v.y - u.y*v.x
}

// gate is an edge between two faces of a strip, seen along the way: its ends
// to the left and right, in the unfolded plane and in space.
type gate struct {
	left, right     flat
	leftAt, rightAt r3.Vec
	leftID, rightID uint32
}

// bend is a vertex round which the way bends, and the first and last gate of
// which it is an end. The way goes through faces first … last+1 there.
type bend struct {
	vertex      uint32
	first, last int
}

// pulled is the shortest way through a strip.
type pulled struct {
	length    float64
	points    []r3.Vec
	crossings []r3.Vec // the start, where the way crosses each gate, the end
	bends     []bend
}

// pull finds the shortest way through the strip.
func (l *leg) pull() pulled {
	gates, start, end := l.unfold()
	knots := funnel(gates, start, end)
	out := pulled{points: []r3.Vec{l.from}, crossings: make([]r3.Vec, len(gates)+2)}
	out.crossings[0], out.crossings[len(gates)+1] = l.from, l.to
	at, from := start, 0
	for _, k := range append(knots, knot{gate: len(gates), at: end}) {
		for i := from; i < k.gate; i++ {
			out.crossings[i+1] = gates[i].cross(at, k.at)
		}
		if k.gate < len(gates) {
			g := &gates[k.gate]
			id, p := g.rightID, g.rightAt
			if k.left {
				id, p = g.leftID, g.leftAt
			}
			out.crossings[k.gate+1] = p
			b := bend{id, k.gate, k.gate}
			has := func(i int) bool { return gates[i].leftID == id || gates[i].rightID == id }
			for b.first > 0 && has(b.first-1) {
				b.first--
			}
			for b.last+1 < len(gates) && has(b.last+1) {
				b.last++
			}
			out.bends = append(out.bends, b)
		}
		at, from = k.at, k.gate+1
	}
	for _, p := range out.crossings[1:] {
		if last := out.points[len(out.points)-1]; p != last {
			out.length += r3.Norm(r3.Sub(p, last))
			out.points = append(out.points, p)
		}
	}
	if len(out.points) == 1 {
		out.points = append(out.points, l.to)
	}
	return out
}

// cross is the point in space where the straight line from a to b crosses.
func (g *gate) cross(a, b flat) r3.Vec {
	l, r := cross(a, b, g.left), -cross(a, b, g.right)
	t := 0.5
	if l+r != 0 {
		t = min(max(r/(l+r), 0), 1)
	}
	switch t { // vertices exactly, so that repeats fall together
	case 0:
		return g.rightAt
	case 1:
		return g.leftAt
	}
	return r3.Add(r3.Scale(1-t, g.rightAt), r3.Scale(t, g.leftAt))
}

// unfold lays the strip into the plane and returns its gates and its two ends
// there.
func (l *leg) unfold() (gates []gate, start, end flat) {
	f := l.faces[0]
	a, b, c := l.corner(f, 0), l.corner(f, 1), l.corner(f, 2)
	e := basis(a, b, c)
	// The first face stands with corner 0 at zero and corner 1 along x, turned
	// as it is seen from outside: corner 2 to the left.
	place := func(p r3.Vec) flat {
		s, h := e.of(p)
		return flat{s, h}
	}
	start = place(l.from)
	if len(l.faces) == 1 {
		return nil, start, place(l.to)
	}
	ids := l.corners(f)
	at := [3]r3.Vec{a, b, c}
	k := l.gateTo(f, l.faces[1])
	// The face lies to the left of its edge k → k+1, so that end k+1 is left
	// of whoever goes out.
	i, j := k, (k+1)%3
	g := gate{leftID: ids[j], leftAt: at[j], left: place(at[j]), rightID: ids[i], rightAt: at[i], right: place(at[i])}
	for n := 1; ; n++ {
		gates = append(gates, g)
		f = l.faces[n]
		ids = l.corners(f)
		third := 0
		for ids[third] == g.leftID || ids[third] == g.rightID {
			third++
		}
		p := l.corner(f, third)
		e := basis(g.rightAt, g.leftAt, p)
		along := g.left.sub(g.right)
		if e.length > 0 {
			along = flat{along.x / e.length, along.y / e.length}
		}
		beyond := func(q r3.Vec) flat {
			s, h := e.of(q)
			return flat{g.right.x + s*along.x + h*along.y, g.right.y + s*along.y - h*along.x}
		}
		if n+1 == len(l.faces) {
			return gates, start, beyond(l.to)
		}
		// Out by the edge of the third corner and the left or the right end.
		k := l.gateTo(f, l.faces[n+1])
		q := beyond(p)
		if u, v := ids[k], ids[(k+1)%3]; u == g.leftID || v == g.leftID {
			g.rightID, g.rightAt, g.right = ids[third], p, q
		} else {
			g.leftID, g.leftAt, g.left = ids[third], p, q
		}
	}
}

// gateTo is the edge of face f that leads to face g.
func (l *leg) gateTo(f, g uint32) int {
	for k := range 3 {
		if n, _, ok := l.across(f, k); ok && n == g {
			return k
		}
	}
	return 0 // strips are made of neighbours
}

// axes are coordinates in the plane of a face: along one of its edges and
// square to it.
type axes struct {
	origin, along, square r3.Vec
	length                float64 // of the edge
}

// basis makes axes along a → b with c on the positive side.
func basis(a, b, c r3.Vec) axes {
	e := axes{origin: a, along: r3.Sub(b, a)}
	e.length = r3.Norm(e.along)
	if e.length > 0 {
		e.along = r3.Scale(1/e.length, e.along)
	}
	v := r3.Sub(c, a)
	e.square = r3.Sub(v, r3.Scale(r3.Dot(v, e.along), e.along))
	if h := r3.Norm(e.square); h > 0 {
		e.square = r3.Scale(1/h, e.square)
	}
	return e
}

func (e *axes) of(p r3.Vec) (s, h float64) {
	v := r3.Sub(p, e.origin)
	return r3.Dot(v, e.along), r3.Dot(v, e.square)
}

// knot is an end of a gate round which the way bends.
type knot struct {
	gate int
	left bool
	at   flat
}

// funnel finds the bends of the shortest way from start to end through the
// gates. The funnel is the part of the plane that can be seen from its apex
// through the gates so far; a gate that closes it moves the apex on.
func funnel(gates []gate, start, end flat) (knots []knot) {
	apex, left, right := start, start, start
	leftGate, rightGate := -1, -1
	for i := 0; i <= len(gates); i++ {
		l, r := end, end
		if i < len(gates) {
			l, r = gates[i].left, gates[i].right
		}
		if cross(apex, right, r) >= 0 {
			if right == apex || cross(apex, left, r) <= 0 {
				right, rightGate = r, i
			} else {
				knots = append(knots, knot{leftGate, true, left})
				apex, right, i = left, left, leftGate
				rightGate = leftGate
				continue
			}
		}
		if cross(apex, left, l) <= 0 {
			if left == apex || cross(apex, right, l) >= 0 {
				left, leftGate = l, i
			} else {
				knots = append(knots, knot{rightGate, false, right})
				apex, left, i = right, right, rightGate
				leftGate = rightGate
				continue
			}
		}
	}
	return knots
}
