package volume

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// integrals are sums over a piece of surface.
type integrals struct {
	sixVolume  mesh.Sum // Σ x₁·(x₂×x₃) about the origin of the shell
	sixFar     mesh.Sum // the same about a far origin
	areaVector r3.Vec   // ∫ n dA
	moment     r3.Vec   // ∫ (x-centre)×n dA
	cone       float64  // ∫ (x-centre)·n dA
	area       float64
	place      r3.Vec // ∫ x dA
	faces      int
}

func (s *integrals) join(o *integrals) {
	s.sixVolume.Add(o.sixVolume.Value())
	s.sixFar.Add(o.sixFar.Value())
	s.areaVector = r3.Add(s.areaVector, o.areaVector)
	s.moment = r3.Add(s.moment, o.moment)
	s.cone += o.cone
	s.area += o.area
	s.place = r3.Add(s.place, o.place)
	s.faces += o.faces
}

// origins are the places that integrals are made about.
type origins struct {
	near, far r3.Vec // of sums that give a volume
	centre    r3.Vec // of what turns and growth do
}

// triangle adds a triangle.
func (s *integrals) triangle(p, q, r r3.Vec, about *origins) {
	a := r3.Scale(0.5, r3.Cross(r3.Sub(q, p), r3.Sub(r, p)))
	s.sixVolume.Add(2 * r3.Dot(r3.Sub(p, about.near), a))
	s.sixFar.Add(2 * r3.Dot(r3.Sub(p, about.far), a))
	s.areaVector = r3.Add(s.areaVector, a)
	x := r3.Sub(r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r))), about.centre)
	s.moment = r3.Add(s.moment, r3.Cross(x, a))
	s.cone += r3.Dot(x, a)
	l := length(a)
	s.area += l
	s.place = r3.Add(s.place, r3.Scale(l, r3.Add(x, about.centre)))
}

// patch is the part of one scan's surface inside an outline, with its open
// edges chained into loops.
type patch struct {
	integrals
	turned bool // holds faces that are inside out against each other

	nodes []r3.Vec
	loops []loop
}

// middle is the centroid of the surface.
func (p *patch) middle() r3.Vec { return r3.Scale(1/p.area, p.place) }

// loop is a closed chain of nodes of a patch with the surface on its left; rim
// marks edges (from a node to the next) that lie on the open rim of the scan.
type loop struct {
	nodes  []uint32
	rim    []bool
	normal []r3.Vec // area vector of the face at each edge
}

func distance(a, b r3.Vec) float64 { return length(r3.Sub(a, b)) }

