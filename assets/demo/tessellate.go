package demo

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// tessellation is a triangulated unit sphere whose triangles become nearly
// equilateral, with edges near a wanted length, on the surface it is the
// parameter of. Triangles never overlap on the sphere, so a surface that every
// ray from inside meets once is never folded.
type tessellation struct {
	at  []r3.Vec // on the unit sphere
	on  []r3.Vec // on the surface, mm
	tri [][3]int32
	adj [][3]int32 // the face across the edge from corner k to k+1

	surface func(r3.Vec) r3.Vec
	// side is, per vertex, on which side of a crease it lies: 0 on it. nil
	// before the crease is laid, or where the surface has none.
	side []int8
}

// crease is a sharp edge of a surface: a closed line on the sphere of its
// parameter. It tells on which side of the line a place is, and the place of
// the line beside it.
type crease func(at r3.Vec) (side int8, on r3.Vec)

// tessellate covers surface, a smooth map of the unit sphere, with about
// `faces` triangles. It starts from an icosahedron turned at random and halves
// the edges that are too long, coarse lengths first, turning edges (Delaunay,
// in millimetres) and evening out the vertices between; two different seeds
// share no vertex. guess is a cheaper map of about the same shape and size,
// used for the coarse lengths. Edges of the mesh follow sharp, which may be nil.
func tessellate(ctx context.Context, surface, guess func(r3.Vec) r3.Vec, sharp crease, faces int, random *splitmix) (*tessellation, error) {
	t := &tessellation{surface: guess}
	t.icosahedron(random)
	area := t.areaOf(surface)
	edge := math.Sqrt(4 * area / (math.Sqrt(3) * float64(faces)))
	// Halving leaves edges between half this limit and the limit; at this value
	// the number of faces comes out as wanted (measured).
	const limit = 1.57
	for length := edge * 64; ; length /= math.Sqrt2 {
		if length < edge*1.01 {
			length = edge
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if length < edge*2.1 {
			t.use(surface)
		}
		for range 3 {
			before := len(t.tri)
			if t.split(limit*length) == 0 {
				break
			}
			t.turn()
			if len(t.tri) > before+before/20 { // a few new ones do not need it
				t.even(2)
			}
		}
		if length == edge {
			break
		}
	}
	for t.merge(0.4*edge) > 0 {
		t.turn()
	}
	if sharp != nil {
		t.lay(sharp)
		for range 3 {
			t.turn()
			t.even(1)
		}
	} else {
		t.even(1)
	}
	t.turn()
	return t, nil
}

// lay moves vertices on to the crease until no edge crosses it, the nearer end
// of each that does.
func (t *tessellation) lay(sharp crease) {
	t.side = make([]int8, len(t.at))
	to := make([]r3.Vec, len(t.at))
	for v, d := range t.at {
		t.side[v], to[v] = sharp(d)
	}
	start, round := t.rounds()
	off := func(v int32) float64 { return norm(r3.Sub(t.surface(to[v]), t.on[v])) }
	move := func(v int32) bool {
		old := t.at[v]
		t.at[v] = to[v]
		for _, e := range round[start[v]:start[v+1]] {
			if c := t.tri[e/3]; !t.up(c[0], c[1], c[2]) {
				t.at[v] = old
				return false
			}
		}
		t.on[v], t.side[v] = t.surface(to[v]), 0
		return true
	}
	for f := range t.tri {
		for k := range 3 {
			a, b := t.tri[f][k], t.tri[f][(k+1)%3]
			if t.side[a]*t.side[b] >= 0 {
				continue
			}
			if off(a) > off(b) {
				a, b = b, a
			}
			_ = move(a) || move(b) // else this edge stays across the crease
		}
	}
}

// use puts all vertices on another surface.
func (t *tessellation) use(surface func(r3.Vec) r3.Vec) {
	t.surface = surface
	for i := range t.at {
		t.on[i] = surface(t.at[i])
	}
}

// areaOf is a rough area of the surface, from a fine icosahedral mesh.
func (t *tessellation) areaOf(surface func(r3.Vec) r3.Vec) float64 {
	fine := &tessellation{surface: surface, at: t.at, on: t.on, tri: t.tri, adj: t.adj}
	for range 3 {
		fine.split(0)
	}
	var sum float64
	for _, c := range fine.tri {
		a, b, d := fine.on[c[0]], fine.on[c[1]], fine.on[c[2]]
		sum += norm(r3.Cross(r3.Sub(b, a), r3.Sub(d, a))) / 2
	}
	return sum
}

func (t *tessellation) icosahedron(random *splitmix) {
	g := (1 + math.Sqrt(5)) / 2
	corners := []r3.Vec{
		{X: -1, Y: g}, {X: 1, Y: g}, {X: -1, Y: -g}, {X: 1, Y: -g},
		{Y: -1, Z: g}, {Y: 1, Z: g}, {Y: -1, Z: -g}, {Y: 1, Z: -g},
		{X: g, Z: -1}, {X: g, Z: 1}, {X: -g, Z: -1}, {X: -g, Z: 1},
	}
	n := random.direction()
	e1, e2 := across(n)
	for _, c := range corners {
		d := r3.Unit(r3.Add(r3.Scale(c.X, e1), r3.Add(r3.Scale(c.Y, e2), r3.Scale(c.Z, n))))
		t.at = append(t.at, d)
		t.on = append(t.on, t.surface(d))
	}
	t.tri = [][3]int32{
		{0, 11, 5}, {0, 5, 1}, {0, 1, 7}, {0, 7, 10}, {0, 10, 11},
		{1, 5, 9}, {5, 11, 4}, {11, 10, 2}, {10, 7, 6}, {7, 1, 8},
		{3, 9, 4}, {3, 4, 2}, {3, 2, 6}, {3, 6, 8}, {3, 8, 9},
		{4, 9, 5}, {2, 4, 11}, {6, 2, 10}, {8, 6, 7}, {9, 8, 1},
	}
	t.neighbours()
	t.split(0)
	t.split(0)
}

// neighbours finds the face across every edge of the closed surface, looking at
// the edges of each vertex that end at a later one.
func (t *tessellation) neighbours() {
	t.adj = make([][3]int32, len(t.tri))
	start := make([]int32, len(t.at)+1)
	for _, c := range t.tri {
		for k := range 3 {
			start[min(c[k], c[(k+1)%3])+1]++
		}
	}
	for i := range t.at {
		start[i+1] += start[i]
	}
	edges := make([]int32, start[len(t.at)]) // 3·face + corner
	fill := slices.Clone(start[:len(t.at)])
	for f, c := range t.tri {
		for k := range 3 {
			v := min(c[k], c[(k+1)%3])
			edges[fill[v]] = int32(3*f + k)
			fill[v]++
		}
	}
	for v := range t.at {
		for i := start[v]; i < start[v+1]; i++ {
			e := edges[i]
			a, b := t.tri[e/3][e%3], t.tri[e/3][(e%3+1)%3]
			for j := i + 1; j < start[v+1]; j++ {
				if g := edges[j]; t.tri[g/3][g%3] == b && t.tri[g/3][(g%3+1)%3] == a {
					t.adj[e/3][e%3], t.adj[g/3][g%3] = g/3, e/3
				}
			}
		}
	}
}

func (t *tessellation) length(a, b int32) float64 { return norm(r3.Sub(t.on[a], t.on[b])) }

// norm is r3.Norm without its care for lengths near the ends of float64.
func norm(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

// split halves every edge longer than limit and returns how many there were.
func (t *tessellation) split(limit float64) int {
	middle := make([][3]int32, len(t.tri)) // 1 + the new vertex of each edge
	count := 0
	at, on := t.at, t.on
	for f, c := range t.tri {
		for k := range 3 {
			g := t.adj[f][k]
			if middle[f][k] != 0 || t.length(c[k], c[(k+1)%3]) <= limit {
				continue
			}
			d := r3.Unit(r3.Add(t.at[c[k]], t.at[c[(k+1)%3]]))
			at, on = append(at, d), append(on, t.surface(d))
			count++
			middle[f][k] = int32(len(at))
			middle[g][t.edgeTo(g, int32(f))] = int32(len(at))
		}
	}
	if count == 0 {
		return 0
	}
	t.at, t.on = at, on
	old := t.tri
	t.tri = make([][3]int32, 0, len(old)+2*count)
	for f, c := range old {
		m := middle[f]
		// Turn the face so that its marked edges come first.
		for i := 0; i < 2 && !(m[0] != 0 && (m[2] == 0 || m[1] != 0)); i++ {
			c = [3]int32{c[1], c[2], c[0]}
			m = [3]int32{m[1], m[2], m[0]}
		}
		a, b, d := m[0]-1, m[1]-1, m[2]-1
		switch {
		case m[0] == 0:
			t.tri = append(t.tri, c)
		case m[1] == 0:
			t.tri = append(t.tri, [3]int32{c[0], a, c[2]}, [3]int32{a, c[1], c[2]})
		case m[2] == 0:
			t.tri = append(t.tri, [3]int32{a, c[1], b})
			if t.length(a, c[2]) < t.length(c[0], b) {
				t.tri = append(t.tri, [3]int32{c[0], a, c[2]}, [3]int32{a, b, c[2]})
			} else {
				t.tri = append(t.tri, [3]int32{c[0], a, b}, [3]int32{c[0], b, c[2]})
			}
		default:
			t.tri = append(t.tri, [3]int32{c[0], a, d}, [3]int32{a, c[1], b}, [3]int32{d, b, c[2]}, [3]int32{a, b, d})
		}
	}
	t.neighbours()
	return count
}

// edgeTo is the edge of face f that face g lies across.
func (t *tessellation) edgeTo(f, g int32) int {
	for k := range 3 {
		if t.adj[f][k] == g {
			return k
		}
	}
	return -1
}

// merge makes the two ends of edges shorter than limit one vertex, shortest
// first, no two of them side by side, and returns how many there were.
func (t *tessellation) merge(limit float64) int {
	type short struct {
		f      int32
		k      int
		length float64
	}
	var list []short
	for f, c := range t.tri {
		for k := range 3 {
			if l := t.length(c[k], c[(k+1)%3]); l < limit && c[k] < c[(k+1)%3] {
				list = append(list, short{int32(f), k, l})
			}
		}
	}
	slices.SortFunc(list, func(a, b short) int {
		return cmp.Or(cmp.Compare(a.length, b.length), cmp.Compare(a.f, b.f), cmp.Compare(a.k, b.k))
	})
	start, round := t.rounds()
	locked := make([]bool, len(t.at))
	gone := make([]bool, len(t.tri))
	into := make([]int32, len(t.at))
	for i := range into {
		into[i] = int32(i)
	}
	count := 0
	for _, e := range list {
		a, b := t.tri[e.f][e.k], t.tri[e.f][(e.k+1)%3]
		ring := append(slices.Clone(round[start[a]:start[a+1]]), round[start[b]:start[b+1]]...)
		free := true
		var seen []int32 // neighbours of both ends, those of both twice
		for _, r := range ring {
			for _, v := range t.tri[r/3] {
				free = free && !locked[v]
			}
			seen = append(seen, t.tri[r/3][(r%3+1)%3])
		}
		slices.Sort(seen)
		both := 0
		for i := 1; i < len(seen); i++ {
			if seen[i] == seen[i-1] {
				both++
			}
		}
		if !free || both != 2 {
			continue
		}
		old, oldB := t.at[a], t.at[b]
		t.at[a] = r3.Unit(r3.Add(old, oldB))
		t.at[b] = t.at[a]
		for _, r := range ring {
			c := t.tri[r/3]
			if (c[0] == a || c[1] == a || c[2] == a) && (c[0] == b || c[1] == b || c[2] == b) {
				continue
			}
			free = free && t.up(c[0], c[1], c[2])
		}
		if !free {
			t.at[a], t.at[b] = old, oldB
			continue
		}
		t.on[a] = t.surface(t.at[a])
		into[b] = a
		gone[e.f], gone[t.adj[e.f][e.k]] = true, true
		for _, r := range ring {
			for _, v := range t.tri[r/3] {
				locked[v] = true
			}
		}
		count++
	}
	if count == 0 {
		return 0
	}
	number := make([]int32, len(t.at))
	n := int32(0)
	for v := range t.at {
		if into[v] == int32(v) {
			number[v] = n
			t.at[n], t.on[n] = t.at[v], t.on[v]
			n++
		}
	}
	t.at, t.on = t.at[:n], t.on[:n]
	kept := t.tri[:0]
	for f, c := range t.tri {
		if !gone[f] {
			kept = append(kept, [3]int32{number[into[c[0]]], number[into[c[1]]], number[into[c[2]]]})
		}
	}
	t.tri = kept
	t.neighbours()
	return count
}

// up says whether three directions turn counter-clockwise seen from
// outside, with some room to spare.
func (t *tessellation) up(a, b, c int32) bool {
	u, v, w := t.at[a], t.at[b], t.at[c]
	n := r3.Cross(r3.Sub(v, u), r3.Sub(w, u))
	return r3.Dot(n, u) > 0.02*norm(n)
}

// turn replaces an edge by the other diagonal of its two faces wherever the
// two opposite angles add to more than half a turn, until there is none.
func (t *tessellation) turn() {
	queue := make([]int32, 0, 3*len(t.tri))
	for f := range t.tri {
		for k := range 3 {
			queue = append(queue, int32(3*f+k))
		}
	}
	cosAngle := func(at, a, b int32) float64 {
		u, v := r3.Sub(t.on[a], t.on[at]), r3.Sub(t.on[b], t.on[at])
		return r3.Dot(u, v) / (norm(u) * norm(v))
	}
	for budget := 40 * len(t.tri); len(queue) > 0 && budget > 0; budget-- {
		e := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		f, k := e/3, int(e%3)
		g := t.adj[f][k]
		j := t.edgeTo(g, f)
		a, b, c := t.tri[f][k], t.tri[f][(k+1)%3], t.tri[f][(k+2)%3]
		d := t.tri[g][(j+2)%3]
		if t.side != nil && (t.side[a] == 0 && t.side[b] == 0 || t.side[c]*t.side[d] < 0) {
			continue // an edge of the crease, or a new one across it
		}
		// cos α + cos β < 0 is α + β > π for angles below π.
		if cosAngle(c, a, b)+cosAngle(d, a, b) >= -1e-9 || !t.up(c, a, d) || !t.up(d, b, c) {
			continue
		}
		// f = a b c and g = b a d become f = c a d and g = d b c.
		fbc, fca := t.adj[f][(k+1)%3], t.adj[f][(k+2)%3]
		gad, gdb := t.adj[g][(j+1)%3], t.adj[g][(j+2)%3]
		t.tri[f], t.adj[f] = [3]int32{c, a, d}, [3]int32{fca, gad, g}
		t.tri[g], t.adj[g] = [3]int32{d, b, c}, [3]int32{gdb, fbc, f}
		t.adj[gad][t.edgeTo(gad, g)] = f
		t.adj[fbc][t.edgeTo(fbc, f)] = g
		queue = append(queue, 3*f, 3*f+1, 3*g, 3*g+1)
	}
}

// even moves every vertex half the way to the middle of its neighbours on the
// sphere, a few times, where no triangle turns over and no edge becomes much
// shorter than the others.
func (t *tessellation) even(rounds int) {
	start, round := t.rounds()
	for range rounds {
		for v := range t.at {
			if t.side != nil && t.side[v] == 0 {
				continue
			}
			var sum r3.Vec
			var weight float64
			for _, e := range round[start[v]:start[v+1]] {
				c := t.tri[e/3]
				p, q := c[(e%3+1)%3], c[(e%3+2)%3]
				w := norm(r3.Cross(r3.Sub(t.on[p], t.on[v]), r3.Sub(t.on[q], t.on[v])))
				sum = r3.Add(sum, r3.Scale(w, r3.Add(t.at[p], t.at[q])))
				weight += 2 * w
			}
			old, oldOn := t.at[v], t.on[v]
			near := t.nearest(int32(v), round[start[v]:start[v+1]])
			t.at[v] = r3.Unit(r3.Add(old, r3.Scale(1/weight, sum)))
			t.on[v] = t.surface(t.at[v])
			good := t.nearest(int32(v), round[start[v]:start[v+1]]) > 0.8*near
			for _, e := range round[start[v]:start[v+1]] {
				c := t.tri[e/3]
				good = good && t.up(c[0], c[1], c[2])
			}
			if !good {
				t.at[v], t.on[v] = old, oldOn
			}
		}
	}
}

// nearest is the length of the shortest edge at v in parts of the longest.
func (t *tessellation) nearest(v int32, round []int32) float64 {
	low, high := math.Inf(1), 0.0
	for _, e := range round {
		l := t.length(v, t.tri[e/3][(e%3+1)%3])
		low, high = min(low, l), max(high, l)
	}
	return low / high
}

// rounds lists the faces round every vertex v: round[start[v]:start[v+1]]
// holds 3·face + corner.
func (t *tessellation) rounds() (start, round []int32) {
	n := len(t.at)
	start = make([]int32, n+1)
	for _, c := range t.tri {
		for _, v := range c {
			start[v+1]++
		}
	}
	for i := range n {
		start[i+1] += start[i]
	}
	round = make([]int32, start[n])
	fill := append([]int32(nil), start[:n]...)
	for f, c := range t.tri {
		for k, v := range c {
			round[fill[v]] = int32(3*f + k)
			fill[v]++
		}
	}
	return start, round
}
