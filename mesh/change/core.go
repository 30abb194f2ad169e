package change

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/bvh"
	"rigatino/mesh/quantity"
)

// smallestFaces is the least surface of an area in squares of the mean edge.
const smallestFaces = 20

// SmallestAreaMM2 is the least surface of a change area on scans whose coarser
// one has the given mean edge.
func SmallestAreaMM2(edgeMM float64) float64 { return smallestFaces * edgeMM * edgeMM }

// sets is a union-find forest with the lowest member as root.
type sets []uint32

func newSets(n int) sets {
	s := make(sets, n)
	for i := range s {
		s[i] = uint32(i)
	}
	return s
}

func (s sets) root(i uint32) uint32 {
	for s[i] != i {
		s[i] = s[s[i]]
		i = s[i]
	}
	return i
}

func (s sets) join(i, j uint32) {
	i, j = s.root(i), s.root(j)
	s[max(i, j)] = min(i, j)
}

// kinds marks core vertices: +1 matter removed, -1 added, 0 none. A vertex of
// the scan before has matter removed where it lies outside the scan after.
func (s *Side) kinds(limit, removedSign float64) []int8 {
	out := make([]int8, len(s.Smooth))
	for v, g := range s.Smooth {
		switch g *= removedSign; {
		case g > limit:
			out[v] = 1
		case g < -limit:
			out[v] = -1
		}
	}
	return out
}

// joinNeighbours makes core vertices of one kind that share an edge one set.
func (s *Side) joinNeighbours(of sets, offset uint32, kinds []int8) {
	for f, part := range s.Topology.Component {
		if part < 0 {
			continue
		}
		a, b, c := s.Topology.Face(uint32(f))
		for _, e := range [3][2]uint32{{a, b}, {b, c}, {c, a}} {
			if kinds[e[0]] != 0 && kinds[e[0]] == kinds[e[1]] {
				of.join(offset+e[0], offset+e[1])
			}
		}
	}
}

// joinFacing makes core vertices and the core vertices of the other scan that
// are closest to them one set.
func (s *Side) joinFacing(other *Side, of sets, offset, otherOffset uint32, kinds, otherKinds []int8) {
	for v, k := range kinds {
		if k == 0 || s.Closest[v] == bvh.None {
			continue
		}
		a, b, c := other.Topology.Face(s.Closest[v])
		for _, u := range [3]uint32{a, b, c} {
			if otherKinds[u] == k {
				of.join(offset+uint32(v), otherOffset+u)
			}
		}
	}
}

// joinNear makes cores of one kind one set when their outlines, drawn the
// given number of edges outside, would meet.
func (s *Side) joinNear(of sets, offset uint32, kinds []int8, edges int) {
	const none = ^uint32(0)
	from := make([]uint32, len(kinds)) // a core vertex that reached this one
	var front []uint32
	for v := range kinds {
		from[v] = none
		if kinds[v] != 0 {
			from[v] = uint32(v)
			front = append(front, uint32(v))
		}
	}
	var ring []uint32
	for range edges {
		var next []uint32
		for _, v := range front {
			ring = s.Topology.Ring(v, ring[:0])
			for _, u := range ring {
				if from[u] == none {
					from[u] = from[v]
					next = append(next, u)
				}
			}
		}
		front = next
	}
	for f, part := range s.Topology.Component {
		if part < 0 {
			continue
		}
		a, b, c := s.Topology.Face(uint32(f))
		for _, e := range [3][2]uint32{{a, b}, {b, c}, {c, a}} {
			u, v := from[e[0]], from[e[1]]
			if u != none && v != none && u != v && kinds[u] == kinds[v] {
				of.join(offset+u, offset+v)
			}
		}
	}
}

// group is a candidate for a change area.
type group struct {
	kind          int8
	root          uint32
	before, after tallyOf
	peak          float64
	side          *Side // where the peak is
	at            uint32
	smallest      float64 // change that the pair can show there
}

// tallyOf sums over the core vertices of one scan.
type tallyOf struct {
	area, inner float64 // at the limit; where the gap is twice the limit
	depth, deep float64 // ∫|gap|, greatest |averaged gap|
	place       r3.Vec  // ∫ x
}

func (t *tallyOf) add(area, gap, smooth, limit float64, at r3.Vec) {
	t.area += area
	if math.Abs(smooth) > 2*limit {
		t.inner += area
	}
	if math.IsNaN(gap) {
		gap = smooth
	}
	t.depth += area * math.Abs(gap)
	t.deep = max(t.deep, math.Abs(smooth))
	t.place = r3.Add(t.place, r3.Scale(area, at))
}

func (t *tallyOf) mean() float64 {
	if t.area == 0 {
		return 0
	}
	return t.depth / t.area
}

