package shell

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// body is a scan on welded vertices, degenerate and repeated faces left out.
type body struct {
	at  []r3.Vec
	tri [][3]uint32
	// around lists the faces of a vertex.
	around func(v uint32) []uint32
	seen   []uint32 // per face, the number of the last growth that met it
	growth uint32
}

func newBody(m *mesh.Mesh) *body {
	w := mesh.NewWeld(m)
	t := mesh.NewTopology(m, w)
	at := make([]r3.Vec, w.Count)
	for i, v := range w.Of {
		at[v] = m.Vertex(uint32(i))
	}
	b := &body{}
	number := make([]uint32, w.Count) // 1 + the vertex here, 0 for none yet
	for f := range uint32(m.FaceCount()) {
		if t.Component[f] < 0 {
			continue
		}
		var c [3]uint32
		c[0], c[1], c[2] = t.Face(f)
		for k, v := range c {
			if number[v] == 0 {
				b.at = append(b.at, at[v])
				number[v] = uint32(len(b.at))
			}
			c[k] = number[v] - 1
		}
		b.tri = append(b.tri, c)
	}
	b.index()
	return b
}

func (b *body) index() {
	start := make([]uint32, len(b.at)+1)
	for _, c := range b.tri {
		for _, v := range c {
			start[v+1]++
		}
	}
	for i := 1; i < len(start); i++ {
		start[i] += start[i-1]
	}
	faces := make([]uint32, start[len(b.at)])
	fill := append([]uint32(nil), start[:len(b.at)]...)
	for f, c := range b.tri {
		for _, v := range c {
			faces[fill[v]] = uint32(f)
			fill[v]++
		}
	}
	b.around = func(v uint32) []uint32 { return faces[start[v]:start[v+1]] }
}

func (b *body) area(f uint32) r3.Vec {
	c := b.tri[f]
	return r3.Scale(0.5, r3.Cross(r3.Sub(b.at[c[1]], b.at[c[0]]), r3.Sub(b.at[c[2]], b.at[c[0]])))
}

// mesh is the body as a scan.
func (b *body) mesh() *mesh.Mesh {
	m := &mesh.Mesh{}
	var sum r3.Vec
	for _, p := range b.at {
		sum = r3.Add(sum, p)
	}
	m.Origin = r3.Scale(1/float64(len(b.at)), sum)
	for _, p := range b.at {
		q := r3.Sub(p, m.Origin)
		m.Positions = append(m.Positions, float32(q.X), float32(q.Y), float32(q.Z))
	}
	for _, c := range b.tri {
		m.Triangles = append(m.Triangles, c[0], c[1], c[2])
	}
	return m
}

// place is a connected, gently curved part of the surface inside a cylinder.
type place struct {
	middle, normal r3.Vec
	radius         float64
	faces          []uint32
}

// smoothest finds the place of a radius whose normals turn least, among n
// middles spread over the surface, those that where allows.
func (b *body) smoothest(radius float64, n int, where func(r3.Vec) bool) place {
	var best place
	low := math.Inf(1)
	for i := range n {
		f := uint32((2*i + 1) * len(b.tri) / (2 * n))
		if where != nil && !where(b.middle(f)) {
			continue
		}
		p, turn := b.grow(f, radius)
		if turn < low {
			low, best = turn, p
		}
	}
	return best
}

// grow gathers the faces that hang together with f within a radius across the
// mean normal there, and says how far normals turn on them: the root mean
// square of their sine, weighted by area. Places with a border in them, or
// whose faces are not those of a disc, turn infinitely.
func (b *body) grow(f uint32, radius float64) (place, float64) {
	p := place{radius: radius}
	p.middle = b.middle(f)
	for range 2 { // the second time with the normal of the first
		near := radius
		if p.normal == (r3.Vec{}) {
			near, p.normal = radius/2, r3.Unit(b.area(f))
		}
		if b.seen == nil {
			b.seen = make([]uint32, len(b.tri))
		}
		b.growth++
		b.seen[f] = b.growth
		p.faces = []uint32{f}
		var sum r3.Vec
		for i := 0; i < len(p.faces); i++ {
			g := p.faces[i]
			sum = r3.Add(sum, b.area(g))
			for _, v := range b.tri[g] {
				if p.off(b.at[v]) > near {
					continue
				}
				for _, h := range b.around(v) {
					if b.seen[h] != b.growth {
						b.seen[h] = b.growth
						p.faces = append(p.faces, h)
					}
				}
			}
		}
		p.normal = r3.Unit(sum)
	}
	var turn, all float64
	for _, g := range p.faces {
		a := b.area(g)
		l := r3.Norm(a)
		s := r3.Norm(r3.Cross(a, p.normal)) / l
		if r3.Dot(a, p.normal) <= 0 || l == 0 {
			return p, math.Inf(1)
		}
		turn, all = turn+s*s*l, all+l
	}
	if all > 1.5*math.Pi*radius*radius || all < 0.8*math.Pi*radius*radius {
		return p, math.Inf(1)
	}
	return p, math.Sqrt(turn / all)
}

func (b *body) middle(f uint32) r3.Vec {
	c := b.tri[f]
	return r3.Scale(1.0/3, r3.Add(b.at[c[0]], r3.Add(b.at[c[1]], b.at[c[2]])))
}

// off is the distance of a point from the place's axis.
func (p place) off(at r3.Vec) float64 {
	d := r3.Sub(at, p.middle)
	return r3.Norm(r3.Sub(d, r3.Scale(r3.Dot(d, p.normal), p.normal)))
}
