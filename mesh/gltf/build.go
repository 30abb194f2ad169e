package gltf

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

type vec = r3.Vec

func finite(p r3.Vec) bool {
	s := p.X + p.Y + p.Z
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}

// firstOf runs check over fixed blocks of 0 … n-1 in parallel and returns the
// lowest number that any call returned, -1 if all returned -1.
func firstOf(n int, check func(lo, hi int) int) int {
	var first atomic.Int64
	first.Store(math.MaxInt64)
	_ = mesh.Parallel(context.Background(), blocksOf(n), func(b int) {
		bad := check(b*block, min(n, (b+1)*block))
		if bad < 0 {
			return
		}
		for {
			old := first.Load()
			if int64(bad) >= old || first.CompareAndSwap(old, int64(bad)) {
				return
			}
		}
	})
	if first.Load() == math.MaxInt64 {
		return -1
	}
	return int(first.Load())
}

// build puts pieces together into one mesh, with the feature ids of its
// vertices.
func (r *reader) build(pieces []*piece) (*mesh.Mesh, [][]uint32, error) {
	m := &mesh.Mesh{}
	var groups []*group
	vertices, faces := 0, 0
	for _, p := range pieces {
		if p.group.first < 0 {
			p.group.first = vertices
			vertices += p.group.count
			groups = append(groups, p.group)
		}
		p.part.FirstVertex, p.part.FirstFace = p.group.first, faces
		faces += p.part.Faces
	}
	if err := r.materials(m, pieces, faces); err != nil {
		return nil, nil, err
	}
	m.Origin = originOf(pieces, faces)
	whole := r.positions(m, groups, vertices)
	if err := triangles(m, pieces, faces); err != nil {
		return nil, nil, err
	}
	if !whole {
		if err := r.noPlace(m, groups); err != nil {
			return nil, nil, err
		}
	}
	if err := r.normals(m, groups, vertices); err != nil {
		return nil, nil, err
	}
	if err := r.uvs(m, groups, vertices); err != nil {
		return nil, nil, err
	}
	if err := r.colours(m, groups, vertices); err != nil {
		return nil, nil, err
	}
	ids, err := r.allFeatureIDs(groups, vertices)
	return m, ids, err
}

// materials numbers the materials of the pieces.
func (r *reader) materials(m *mesh.Mesh, pieces []*piece, faces int) error {
	pal := palette{r, map[int]uint16{}, map[int]int{}, m}
	of := make([]uint16, len(pieces))
	for i, p := range pieces {
		var err error
		if of[i], err = pal.material(p.part.Material); err != nil {
			return err
		}
	}
	if len(m.Materials) < 2 {
		return nil
	}
	m.MaterialOf = make([]uint16, faces)
	for i, p := range pieces {
		for f := range p.part.Faces {
			m.MaterialOf[p.part.FirstFace+f] = of[i]
		}
	}
	return nil
}

// originOf samples the corners of all faces, not the vertices: a stray vertex
// must not draw the origin away from the specimen.
func originOf(pieces []*piece, faces int) r3.Vec {
	at := 0
	return mesh.ChooseOrigin(3*faces, func(corner int) r3.Vec {
		f := corner / 3
		for pieces[at].part.FirstFace+pieces[at].part.Faces <= f {
			at++
		}
		for pieces[at].part.FirstFace > f {
			at--
		}
		p := pieces[at]
		i, b, c := cornersOf(p.mode, f-p.part.FirstFace)
		switch corner % 3 {
		case 1:
			i = b
		case 2:
			i = c
		}
		if p.indices != nil {
			i = int(p.indices.number(i, 0))
		}
		if i >= p.group.count {
			return r3.Vec{X: math.NaN()} // refused later, with its place
		}
		q := p.group.pos.f[i*p.group.pos.step:]
		return p.world.apply(float64(q[0]), float64(q[1]), float64(q[2]))
	})
}