// findAreas makes cores, joins those that belong together and keeps what is
// large and high enough.
func (c *Change) findAreas() {
	b, a := c.Before, c.After
	kb, ka := b.kinds(c.LimitMM, 1), a.kinds(c.LimitMM, -1)
	offset := uint32(len(kb)) // vertices of the scan after come behind
	of := newSets(len(kb) + len(ka))
	b.joinNeighbours(of, 0, kb)
	a.joinNeighbours(of, offset, ka)
	b.joinFacing(a, of, 0, offset, kb, ka)
	a.joinFacing(b, of, offset, 0, ka, kb)
	a.joinNear(of, offset, ka, int(math.Ceil(2*c.StepMM/a.EdgeMM)))

	groups := map[uint32]*group{}
	var order []*group
	collect := func(s *Side, kinds []int8, offset uint32, tally func(*group) *tallyOf) {
		for v, k := range kinds {
			if k == 0 {
				continue
			}
			r := of.root(offset + uint32(v))
			g := groups[r]
			if g == nil {
				g = &group{kind: k, root: r}
				groups[r] = g
				order = append(order, g)
			}
			tally(g).add(float64(s.Stars[v].AreaMM2), s.Gap[v], s.Smooth[v], c.LimitMM, s.Vertex(uint32(v)))
			if p := math.Abs(s.Smooth[v]); p > g.peak {
				g.peak, g.side, g.at = p, s, uint32(v)
			}
		}
	}
	collect(b, kb, 0, func(g *group) *tallyOf { return &g.before })
	collect(a, ka, offset, func(g *group) *tallyOf { return &g.after })

	edge := max(b.EdgeMM, a.EdgeMM)
	c.measureVariogram()
	c.places = c.lookRound(func(side int, v uint32) bool {
		k, first := kb, uint32(0)
		if side == 1 {
			k, first = ka, offset
		}
		return k[v] != 0 && groups[of.root(first+v)].peak > neverError*c.LimitMM
	})
	order = slices.DeleteFunc(order, func(g *group) bool {
		area := max(g.before.area, g.after.area)
		g.smallest = c.smallestAt(g.side, g.at, g.sort())
		if area < SmallestAreaMM2(edge) {
			return true
		}
		if g.peak > neverError*c.LimitMM || c.Variogram.Independent(area) > surelyWide {
			// What round it has the other sign may be change too.
			g.smallest = min(g.smallest, existence*c.LimitMM+2*c.poseAt(g.side.Vertex(g.at), g.side.normal(g.at)))
		}
		return g.peak < g.smallest
	})
	slices.SortFunc(order, func(g, h *group) int {
		return cmp.Or(-cmp.Compare(g.kind, h.kind), -cmp.Compare(g.surface().area, h.surface().area), cmp.Compare(g.root, h.root))
	})
	index := map[uint32]int32{}
	for i, g := range order {
		index[g.root] = int32(i)
		c.Areas = append(c.Areas, g.describe(edge, c.Options.ScaleU))
	}
	b.Core, a.Core = label(kb, of, 0, index), label(ka, of, offset, index)
	for i, faces := range b.coreFaces(len(order)) {
		c.Areas[i].BeforeFaces = faces
	}
	for i, faces := range a.coreFaces(len(order)) {
		c.Areas[i].AfterFaces = faces
	}
}

func label(kinds []int8, of sets, offset uint32, index map[uint32]int32) []int32 {
	core := make([]int32, len(kinds))
	for v, k := range kinds {
		core[v] = -1
		if k == 0 {
			continue
		}
		if i, ok := index[of.root(offset+uint32(v))]; ok {
			core[v] = i
		}
	}
	return core
}

// areaAt is the area whose core holds at least two corners of a face of the
// side's own mesh, -1 for none.
func (s *Side) areaAt(f uint32) int32 {
	if s.Topology.Component[f] < 0 {
		return -1
	}
	i, j, k := s.Topology.Face(f)
	a, b, c := s.Core[i], s.Core[j], s.Core[k]
	switch {
	case a == b || a == c:
		return a
	case b == c:
		return b
	}
	return -1
}

// coreFaces lists for each area the scan faces that belong to it.
func (s *Side) coreFaces(areas int) [][]uint32 {
	out := make([][]uint32, areas)
	for f := range s.Topology.Component {
		if a := s.areaAt(uint32(f)); a >= 0 {
			out[a] = append(out[a], s.Mesh.SourceFace(uint32(f)))
		}
	}
	for _, faces := range out {
		slices.Sort(faces)
	}
	return out
}

// surelyWide is the number of independent values from which on an area is not
// one swing of an error.
const surelyWide = 10

// sort is the kind of change.
func (g *group) sort() Kind {
	if g.kind < 0 {
		return Added
	}
	return Removed
}

// surface is the scan whose core stands for the area.
func (g *group) surface() *tallyOf {
	if g.after.area > 0 {
		return &g.after
	}
	return &g.before
}

func (g *group) describe(edge, scaleU float64) Area {
	s := g.surface()
	// Where the outline lies is known to about the band in which the gap rises
	// from the limit to twice the limit, and the stair of vertex cells along it
	// averages out over the perimeter.
	perimeter := 2 * math.Sqrt(math.Pi*s.area)
	budget := quantity.Budget{
		quantity.Within("outline at the limit", 0, s.area-s.inner, 1, quantity.SquareMillim, quantity.Rectangular),
		{Name: "cells along the outline", Unit: quantity.SquareMillim, Sensitivity: 1,
			U: edge * math.Sqrt(edge*perimeter/12), Distribution: quantity.Normal},
	}
	if scaleU > 0 {
		// An area goes with the square of a length.
		budget = append(budget, quantity.Term{Name: "scale", Value: 1, Unit: quantity.Share, Sensitivity: 2 * s.area, U: scaleU, Distribution: quantity.Normal})
	}
	total := g.before.area + g.after.area
	return Area{
		Kind:        g.sort(),
		Surface:     budget.Measured(s.area, quantity.SquareMillim, "surface where the averaged gap passes the limit"),
		MeanDepthMM: max(g.before.mean(), g.after.mean()),
		MaxDepthMM:  max(g.before.deep, g.after.deep),
		SmallestMM:  g.smallest,
		CentroidMM:  r3.Scale(1/total, r3.Add(g.before.place, g.after.place)),
	}
}
