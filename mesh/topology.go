package mesh

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"sync/atomic"
)

// Marks in Topology.Neighbour where there is no single face across an edge.
const (
	BorderEdge      = -1 // no other face has this edge
	NonManifoldEdge = -2 // two or more other faces have it
)

// topologyBlock is the number of faces or vertices one worker takes at a time.
const topologyBlock = 1 << 14

// Topology says which faces touch, on welded vertices. Degenerate faces (two
// corners welded together) and repeats of an earlier face (the same three
// corners) take no part: they have no neighbours, no component and are nobody's
// neighbour. A face and its reverse are a flap without thickness: both take no
// part, which opens no surface and changes no volume.
type Topology struct {
	// Neighbour[3f+k] is the face across the edge from corner k to corner k+1
	// of face f, or BorderEdge, or NonManifoldEdge. Faces that take no part
	// have BorderEdge three times and are not counted in Border.
	Neighbour []int32
	// Border counts edges with one face, NonManifold edges with three or more.
	Border, NonManifold int
	// Turned counts edges whose two faces run along them in the same
	// direction: one of the two is inside out.
	Turned int
	// Component[f] numbers the part of the surface, connected over edges, that
	// face f belongs to, in order of first appearance; -1 for faces that take
	// no part.
	Component  []int32
	Components int
	// Degenerate and Duplicate count the faces that take no part.
	Degenerate, Duplicate int

	corners  []uint32 // 3 welded ids per face, in the mesh's order
	vertices int      // welded
	taking   int      // faces that take part

	listed sync.Once // of a large mesh the following is made when first asked for
	start  []uint32  // CSR over welded vertices …
	faces  []uint32  // … of the faces round each, ascending
}

// keptLists is up to how many faces the lists of faces round vertices, 14 bytes a
// face, are kept when the neighbours have been found. A large scan is looked at and
// marked without them; what asks for them waits a tenth of a second for each three
// million faces, once.
const keptLists = 500_000

// NewTopology finds the neighbours of every face of m, whose triangles it may keep
// and which must not change from then on. A triangle whose corner
// is not a vertex of the mesh must have been refused by the reader.
func NewTopology(m *Mesh, w *Weld) *Topology {
	n := m.FaceCount()
	t := &Topology{Neighbour: make([]int32, 3*n), vertices: w.Count}
	blocks := (n + topologyBlock - 1) / topologyBlock
	if w.Count == m.VertexCount() {
		// No two vertices are at one place, so each has its own number as id.
		t.corners = m.Triangles[: 3*n : 3*n]
	} else {
		t.corners = make([]uint32, 3*n)
		_ = Parallel(context.Background(), blocks, func(b int) {
			for i := 3 * b * topologyBlock; i < min(3*n, 3*(b+1)*topologyBlock); i++ {
				t.corners[i] = w.Of[m.Triangles[i]]
			}
		})
	}
	out := t.leaveOut(w.Count)

	var border, several, turned atomic.Int64
	_ = Parallel(context.Background(), blocks, func(b int) {
		var nb, ns, nt int64
		for f := b * topologyBlock; f < min(n, (b+1)*topologyBlock); f++ {
			if out != nil && out[f] {
				t.Neighbour[3*f], t.Neighbour[3*f+1], t.Neighbour[3*f+2] = BorderEdge, BorderEdge, BorderEdge
				continue
			}
			for k := range 3 {
				other, count, first, sameWay := t.across(uint32(f), k)
				switch {
				case count == 0:
					t.Neighbour[3*f+k] = BorderEdge
					nb++
				case count == 1:
					t.Neighbour[3*f+k] = int32(other)
					if sameWay && int(other) > f {
						nt++
					}
				default:
					t.Neighbour[3*f+k] = NonManifoldEdge
					if first {
						ns++
					}
				}
			}
		}
		border.Add(nb)
		several.Add(ns)
		turned.Add(nt)
	})
	t.Border, t.NonManifold, t.Turned = int(border.Load()), int(several.Load()), int(turned.Load())
	t.findComponents(out)
	t.taking = len(t.faces) / 3
	if n > keptLists {
		t.start, t.faces = nil, nil
	} else {
		t.listed.Do(func() {})
	}
	return t
}

