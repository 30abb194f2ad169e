package gltf

import (
	"context"
	"encoding/binary"
	"fmt"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

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
		asStored := g.world.turnsNothing() && arrays[i].kind == Float32
		bad := firstOf(g.count, func(lo, hi int) int {
			for i := lo; i < hi; i++ {
				q := src.f[i*src.step : i*src.step+3 : i*src.step+3]
				if asStored {
					if firstBad(q, 0, 3) >= 0 {
						return i
					}
					copy(m.Normals[3*(g.first+i):], q)
					continue
				}
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
			if a.sparse != nil {
				a.sparse.values.normalized = a.normalized
			}
			arrays[i], have = &a, true
		}
	}
	if !have {
		return nil
	}
	if a := arrays[0]; len(groups) == 1 && a.stride == 4 && len(a.data) >= 4*vertices && r.may(groups[0].attributes["COLOR_0"], Uint8, "VEC4") {
		r.opt.Own()
		m.Colours = a.data[: 4*vertices : 4*vertices]
	} else {
		m.Colours = make([]uint8, 4*vertices)
	}
	table := srgbTable()
	for i, g := range groups {
		a := arrays[i]
		out := m.Colours[4*g.first : 4*(g.first+g.count)]
		var eight [256]uint8
		for k := range eight {
			eight[k] = table[k*257]
		}
		_ = mesh.Parallel(context.Background(), blocksOf(g.count), func(b int) {
			lo, hi := b*block, min(g.count, (b+1)*block)
			switch {
			case a == nil:
				for k := 4 * lo; k < 4*hi; k++ {
					out[k] = 255
				}
			case a.kind == Uint8 && a.data != nil && a.sparse == nil:
				for v := lo; v < hi; v++ {
					p := a.data[v*a.stride:]
					o := out[4*v : 4*v+4 : 4*v+4] // perhaps the same bytes
					alpha := uint8(255)
					if a.width == 4 {
						alpha = p[3]
					}
					o[0], o[1], o[2], o[3] = eight[p[0]], eight[p[1]], eight[p[2]], alpha
				}
			case a.kind == Uint16 && a.data != nil && a.sparse == nil:
				for v := lo; v < hi; v++ {
					p := a.data[v*a.stride:]
					o := out[4*v : 4*v+4 : 4*v+4]
					o[0] = table[binary.LittleEndian.Uint16(p)]
					o[1] = table[binary.LittleEndian.Uint16(p[2:])]
					o[2] = table[binary.LittleEndian.Uint16(p[4:])]
					o[3] = 255
					if a.width == 4 {
						o[3] = eighth(binary.LittleEndian.Uint16(p[6:]))
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
		out[3] = eighth(share16(a.number(i, 3)))
	}
}

// eighth rounds a share in steps of 1/65535 to steps of 1/255.
func eighth(x uint16) uint8 { return uint8((uint32(x) + 128) / 257) }
