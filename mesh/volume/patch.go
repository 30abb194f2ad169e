package volume

import (
	"context"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
)

// patch is the part of one scan's surface inside an outline, with its open
// edges chained into loops.
type patch struct {
	sixVolume  mesh.Sum // Σ x₁·(x₂×x₃) about the origin of the shell
	areaVector r3.Vec   // ∫ n dA
	moment     r3.Vec   // ∫ (x-centre)×n dA
	cone       float64  // ∫ (x-centre)·n dA
	area       float64
	place      r3.Vec // ∫ x dA
	faces      int
	turned     bool // holds faces that are inside out against each other

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

func distance(a, b r3.Vec) float64 { return r3.Norm(r3.Sub(a, b)) }

// node names a corner of a clipped triangle: a vertex (twice the same) or the
// place where the outline crosses the edge between two vertices, lower first.
type node struct{ lo, hi uint32 }

// clipper cuts the faces of one scan at level zero and gathers a patch.
type clipper struct {
	side   *change.Side
	level  func(v uint32) float64
	origin r3.Vec
	centre r3.Vec
	patch  patch
	index  map[node]uint32
	open   []openEdge
	now    uint32 // the face under the knife
}

type openEdge struct {
	from, to uint32
	rim      bool
	normal   r3.Vec
}

// cut makes the patch of the faces given; it is unfinished when ctx is done.
func cut(ctx context.Context, side *change.Side, faces []uint32, level func(v uint32) float64, origin, centre r3.Vec) *patch {
	c := &clipper{side: side, level: level, origin: origin, centre: centre, index: map[node]uint32{}}
	for n, f := range faces {
		if n%(1<<16) == 0 && ctx.Err() != nil {
			break
		}
		c.face(f)
	}
	c.chain()
	return &c.patch
}

func (c *clipper) face(f uint32) {
	c.now = f
	i, j, k := c.side.Topology.Face(f)
	corner := [3]uint32{i, j, k}
	level := [3]float64{c.level(i), c.level(j), c.level(k)}
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
		c.triangle(c.side.Vertex(i), c.side.Vertex(j), c.side.Vertex(k))
		for e := range 3 {
			if c.atRim(f, e) {
				c.edge(node{corner[e], corner[e]}, node{corner[(e+1)%3], corner[(e+1)%3]}, true)
			}
		}
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
			ring[n], points[n], side[n] = node{corner[e], corner[e]}, c.side.Vertex(corner[e]), e
			n++
		}
		if (level[e] > 0) != (level[next] > 0) {
			ring[n], points[n] = c.crossing(corner[e], corner[next], level[e], level[next])
			side[n] = e
			if level[e] > 0 {
				side[n] = -1
			}
			n++
		}
	}
	c.triangle(points[0], points[1], points[2])
	if n == 4 {
		c.triangle(points[0], points[2], points[3])
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
	g := c.side.Topology.Neighbour[3*f+uint32(e)]
	if g >= 0 && c.side.Topology.Turned > 0 {
		i, j, k := c.side.Topology.Face(f)
		from := [3]uint32{i, j, k}
		p, q, r := c.side.Topology.Face(uint32(g))
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
func (c *clipper) crossing(u, v uint32, lu, lv float64) (node, r3.Vec) {
	if u > v {
		u, v, lu, lv = v, u, lv, lu
	}
	a, b := c.side.Vertex(u), c.side.Vertex(v)
	return node{u, v}, r3.Add(a, r3.Scale(lu/(lu-lv), r3.Sub(b, a)))
}

// triangle adds a piece of surface to the integrals.
func (c *clipper) triangle(p, q, r r3.Vec) {
	s := &c.patch
	a := r3.Scale(0.5, r3.Cross(r3.Sub(q, p), r3.Sub(r, p)))
	s.sixVolume.Add(2 * r3.Dot(r3.Sub(p, c.origin), a))
	s.areaVector = r3.Add(s.areaVector, a)
	x := r3.Sub(r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r))), c.centre)
	s.moment = r3.Add(s.moment, r3.Cross(x, a))
	s.cone += r3.Dot(x, a)
	l := r3.Norm(a)
	s.area += l
	s.place = r3.Add(s.place, r3.Scale(l, r3.Add(x, c.centre)))
}

func (c *clipper) edge(from, to node, rim bool) {
	c.open = append(c.open, openEdge{c.number(from), c.number(to), rim, c.side.Mesh.AreaVector(c.now)})
}

func (c *clipper) number(n node) uint32 {
	if i, ok := c.index[n]; ok {
		return i
	}
	i := uint32(len(c.patch.nodes))
	c.index[n] = i
	p := c.side.Vertex(n.lo)
	if n.lo != n.hi {
		_, p = c.crossing(n.lo, n.hi, c.level(n.lo), c.level(n.hi))
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