// leaveOut finds the faces that take no part, nil when there are none, and
// makes the list of those that do round every vertex.
func (t *Topology) leaveOut(vertices int) []bool {
	n := len(t.corners) / 3
	var out []bool
	mark := func(f int) {
		if out == nil {
			out = make([]bool, n)
		}
		out[f] = true
	}
	degenerate := make([][]uint32, (n+topologyBlock-1)/topologyBlock)
	_ = Parallel(context.Background(), len(degenerate), func(b int) {
		for f := b * topologyBlock; f < min(n, (b+1)*topologyBlock); f++ {
			a, b2, c := t.corners[3*f], t.corners[3*f+1], t.corners[3*f+2]
			if a == b2 || b2 == c || c == a {
				degenerate[b] = append(degenerate[b], uint32(f))
			}
		}
	})
	for _, list := range degenerate {
		for _, f := range list {
			mark(int(f))
			t.Degenerate++
		}
	}
	t.index(out)
	// Repeats have the same lowest corner, so they are found among the faces
	// round it.
	suspects := make([][]uint32, (vertices+topologyBlock-1)/topologyBlock)
	_ = Parallel(context.Background(), len(suspects), func(b int) {
		for v := b * topologyBlock; v < min(vertices, (b+1)*topologyBlock); v++ {
			if t.mayRepeat(uint32(v)) {
				suspects[b] = append(suspects[b], uint32(v))
			}
		}
	})
	for _, list := range suspects {
		for _, v := range list {
			t.leaveOutRepeats(t.lowestAt(v), mark)
		}
	}
	if t.Duplicate > 0 {
		t.index(out)
	}
	return out
}

// mayRepeat says whether two faces whose lowest corner is v may have the other
// two corners in common as well.
func (t *Topology) mayRepeat(v uint32) bool {
	var keys [32]uint64
	n := 0
	for _, f := range t.round(v) {
		a, b, c := t.corners[3*f], t.corners[3*f+1], t.corners[3*f+2]
		if min(a, b, c) != v {
			continue
		}
		if n == len(keys) {
			return true // too many to compare one by one
		}
		keys[n] = t.otherCorners(f)
		if slices.Contains(keys[:n], keys[n]) {
			return true
		}
		n++
	}
	return false
}

// lowestAt lists the faces whose lowest corner is v.
func (t *Topology) lowestAt(v uint32) []uint32 {
	return slices.DeleteFunc(slices.Clone(t.round(v)), func(f uint32) bool {
		return min(t.corners[3*f], t.corners[3*f+1], t.corners[3*f+2]) != v
	})
}

// otherCorners is the middle and the highest corner of a face in one number.
func (t *Topology) otherCorners(f uint32) uint64 {
	a, b, c := t.corners[3*f], t.corners[3*f+1], t.corners[3*f+2]
	return uint64(max(a, b, c))<<32 | uint64(min(max(a, b), max(b, c), max(c, a)))
}

// leaveOutRepeats looks at faces that have their lowest corner in common for
// those that have all three in common. Of such faces the first one of the
// direction that prevails stays; where none prevails, none does.
func (t *Topology) leaveOutRepeats(list []uint32, mark func(f int)) {
	// Corners rising round the face, from the lowest one on, or falling.
	rising := func(f uint32) bool {
		a, b, c := t.corners[3*f], t.corners[3*f+1], t.corners[3*f+2]
		return (a < b && b < c) || (b < c && c < a) || (c < a && a < b)
	}
	key := t.otherCorners
	slices.SortStableFunc(list, func(f, g uint32) int { return cmp.Compare(key(f), key(g)) })
	for len(list) > 0 {
		n, up := 0, 0
		for n < len(list) && key(list[n]) == key(list[0]) {
			if rising(list[n]) {
				up++
			}
			n++
		}
		stays := 2*up != n
		for _, f := range list[:n] {
			if stays && rising(f) == (2*up > n) {
				stays = false
				continue
			}
			mark(int(f))
			t.Duplicate++
		}
		list = list[n:]
	}
}

// index makes the list of faces round every welded vertex.
func (t *Topology) index(out []bool) {
	vertices := t.vertices
	t.start = make([]uint32, vertices+1)
	n := len(t.corners) / 3
	takes := func(f int) bool { return out == nil || !out[f] }
	for f := range n {
		if takes(f) {
			for k := range 3 {
				t.start[t.corners[3*f+k]+1]++
			}
		}
	}
	for v := range vertices {
		t.start[v+1] += t.start[v]
	}
	t.faces = make([]uint32, t.start[vertices])
	fill := slices.Clone(t.start[:vertices])
	for f := range n {
		if takes(f) {
			for k := range 3 {
				v := t.corners[3*f+k]
				t.faces[fill[v]] = uint32(f)
				fill[v]++
			}
		}
	}
}