// length is the length of a vector of lengths in mm, or of products of two,
// which cannot overflow.
func length(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

// node names a corner of a clipped triangle: a vertex (twice the same) or the
// place where the outline crosses the edge between two vertices, lower first.
// Both are numbers of a zone.
type node struct{ lo, hi uint32 }

// clipper cuts the faces of a zone at level zero and gathers a patch.
type clipper struct {
	zone  *zone
	level []float64 // of the zone's vertices
	about *origins
	patch patch
	index map[node]uint32
	open  []openEdge
	now   uint32 // the face under the knife
}

type openEdge struct {
	from, to uint32
	rim      bool
	normal   r3.Vec
}

// cut makes the patches of a zone for several outlines, each given by its level
// at the zone's vertices; they are unfinished when ctx is done.
func cut(ctx context.Context, z *zone, levels [][]float64, about *origins) []*patch {
	c := make([]clipper, len(levels))
	for i := range c {
		c[i] = clipper{zone: z, level: levels[i], about: about, index: map[node]uint32{}}
	}
	var all integrals // of the faces inside every outline
	for n, f := range z.faces {
		if n%(1<<16) == 0 && ctx.Err() != nil {
			break
		}
		corner := z.corners[n]
		whole := 0
		for i := range c {
			l := c[i].level
			if l[corner[0]] > 0 && l[corner[1]] > 0 && l[corner[2]] > 0 {
				whole++
			}
		}
		if whole == len(c) {
			all.triangle(z.at(corner[0]), z.at(corner[1]), z.at(corner[2]), about)
			all.faces++
			if t := z.side.Topology; t.Turned == 0 && t.Neighbour[3*f] >= 0 && t.Neighbour[3*f+1] >= 0 && t.Neighbour[3*f+2] >= 0 {
				continue
			}
			for i := range c {
				c[i].rim(f, corner)
			}
			continue
		}
		for i := range c {
			c[i].face(f, corner)
		}
	}
	out := make([]*patch, len(c))
	for i := range c {
		c[i].patch.join(&all)
		c[i].chain()
		out[i] = &c[i].patch
	}
	return out
}

// at is the place of a vertex of the zone.
func (z *zone) at(n uint32) r3.Vec { return z.side.Vertex(z.vertices[n]) }

// rim adds those edges of a whole face that no face continues.
func (c *clipper) rim(f uint32, corner [3]uint32) {
	c.now = f
	for e := range 3 {
		if c.atRim(f, e) {
			c.edge(node{corner[e], corner[e]}, node{corner[(e+1)%3], corner[(e+1)%3]}, true)
		}
	}
}

// face adds what of a face lies inside.
func (c *clipper) face(f uint32, corner [3]uint32) {
	c.now = f
	level := [3]float64{c.level[corner[0]], c.level[corner[1]], c.level[corner[2]]}
	inside := 0
	for _, l := range level {
		if l > 0 {
			inside++
		}
	}
	if inside == 0 {
		return
	}
	c.patch.faces++
	if inside == 3 {
		c.patch.triangle(c.zone.at(corner[0]), c.zone.at(corner[1]), c.zone.at(corner[2]), c.about)
		c.rim(f, corner)
		return
	}
	// Corners of the clipped triangle in order; side[n] is the edge of the
	// face that leads from corner n to the next, or -1 on the outline.
	var ring [4]node
	var points [4]r3.Vec
	var side [4]int
	n := 0
	for e := range 3 {
		next := (e + 1) % 3
		if level[e] > 0 {
			ring[n], points[n], side[n] = node{corner[e], corner[e]}, c.zone.at(corner[e]), e
			n++
		}
		if (level[e] > 0) != (level[next] > 0) {
			ring[n], points[n] = c.crossing(corner[e], corner[next])
			side[n] = e
			if level[e] > 0 {
				side[n] = -1
			}
			n++
		}
	}
	c.patch.triangle(points[0], points[1], points[2], c.about)
	if n == 4 {
		c.patch.triangle(points[0], points[2], points[3], c.about)
	}
	for m := range n {
		next := (m + 1) % n
		if side[m] < 0 {
			c.edge(ring[m], ring[next], false)
		} else if c.atRim(f, side[m]) {
			c.edge(ring[m], ring[next], true)
		}
	}
}

// atRim says whether no single face continues the surface across an edge.
func (c *clipper) atRim(f uint32, e int) bool {
	topology := c.zone.side.Topology
	g := topology.Neighbour[3*f+uint32(e)]
	if g >= 0 && topology.Turned > 0 {
		i, j, k := topology.Face(f)
		from := [3]uint32{i, j, k}
		p, q, r := topology.Face(uint32(g))
		to := [3]uint32{p, q, r}
		for m := range 3 {
			if to[m] == from[e] && to[(m+1)%3] == from[(e+1)%3] {
				c.patch.turned = true
			}
		}
	}
	return g < 0
}

// crossing is the place of level zero on an edge, the same seen from either
// face.
func (c *clipper) crossing(u, v uint32) (node, r3.Vec) {
	if u > v {
		u, v = v, u
	}
	lu, lv := c.level[u], c.level[v]
	a, b := c.zone.at(u), c.zone.at(v)
	return node{u, v}, r3.Add(a, r3.Scale(lu/(lu-lv), r3.Sub(b, a)))
}

func (c *clipper) edge(from, to node, rim bool) {
	c.open = append(c.open, openEdge{c.number(from), c.number(to), rim, c.zone.side.Mesh.AreaVector(c.now)})
}

func (c *clipper) number(n node) uint32 {
	if i, ok := c.index[n]; ok {
		return i
	}
	i := uint32(len(c.patch.nodes))
	c.index[n] = i
	p := c.zone.at(n.lo)
	if n.lo != n.hi {
		_, p = c.crossing(n.lo, n.hi)
	}
	c.patch.nodes = append(c.patch.nodes, p)
	return i
}

// chain joins the open edges to loops. Edges that run both ways between two
// nodes (faces on the two sides of a non-manifold edge) cancel. At every node
// as many edges arrive as leave, so every chain closes.
func (c *clipper) chain() {
	type pair struct{ from, to uint32 }
	waiting := map[pair][]int{}
	gone := make([]bool, len(c.open))
	for i, e := range c.open {
		back := pair{e.to, e.from}
		if w := waiting[back]; len(w) > 0 {
			gone[i], gone[w[0]] = true, true
			waiting[back] = w[1:]
			continue
		}
		waiting[pair{e.from, e.to}] = append(waiting[pair{e.from, e.to}], i)
	}
	leaving := make([][]int, len(c.patch.nodes))
	for i, e := range c.open {
		if !gone[i] {
			leaving[e.from] = append(leaving[e.from], i)
		}
	}
	for i, e := range c.open {
		if l := leaving[e.from]; gone[i] || len(l) == 0 || l[0] != i {
			continue
		}
		var l loop
		for at := e.from; len(leaving[at]) > 0; {
			next := c.open[leaving[at][0]]
			leaving[at] = leaving[at][1:]
			l.nodes = append(l.nodes, at)
			l.rim = append(l.rim, next.rim)
			l.normal = append(l.normal, next.normal)
			at = next.to
		}
		c.patch.loops = append(c.patch.loops, l)
	}
}
