package ply

import (
	"encoding/binary"
	"fmt"
	"math"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// block is the number of records that one worker decodes at a time.
const block = 1 << 16

// blocks calls f over fixed blocks of 0 … n-1 in parallel.
func (r *reader) blocks(n int, f func(lo, hi int)) error {
	return mesh.Parallel(r.ctx, (n+block-1)/block, func(b int) { f(b*block, min(n, (b+1)*block)) })
}

// rows is the table of vertices: number k of record i, where k is the place of
// a property in the element.
type rows interface{ number(i, k int) float64 }

// fixedRows looks at binary records of one size in place.
type fixedRows struct {
	data   []byte
	stride int
	offset []int
	kind   []scalar
	format format
}

func (t *fixedRows) number(i, k int) float64 {
	return number(t.data[i*t.stride+t.offset[k]:], t.kind[k], t.format)
}

// keptRows holds numbers that had to be read one after the other: only those
// of the properties that are used.
type keptRows struct {
	values []float64
	width  int
	column []int // of each property, -1 if not kept
}

func (t *keptRows) number(i, k int) float64 { return t.values[i*t.width+t.column[k]] }

// roles of the properties of a vertex: places in the element, -1 for none.
type roles struct {
	x, y, z, nx, ny, nz, red, green, blue, alpha, u, v int
}

func rolesOf(e *element) roles {
	return roles{
		x: e.find("x"), y: e.find("y"), z: e.find("z"),
		nx: e.find("nx"), ny: e.find("ny"), nz: e.find("nz"),
		red: e.find("red", "r", "diffuse_red"), green: e.find("green", "g", "diffuse_green"),
		blue: e.find("blue", "b", "diffuse_blue"), alpha: e.find("alpha", "a", "diffuse_alpha"),
		u: e.find("s", "u", "texture_u"), v: e.find("t", "v", "texture_v"),
	}
}

func (p roles) all() []int {
	return []int{p.x, p.y, p.z, p.nx, p.ny, p.nz, p.red, p.green, p.blue, p.alpha, p.u, p.v}
}

// vertices reads the element vertex: all but the coordinates are laid out at
// once, those wait for the origin.
func (r *reader) vertices(e *element) error {
	p := rolesOf(e)
	for _, k := range p.all() {
		if k >= 0 && e.properties[k].isList() {
			return damaged("the header", "has a list where the vertex needs the single number %q", clip(e.properties[k].name))
		}
	}
	t, err := r.table(e)
	if err != nil {
		return err
	}
	r.at = func(i int) r3.Vec { return r3.Vec{X: t.number(i, p.x), Y: t.number(i, p.y), Z: t.number(i, p.z)} }
	r.rows = t
	m := r.file.Mesh
	if p.nx >= 0 && p.ny >= 0 && p.nz >= 0 {
		if err := r.normals(m, t, p, e.count); err != nil {
			return err
		}
	}
	if p.red >= 0 && p.green >= 0 && p.blue >= 0 {
		if err := r.colours(m, t, e, p); err != nil {
			return err
		}
	}
	if p.u >= 0 && p.v >= 0 {
		m.UVs = make([]float32, 2*e.count)
		return r.blocks(e.count, func(lo, hi int) {
			for i := lo; i < hi; i++ {
				m.UVs[2*i], m.UVs[2*i+1] = textureAt(t.number(i, p.u), t.number(i, p.v))
			}
		})
	}
	return nil
}

// table returns the records of e, in place where they can be.
func (r *reader) table(e *element) (rows, error) {
	if size, fixed := e.size(); fixed && r.head.format != ascii {
		t := &fixedRows{data: r.body.data[r.body.at : r.body.at+size*e.count], stride: size, format: r.head.format}
		at := 0
		for i := range e.properties {
			t.offset = append(t.offset, at)
			t.kind = append(t.kind, e.properties[i].kind)
			at += e.properties[i].kind.size()
		}
		r.body.at += size * e.count
		return t, nil
	}
	t := &keptRows{column: make([]int, len(e.properties))}
	var kept []int
	for i := range t.column {
		t.column[i] = -1
	}
	for _, k := range rolesOf(e).all() {
		if k >= 0 && t.column[k] < 0 {
			t.column[k] = len(kept)
			kept = append(kept, k)
		}
	}
	t.width = len(kept)
	t.values = make([]float64, e.count*t.width)
	keep := func(i int, numbers []float64, _ [][]float64) error {
		for c, k := range kept {
			t.values[i*t.width+c] = numbers[k]
		}
		return nil
	}
	done, err := r.byLines(e, func(int) {}, func(_, i int, numbers []float64, _ [][]float64) error { return keep(i, numbers, nil) })
	if done || err != nil {
		return t, err
	}
	return t, r.records(e, keep)
}

// normals lays out the normals at unit length. If any is not a number the mesh
// is left without.
func (r *reader) normals(m *mesh.Mesh, t rows, p roles, count int) error {
	m.Normals = make([]float32, 3*count)
	var broken atomic.Bool
	err := r.blocks(count, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			n := r3.Vec{X: t.number(i, p.nx), Y: t.number(i, p.ny), Z: t.number(i, p.nz)}
			if l := r3.Norm(n); l > 0 {
				n = r3.Scale(1/l, n)
			}
			if s := n.X + n.Y + n.Z; s-s != 0 {
				broken.Store(true)
				return
			}
			m.Normals[3*i], m.Normals[3*i+1], m.Normals[3*i+2] = float32(n.X), float32(n.Y), float32(n.Z)
		}
	})
	if broken.Load() {
		m.Normals = nil
		r.note("normals_broken", "some normals are not numbers; all are computed from the surface", "")
	}
	return err
}