// positions maps the vertices of all groups to the world, about m.Origin. It
// says whether all came out as finite numbers.
func (r *reader) positions(m *mesh.Mesh, groups []*group, vertices int) (whole bool) {
	if len(groups) == 1 && groups[0].pos.step == 3 && groups[0].world == identity && m.Origin == (r3.Vec{}) {
		n := 3 * groups[0].count
		m.Positions = groups[0].pos.f[:n:n]
		return firstOf(n, func(lo, hi int) int { return firstBad(m.Positions, lo, hi) }) < 0
	}
	if len(groups) == 1 && groups[0].pos.step == 3 && r.may(groups[0].attributes["POSITION"], Float32, "VEC3") {
		r.opt.Own()
		m.Positions = groups[0].pos.f[: 3*vertices : 3*vertices]
	} else {
		m.Positions = make([]float32, 3*vertices)
	}
	whole = true
	for _, g := range groups {
		w := g.world
		w[3] -= m.Origin.X
		w[7] -= m.Origin.Y
		w[11] -= m.Origin.Z
		bad := firstOf(g.count, func(lo, hi int) int {
			src, step := g.pos.f, g.pos.step
			out := m.Positions[3*(g.first+lo) : 3*(g.first+hi)]
			first := -1
			for i := lo; i < hi; i++ {
				q := src[i*step : i*step+3 : i*step+3]
				p := w.apply(float64(q[0]), float64(q[1]), float64(q[2]))
				x, y, z := float32(p.X), float32(p.Y), float32(p.Z)
				if s := x + y + z; s-s != 0 && first < 0 {
					first = i
				}
				o := out[3*(i-lo) : 3*(i-lo)+3 : 3*(i-lo)+3]
				o[0], o[1], o[2] = x, y, z
			}
			return first
		})
		whole = whole && bad < 0
	}
	return whole
}

// noPlace deals with vertices that are no place. Where a face uses one the file
// is refused, else they go to the origin.
func (r *reader) noPlace(m *mesh.Mesh, groups []*group) error {
	bad := func(v uint32) bool { return firstBad(m.Positions[3*v:3*v+3], 0, 3) >= 0 }
	for _, v := range m.Triangles {
		if !bad(v) {
			continue
		}
		for _, g := range groups {
			if i := int(v) - g.first; i >= 0 && i < g.count {
				q := g.pos.f[i*g.pos.step:]
				return damaged(g.where, "vertex %d is at (%g, %g, %g) and in use, which is no place", i, q[0], q[1], q[2])
			}
		}
	}
	m.Positions = slices.Clone(m.Positions) // they may be the file's own bytes
	n := 0
	for v := range uint32(m.VertexCount()) {
		if bad(v) {
			clear(m.Positions[3*v : 3*v+3])
			n++
		}
	}
	r.note("vertices_without_place", fmt.Sprintf("%d vertices that no face uses have no coordinates", n), "")
	return nil
}

// triangles writes the corners of all faces, each face keeping its number.
// Faces of a mirrored piece are turned by exchanging their last two corners.
func triangles(m *mesh.Mesh, pieces []*piece, faces int) error {
	if len(pieces) == 1 && pieces[0].mode == Triangles && !pieces[0].part.Mirrored && pieces[0].indices != nil {
		p := pieces[0]
		src := p.indices.uint32s()
		m.Triangles = src[: 3*faces : 3*faces]
		n := uint32(p.group.count)
		return badIndex(p, src, firstOf(len(src), func(lo, hi int) int {
			for i, v := range src[lo:hi] {
				if v >= n {
					return lo + i
				}
			}
			return -1
		}))
	}
	m.Triangles = make([]uint32, 3*faces)
	for _, p := range pieces {
		var src []uint32
		if p.indices != nil {
			src = p.indices.uint32s()
		}
		n, base := uint32(p.group.count), uint32(p.group.first)
		dst := m.Triangles[3*p.part.FirstFace:]
		swap := 0
		if p.part.Mirrored {
			swap = 1
		}
		bad := firstOf(p.part.Faces, func(lo, hi int) int {
			first := -1
			for f := lo; f < hi; f++ {
				a, b, c := cornersOf(p.mode, f)
				if src != nil {
					for _, i := range [3]int{a, b, c} {
						if src[i] >= n && (first < 0 || i < first) {
							first = i
						}
					}
					a, b, c = int(src[a]), int(src[b]), int(src[c])
				}
				d := dst[3*f : 3*f+3 : 3*f+3]
				d[0], d[1+swap], d[2-swap] = base+uint32(a), base+uint32(b), base+uint32(c)
			}
			return first
		})
		if err := badIndex(p, src, bad); err != nil {
			return err
		}
	}
	return nil
}

// cornersOf returns which vertices of the list make face f (specification
// 3.7.2.1): strips turn every second face so that all look the same way.
func cornersOf(mode Mode, f int) (a, b, c int) {
	switch mode {
	case TriangleStrip:
		return f, f + 1 + f%2, f + 2 - f%2
	case TriangleFan:
		return f + 1, f + 2, 0
	}
	return 3 * f, 3*f + 1, 3*f + 2
}

func badIndex(p *piece, src []uint32, bad int) error {
	if bad < 0 {
		return nil
	}
	return damaged(p.indices.where, "number %d is %d, past the last of %d vertices", bad, src[bad], p.group.count)
}