// across looks for the other faces on edge k of face f: the last one found,
// how many there are, whether f is the first face on that edge, and whether
// the other runs along the edge the same way.
func (t *Topology) across(f uint32, k int) (other uint32, count int, first, sameWay bool) {
	a, b := t.corners[3*f+uint32(k)], t.corners[3*f+uint32((k+1)%3)]
	v, end := a, b
	if t.start[b+1]-t.start[b] < t.start[a+1]-t.start[a] {
		v, end = b, a
	}
	first = true
	for _, g := range t.round(v) {
		if g == f {
			continue
		}
		c := t.corners[3*g : 3*g+3 : 3*g+3]
		if c[0] != end && c[1] != end && c[2] != end {
			continue
		}
		other = g
		count++
		first = first && g > f
		sameWay = (c[0] == a && c[1] == b) || (c[1] == a && c[2] == b) || (c[2] == a && c[0] == b)
	}
	return other, count, first, sameWay
}

// FacesOf returns the faces round welded vertex v, ascending. The slice is the
// topology's own: do not change it.
func (t *Topology) FacesOf(v uint32) []uint32 {
	t.listed.Do(t.list)
	return t.round(v)
}

// list makes the lists that were not kept.
func (t *Topology) list() {
	var out []bool
	if t.taking < len(t.Component) {
		out = make([]bool, len(t.Component))
		for f, c := range t.Component {
			out[f] = c < 0
		}
	}
	t.index(out)
}

// round is FacesOf where the lists are there.
func (t *Topology) round(v uint32) []uint32 { return t.faces[t.start[v]:t.start[v+1]:t.start[v+1]] }

// Face returns the welded ids of the corners of face f.
func (t *Topology) Face(f uint32) (a, b, c uint32) {
	return t.corners[3*f], t.corners[3*f+1], t.corners[3*f+2]
}

// VertexCount is the number of welded vertices.
func (t *Topology) VertexCount() int { return t.vertices }

// Closed says whether every edge has exactly two faces, which a volume needs.
func (t *Topology) Closed() bool {
	return t.Border == 0 && t.NonManifold == 0 && t.taking > 0
}

// Oriented says whether neighbouring faces everywhere turn the same way round,
// which a signed distance and a volume need.
func (t *Topology) Oriented() bool { return t.Turned == 0 }

// findComponents joins faces over shared edges, those of several faces
// included. Several workers join at once, always the later of two parts to the
// earlier, so that each part ends up named by its first face, whoever was quick.
func (t *Topology) findComponents(out []bool) {
	n := len(t.corners) / 3
	t.Component = make([]int32, n) // first another face of the same part, none later
	blocks := (n + topologyBlock - 1) / topologyBlock
	_ = Parallel(context.Background(), blocks, func(b int) {
		for f := b * topologyBlock; f < min(n, (b+1)*topologyBlock); f++ {
			t.Component[f] = int32(f)
		}
	})
	_ = Parallel(context.Background(), blocks, func(b int) {
		for f := b * topologyBlock; f < min(n, (b+1)*topologyBlock); f++ {
			for k := range 3 {
				switch g := t.Neighbour[3*f+k]; {
				case g > int32(f):
					join(t.Component, int32(f), g)
				case g == NonManifoldEdge:
					a, b := t.corners[3*f+k], t.corners[3*f+(k+1)%3]
					for _, o := range t.round(a) {
						if c := t.corners[3*o : 3*o+3 : 3*o+3]; c[0] == b || c[1] == b || c[2] == b {
							join(t.Component, int32(f), int32(o))
						}
					}
				}
			}
		}
	})
	for f, first := range t.Component {
		switch {
		case out != nil && out[f]:
			t.Component[f] = -1
		case int(first) == f:
			t.Component[f] = int32(t.Components)
			t.Components++
		default:
			t.Component[f] = t.Component[first]
		}
	}
}

// join makes the parts of two faces one. An entry of part points to an earlier
// face of the same part, or to itself; chains are shortened on the way.
func join(part []int32, f, g int32) {
	first := func(f int32) int32 {
		for {
			p := atomic.LoadInt32(&part[f])
			if p == f {
				return f
			}
			q := atomic.LoadInt32(&part[p])
			if q != p {
				atomic.CompareAndSwapInt32(&part[f], p, q)
			}
			f = p
		}
	}
	for {
		f, g = first(f), first(g)
		if f == g {
			return
		}
		if f > g {
			f, g = g, f
		}
		if atomic.CompareAndSwapInt32(&part[g], g, f) {
			return
		}
	}
}
