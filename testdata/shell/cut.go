package shell

import (
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// cut samples a body's exact facets anew: every face is divided in nine, and
// every vertex then slides to a place inside one facet beside it, so that no
// vertex of the body is left; then edges turn to the shorter diagonal where the
// surface is nearly flat, so that its connections are not left either. The new
// body is closed wherever the old one is.
func (b *body) cut(seed uint64) *body {
	random := rand.New(rand.NewPCG(seed, 17))
	out := &body{at: append([]r3.Vec(nil), b.at...)}
	// facet is the old face that holds each new vertex after its slide.
	type edge [2]uint32
	on := map[edge]uint32{} // first of an edge's two new vertices, from its lower end
	along := func(p, q uint32, third int) uint32 {
		e := edge{min(p, q), max(p, q)}
		first, ok := on[e]
		if !ok {
			first = uint32(len(out.at))
			on[e] = first
			for i := 1; i <= 2; i++ {
				t := float64(i) / 3
				out.at = append(out.at, r3.Add(r3.Scale(1-t, b.at[e[0]]), r3.Scale(t, b.at[e[1]])))
			}
		}
		if p != e[0] {
			third = 3 - third
		}
		return first + uint32(third) - 1
	}
	facet := make([]int32, len(b.at)) // 1 + a face beside each vertex, the last one met
	for f, c := range b.tri {
		ab, ba := along(c[0], c[1], 1), along(c[0], c[1], 2)
		bc, cb := along(c[1], c[2], 1), along(c[1], c[2], 2)
		ca, ac := along(c[2], c[0], 1), along(c[2], c[0], 2)
		m := uint32(len(out.at))
		out.at = append(out.at, b.middle(uint32(f)))
		out.tri = append(out.tri,
			[3]uint32{c[0], ab, ac}, [3]uint32{ab, ba, m}, [3]uint32{ba, c[1], bc},
			[3]uint32{ab, m, ac}, [3]uint32{ba, bc, m}, [3]uint32{ac, m, ca},
			[3]uint32{m, bc, cb}, [3]uint32{m, cb, ca}, [3]uint32{ca, cb, c[2]})
		for len(facet) < len(out.at) {
			facet = append(facet, 0)
		}
		for _, v := range []uint32{c[0], c[1], c[2], ab, ba, bc, cb, ca, ac, m} {
			if facet[v] == 0 || random.IntN(2) == 0 {
				facet[v] = int32(f) + 1
			}
		}
	}
	// Slide towards a random inner point of that facet, by about a third of
	// the new edges.
	for v := range out.at {
		c := b.tri[facet[v]-1]
		u, w := 0.2+0.3*random.Float64(), 0.2+0.3*random.Float64()
		inner := r3.Add(r3.Scale(1-u-w, b.at[c[0]]), r3.Add(r3.Scale(u, b.at[c[1]]), r3.Scale(w, b.at[c[2]])))
		share := 0.12 + 0.08*random.Float64()
		out.at[v] = r3.Add(r3.Scale(1-share, out.at[v]), r3.Scale(share, inner))
	}
	out.turn()
	out.index()
	return out
}

// turn swaps the diagonal of two faces that lie nearly in one plane wherever
// that makes it shorter, each face once.
func (b *body) turn() {
	type side struct{ face, corner uint32 }
	type edge [2]uint32
	open := make(map[edge]side, len(b.tri)*3/2)
	used := make([]bool, len(b.tri))
	done := make(map[edge]bool)
	for f, c := range b.tri {
		for k := range uint32(3) {
			e := edge{c[k], c[(k+1)%3]}
			if done[e] {
				continue // a third face on this edge
			}
			if g, ok := open[edge{e[1], e[0]}]; ok {
				delete(open, edge{e[1], e[0]})
				done[e], done[edge{e[1], e[0]}] = true, true
				if !used[f] && !used[g.face] && b.swap(uint32(f), k, g.face, g.corner) {
					used[f], used[g.face] = true, true
					break
				}
				continue
			}
			open[e] = side{uint32(f), k}
		}
	}
}

// swap turns the edge at corner k of f, which is that at corner j of g.
func (b *body) swap(f, k, g, j uint32) bool {
	p, q, r := b.tri[f][k], b.tri[f][(k+1)%3], b.tri[f][(k+2)%3]
	s := b.tri[g][(j+2)%3]
	if r3.Norm(r3.Sub(b.at[r], b.at[s])) >= r3.Norm(r3.Sub(b.at[p], b.at[q])) {
		return false
	}
	n1, n2 := r3.Unit(b.area(f)), r3.Unit(b.area(g))
	if r3.Dot(n1, n2) < 0.999 {
		return false
	}
	oldF, oldG := b.tri[f], b.tri[g]
	b.tri[f], b.tri[g] = [3]uint32{r, p, s}, [3]uint32{s, q, r}
	m1, m2 := b.area(f), b.area(g)
	if r3.Dot(m1, n1) <= 0.1*r3.Norm(m1) || r3.Dot(m2, n1) <= 0.1*r3.Norm(m2) {
		b.tri[f], b.tri[g] = oldF, oldG
		return false
	}
	return true
}