// colours lays out the colours: whole numbers in the range of their type,
// fractions from 0 to 1; sRGB, by common practice.
func (r *reader) colours(m *mesh.Mesh, t rows, e *element, p roles) error {
	m.Colours = make([]uint8, 4*e.count)
	if f, ok := t.(*fixedRows); ok {
		if k := f.kind; k[p.red] == uint8Type && k[p.green] == uint8Type && k[p.blue] == uint8Type &&
			(p.alpha < 0 || k[p.alpha] == uint8Type) {
			return r.blocks(e.count, func(lo, hi int) {
				for i := lo; i < hi; i++ {
					from, to := f.data[i*f.stride:(i+1)*f.stride], m.Colours[4*i:4*i+4:4*i+4]
					to[0], to[1], to[2], to[3] = from[f.offset[p.red]], from[f.offset[p.green]], from[f.offset[p.blue]], 255
					if p.alpha >= 0 {
						to[3] = from[f.offset[p.alpha]]
					}
				}
			})
		}
	}
	places := [4]int{p.red, p.green, p.blue, p.alpha}
	var scale [4]float64
	for c, k := range places {
		if k >= 0 {
			scale[c] = colourScale(e.properties[k].kind)
		}
	}
	return r.blocks(e.count, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			for c, k := range places {
				x := 255.0
				if k >= 0 {
					x = t.number(i, k) * scale[c]
				}
				m.Colours[4*i+c] = colourByte(x)
			}
		}
	})
}

// colourScale brings a colour of a type to 0 … 255.
func colourScale(kind scalar) float64 {
	switch kind {
	case float32Type, float64Type:
		return 255
	case uint16Type:
		return 255.0 / math.MaxUint16
	case int16Type:
		return 255.0 / math.MaxInt16
	}
	return 1
}

// positions lays out the coordinates about the origin.
func (r *reader) positions(factor float64) error {
	m, e := r.file.Mesh, r.vertex
	m.Positions = make([]float32, 3*e.count)
	p, o := rolesOf(e), m.Origin
	var first atomic.Int64
	first.Store(math.MaxInt64)
	place := func(i int, x, y, z float64) {
		q := m.Positions[3*i : 3*i+3 : 3*i+3]
		q[0], q[1], q[2] = float32(x*factor-o.X), float32(y*factor-o.Y), float32(z*factor-o.Z)
		if nowhere(q) {
			for {
				old := first.Load()
				if int64(i) >= old || first.CompareAndSwap(old, int64(i)) {
					break
				}
			}
		}
	}
	f, fast := r.rows.(*fixedRows)
	fast = fast && f.format == littleEndian && f.kind[p.x] == float32Type && f.kind[p.y] == float32Type && f.kind[p.z] == float32Type
	err := r.blocks(e.count, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			if fast {
				rec := f.data[i*f.stride : (i+1)*f.stride]
				place(i, float64(math.Float32frombits(binary.LittleEndian.Uint32(rec[f.offset[p.x]:]))),
					float64(math.Float32frombits(binary.LittleEndian.Uint32(rec[f.offset[p.y]:]))),
					float64(math.Float32frombits(binary.LittleEndian.Uint32(rec[f.offset[p.z]:]))))
				continue
			}
			q := r.at(i)
			place(i, q.X, q.Y, q.Z)
		}
	})
	if err != nil || first.Load() == math.MaxInt64 {
		return err
	}
	return r.noPlace()
}

// nowhere says that a coordinate is not finite. The sum is one of float64, since
// that of large float32 is not finite either.
func nowhere(q []float32) bool {
	s := float64(q[0]) + float64(q[1]) + float64(q[2])
	return s-s != 0
}

// noPlace deals with vertices that are no place: scanners mark so what they did
// not see. Where a face uses one the file is refused, else they go to the
// origin.
func (r *reader) noPlace() error {
	m := r.file.Mesh
	bad := func(v uint32) bool { return nowhere(m.Positions[3*v : 3*v+3]) }
	for i, v := range m.Triangles {
		if bad(v) {
			q := r.at(int(v))
			return damaged(fmt.Sprintf("triangle %d", i/3), "uses vertex %d, which is at (%g, %g, %g), which is no place", v, q.X, q.Y, q.Z)
		}
	}
	n := 0
	for v := range uint32(m.VertexCount()) {
		if bad(v) {
			n++
			clear(m.Positions[3*v : 3*v+3])
		}
	}
	r.note("vertices_without_place", fmt.Sprintf("%d vertices that no face uses have no coordinates", n), "")
	return nil
}
