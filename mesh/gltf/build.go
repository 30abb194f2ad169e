package gltf

import (
	"fmt"
	"math"
	"strconv"
	"strings"
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
	_ = mesh.Parallel(nil, blocksOf(n), func(b int) {
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
	if err := positions(m, groups, vertices); err != nil {
		return nil, nil, err
	}
	if err := triangles(m, pieces, faces); err != nil {
		return nil, nil, err
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
	return mesh.ChooseOrigin(faces, func(f int) r3.Vec {
		for pieces[at].part.FirstFace+pieces[at].part.Faces <= f {
			at++
		}
		for pieces[at].part.FirstFace > f {
			at--
		}
		p := pieces[at]
		i := f - p.part.FirstFace
		if p.mode == Triangles {
			i *= 3
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

// positions maps the vertices of all groups to the world, about m.Origin.
func positions(m *mesh.Mesh, groups []*group, vertices int) error {
	if len(groups) == 1 && groups[0].pos.step == 3 && groups[0].world == identity && m.Origin == (r3.Vec{}) {
		g := groups[0]
		m.Positions = g.pos.f[: 3*g.count : 3*g.count]
		bad := firstOf(g.count, func(lo, hi int) int {
			for i := 3 * lo; i < 3*hi; i++ {
				if x := m.Positions[i]; x-x != 0 {
					return i / 3
				}
			}
			return -1
		})
		return badVertex(g, bad)
	}
	m.Positions = make([]float32, 3*vertices)
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
		if err := badVertex(g, bad); err != nil {
			return err
		}
	}
	return nil
}

func badVertex(g *group, bad int) error {
	if bad < 0 {
		return nil
	}
	q := g.pos.f[bad*g.pos.step:]
	return damaged(g.where, "vertex %d is at (%g, %g, %g), which is no place", bad, q[0], q[1], q[2])
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

// attribute finds an attribute of a group and checks that it has an element
// for every vertex.
func (r *reader) attribute(g *group, name string) (a array, ok bool, err error) {
	i, ok := g.attributes[name]
	if !ok {
		return array{}, false, nil
	}
	if a, err = r.accessor(i, name); err != nil {
		return a, false, err
	}
	if a.count != g.count {
		return a, false, damaged(a.where, "has %d elements for %d vertices", a.count, g.count)
	}
	return a, true, nil
}

// normals turns the stored normals. A mesh of which any part has none, or has
// one that is not a number, is left without.
func (r *reader) normals(m *mesh.Mesh, groups []*group, vertices int) error {
	arrays := make([]array, len(groups))
	have := 0
	for i, g := range groups {
		a, ok, err := r.attribute(g, "NORMAL")
		if err != nil {
			return err
		}
		if ok && a.width != 3 {
			return damaged(a.where, "does not hold directions")
		}
		if ok {
			arrays[i] = a
			have++
		}
	}
	if have == 0 {
		return nil
	}
	if have < len(groups) {
		r.once("normals_partly_missing", "some parts have no normals; all are computed from the surface", "")
		return nil
	}
	if g := groups[0]; len(groups) == 1 && g.world.turnsNothing() {
		if n := arrays[0].floats(3); n.step == 3 && arrays[0].kind == Float32 {
			m.Normals = n.f[: 3*g.count : 3*g.count]
			if firstOf(len(m.Normals), func(lo, hi int) int { return firstBad(m.Normals, lo, hi) }) >= 0 {
				r.badNormals(m)
			}
			return nil
		}
	}
	m.Normals = make([]float32, 3*vertices)
	for i, g := range groups {
		c := g.world.cofactors()
		if g.world.det() < 0 {
			for k := range c {
				c[k] = -c[k]
			}
		}
		src := arrays[i].floats(3)
		bad := firstOf(g.count, func(lo, hi int) int {
			for i := lo; i < hi; i++ {
				q := src.f[i*src.step : i*src.step+3 : i*src.step+3]
				x, y, z := float64(q[0]), float64(q[1]), float64(q[2])
				n := r3.Vec{X: c[0]*x + c[1]*y + c[2]*z, Y: c[3]*x + c[4]*y + c[5]*z, Z: c[6]*x + c[7]*y + c[8]*z}
				if l := r3.Norm(n); l > 0 {
					n = r3.Scale(1/l, n)
				}
				if !finite(n) {
					return i
				}
				o := m.Normals[3*(g.first+i) : 3*(g.first+i)+3]
				o[0], o[1], o[2] = float32(n.X), float32(n.Y), float32(n.Z)
			}
			return -1
		})
		if bad >= 0 {
			r.badNormals(m)
			return nil
		}
	}
	return nil
}

func (r *reader) badNormals(m *mesh.Mesh) {
	m.Normals = nil
	r.once("normals_broken", "some normals are not numbers; all are computed from the surface", "")
}

// turnsNothing says whether directions stay what they are: a positive scale and
// a shift.
func (a *affine) turnsNothing() bool {
	s := a[0]
	return s > 0 && a[5] == s && a[10] == s && a[1] == 0 && a[2] == 0 && a[4] == 0 && a[6] == 0 && a[8] == 0 && a[9] == 0
}

// firstBad returns the first of f[lo:hi] that is not a finite number, or -1.
func firstBad(f []float32, lo, hi int) int {
	for i := lo; i < hi; i++ {
		if x := f[i]; x-x != 0 {
			return i
		}
	}
	return -1
}

// uvs lays the texture coordinates that each group's base-colour texture uses,
// moved as the texture says. Coordinates that are not numbers become zero.
func (r *reader) uvs(m *mesh.Mesh, groups []*group, vertices int) error {
	arrays := make([]*array, len(groups))
	have := false
	for i, g := range groups {
		a, ok, err := r.attribute(g, "TEXCOORD_"+strconv.Itoa(g.uv.set))
		if err != nil {
			return err
		}
		if ok && a.width != 2 {
			return damaged(a.where, "does not hold texture coordinates")
		}
		if ok {
			arrays[i], have = &a, true
			if g.uv.set != 0 {
				r.once("second_texture_set", fmt.Sprintf("the texture lies by coordinate set %d", g.uv.set), "")
			}
		}
	}
	if !have {
		return nil
	}
	if g := groups[0]; len(groups) == 1 && !g.uv.moved {
		if f := arrays[0].floats(2); f.step == 2 {
			f.f = f.f[: 2*g.count : 2*g.count]
			if firstOf(2*g.count, func(lo, hi int) int { return firstBad(f.f, lo, hi) }) < 0 {
				m.UVs = f.f
				return nil
			}
		}
	}
	m.UVs = make([]float32, 2*vertices)
	for i, g := range groups {
		if arrays[i] == nil {
			continue
		}
		src := arrays[i].floats(2)
		bad := firstOf(g.count, func(lo, hi int) int {
			bad := -1
			for i := lo; i < hi; i++ {
				u, v := float64(src.f[i*src.step]), float64(src.f[i*src.step+1])
				if t := &g.uv.m; g.uv.moved {
					u, v = t[0]*u+t[1]*v+t[2], t[3]*u+t[4]*v+t[5]
				}
				if s := float32(u + v); s-s != 0 {
					bad = i
					continue
				}
				m.UVs[2*(g.first+i)], m.UVs[2*(g.first+i)+1] = float32(u), float32(v)
			}
			return bad
		})
		if bad >= 0 {
			r.once("uvs_broken", "some texture coordinates are not numbers and were set to zero", "")
		}
	}
	return nil
}

// colours turns COLOR_0, which is linear, into sRGB in 8 bits; parts without
// colours are white.
func (r *reader) colours(m *mesh.Mesh, groups []*group, vertices int) error {
	arrays := make([]*array, len(groups))
	have := false
	for i, g := range groups {
		a, ok, err := r.attribute(g, "COLOR_0")
		if err != nil {
			return err
		}
		if ok && a.width != 3 && a.width != 4 {
			return damaged(a.where, "does not hold colours")
		}
		if ok {
			// Integers that a writer forgot to call normalized are meant so.
			a.normalized = a.kind != Float32
			arrays[i], have = &a, true
		}
	}
	if !have {
		return nil
	}
	m.Colours = make([]uint8, 4*vertices)
	table := srgbTable()
	for i, g := range groups {
		a := arrays[i]
		out := m.Colours[4*g.first : 4*(g.first+g.count)]
		var eight [256]uint8
		for k := range eight {
			eight[k] = table[k*257]
		}
		_ = mesh.Parallel(nil, blocksOf(g.count), func(b int) {
			lo, hi := b*block, min(g.count, (b+1)*block)
			switch {
			case a == nil:
				for k := 4 * lo; k < 4*hi; k++ {
					out[k] = 255
				}
			case a.kind == Uint8 && a.data != nil && a.sparse == nil:
				for v := lo; v < hi; v++ {
					p := a.data[v*a.stride:]
					o := out[4*v : 4*v+4 : 4*v+4]
					o[0], o[1], o[2], o[3] = eight[p[0]], eight[p[1]], eight[p[2]], 255
					if a.width == 4 {
						o[3] = p[3]
					}
				}
			default:
				for v := lo; v < hi; v++ {
					a.colour(out[4*v:4*v+4:4*v+4], v, table)
				}
			}
		})
		if a != nil && a.sparse != nil {
			for j, v := range a.sparse.at {
				a.sparse.values.colour(out[4*v:4*v+4:4*v+4], j, table)
			}
		}
	}
	return nil
}

// colour decodes element i as linear RGB or RGBA into sRGB.
func (a *array) colour(out []uint8, i int, table *[65536]uint8) {
	for k := range 3 {
		out[k] = table[share16(a.number(i, k))]
	}
	out[3] = 255
	if a.width == 4 {
		out[3] = uint8((uint32(share16(a.number(i, 3))) + 128) / 257)
	}
}

// maxFeatureSets bounds n in _FEATURE_ID_n.
const maxFeatureSets = 16

// featureIDs returns the sets of feature ids of the vertices of a group, by n,
// up to the highest n it has; a set it lacks is nil.
func (r *reader) featureIDs(g *group) ([][]uint32, error) {
	var sets [][]uint32
	for n := range maxFeatureSets {
		a, ok, err := r.attribute(g, "_FEATURE_ID_"+strconv.Itoa(n))
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		if a.width != 1 {
			return nil, damaged(a.where, "does not hold single numbers")
		}
		ids := make([]uint32, a.count)
		values := &a
		if a.sparse != nil || a.kind == Float32 {
			f := a.numbers(1)
			for i, x := range f {
				if x < 0 || x != float32(math.Trunc(float64(x))) || x > 1<<24 {
					return nil, damaged(a.where, "id %d is %g and not a whole number", i, x)
				}
				ids[i] = uint32(x)
			}
		} else if !values.isUnsigned() {
			return nil, damaged(a.where, "does not hold whole numbers from 0")
		} else {
			copy(ids, values.uint32s())
		}
		sets = append(sets, ids)
	}
	for name := range g.attributes {
		if strings.HasPrefix(name, "_FEATURE_ID_") && len(sets) == 0 {
			r.once("feature_ids_unread", "feature ids that do not begin at _FEATURE_ID_0 were left out", "")
		}
	}
	return sets, nil
}

// allFeatureIDs concatenates the feature ids of all groups.
func (r *reader) allFeatureIDs(groups []*group, vertices int) ([][]uint32, error) {
	var out [][]uint32
	for _, g := range groups {
		sets, err := r.featureIDs(g)
		if err != nil {
			return nil, err
		}
		for n, ids := range sets {
			if n == len(out) {
				all := make([]uint32, vertices)
				for i := range all {
					all[i] = NoFeature
				}
				out = append(out, all)
			}
			copy(out[n][g.first:], ids)
		}
	}
	return out, nil
}

// FaceFeatures returns the id of set n for every face: that of its corners. A
// face whose corners differ gets NoFeature and is counted in mixed.
func (s *Scene) FaceFeatures(n int) (ids []uint32, mixed int) {
	ids = make([]uint32, s.Mesh.FaceCount())
	for f := range ids {
		ids[f] = NoFeature
		if n >= len(s.FeatureIDs) {
			continue
		}
		t := s.Mesh.Triangles[3*f : 3*f+3]
		of := s.FeatureIDs[n]
		if of[t[0]] == of[t[1]] && of[t[1]] == of[t[2]] {
			ids[f] = of[t[0]]
		} else {
			mixed++
		}
	}
	return ids, mixed
}
