package obj

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// triangles cuts the faces and makes the vertices of the mesh.
func (r *reader) triangles() error {
	all := r.all()
	// Places of corners; nil where all faces are triangles and it would count up.
	var order []int32
	if slices.ContainsFunc(r.blocks, func(b block) bool { return len(b.others) > 0 }) {
		order = make([]int32, 3*all.triangles)
		if err := mesh.Parallel(r.ctx, len(r.blocks), func(i int) { r.cut(i, order) }); err != nil {
			return err
		}
	}
	m := r.file.Mesh
	m.Triangles = make([]uint32, 3*all.triangles)
	r.complete()
	vertexOf, err := r.seams(order)
	if err != nil {
		return err
	}
	factor := r.opt.Factor
	m.Origin = mesh.ChooseOrigin(len(m.Triangles), func(i int) r3.Vec {
		if order != nil {
			i = int(order[i])
		}
		x, y, z := r.point(r.place[i])
		return r3.Vec{X: x * factor, Y: y * factor, Z: z * factor}
	})
	return r.vertices(vertexOf)
}

// longPolygon is a number of corners from which on cutting can take a while.
const longPolygon = 32

// cut writes the triangles of block i to its part of order.
func (r *reader) cut(i int, order []int32) {
	b := &r.blocks[i]
	corner, to := int32(r.base[i].corners), order[3*r.base[i].triangles:]
	others := b.others
	var points []r3.Vec
	var split []int
	for face := range b.faces {
		n := 3
		if len(others) > 0 && others[0].face == face {
			n, others = others[0].corners, others[1:]
		}
		if n == 3 {
			to[0], to[1], to[2] = corner, corner+1, corner+2
			to = to[3:]
		} else {
			if n > longPolygon && r.ctx.Err() != nil {
				return
			}
			points, split = slices.Grow(points[:0], n), slices.Grow(split[:0], 3*(n-2))
			for k := range int32(n) {
				x, y, z := r.point(r.place[corner+k])
				points = append(points, r3.Vec{X: x, Y: y, Z: z})
			}
			split = mesh.SplitPolygon(points, split)
			for k, c := range split {
				to[k] = corner + int32(c)
			}
			to = to[len(split):]
		}
		corner += int32(n)
	}
}

// complete drops normals that are not there for all corners, and notes missing
// texture coordinates.
func (r *reader) complete() {
	if r.normal != nil && slices.Contains(r.normal, none) {
		r.normal = nil
		r.find("normals_missing", mesh.Note, "some faces have no normals; all are computed from the surface", "")
	}
	if r.uv != nil {
		n := 0
		for _, t := range r.uv {
			if t == none {
				n++
			}
		}
		if n > 0 {
			r.find("texture_coordinates_missing", mesh.Note, fmt.Sprintf("%d corners of faces have no texture coordinates", n), "")
		}
	}
}

// seams numbers the vertices of the mesh and fills in the triangles. It returns
// the point, texture coordinates and normal of each vertex.
func (r *reader) seams(order []int32) (func(v uint32) (p, t, n int32), error) {
	m, all := r.file.Mesh, r.all()
	agree := func(list []int32, n int) bool {
		return list == nil || n == all.vertices && slices.Equal(list, r.place)
	}
	if agree(r.uv, all.uvs) && agree(r.normal, all.normals) {
		// The three tables go side by side.
		for i := range m.Triangles {
			c := i
			if order != nil {
				c = int(order[i])
			}
			m.Triangles[i] = uint32(r.place[c])
		}
		m.Positions = make([]float32, 3*all.vertices)
		return func(v uint32) (p, t, n int32) { return int32(v), int32(v), int32(v) }, nil
	}
	s := mesh.NewSeams(all.vertices)
	for i := range m.Triangles {
		c := i
		if order != nil {
			c = int(order[i])
		}
		if i&(1<<18-1) == 0 {
			if err := r.ctx.Err(); err != nil {
				return nil, err
			}
		}
		t, n := int32(none), int32(none)
		if r.uv != nil {
			t = r.uv[c]
		}
		if r.normal != nil {
			n = r.normal[c]
		}
		m.Triangles[i] = s.Vertex(uint32(r.place[c]), mesh.Look{A: uint64(uint32(t)), B: uint64(uint32(n))})
	}
	if s.Count() > math.MaxInt32 {
		return nil, fmt.Errorf("the file has more than %d vertices; save the scan in parts", math.MaxInt32)
	}
	m.Positions = make([]float32, 3*s.Count())
	return func(v uint32) (p, t, n int32) {
		point, look, seen := s.Of(v)
		if !seen {
			return int32(point), none, none
		}
		return int32(point), int32(uint32(look.A)), int32(uint32(look.B))
	}, nil
}

// vertexBlock is how many vertices one worker lays out at a time.
const vertexBlock = 1 << 15

// tables are the lists of the whole file, by number.
type tables struct {
	uvs, normals []float32
	colours      []float32 // -1 for none; nil if no vertex has any
	white        float32   // the number for full colour, 1 or 255
}

func (r *reader) tables() tables {
	all := r.all()
	var t tables
	t.white = 1
	if r.uv != nil {
		t.uvs = make([]float32, 0, 2*all.uvs)
	}
	if r.normal != nil {
		t.normals = make([]float32, 0, 3*all.normals)
	}
	for i := range r.blocks {
		b := &r.blocks[i]
		if r.uv != nil {
			t.uvs = append(t.uvs, b.uvs...)
		}
		if r.normal != nil {
			t.normals = append(t.normals, b.normals...)
		}
		if b.colours == nil {
			continue
		}
		if t.colours == nil {
			t.colours = make([]float32, 3*all.vertices)
			for k := range t.colours {
				t.colours[k] = -1
			}
		}
		copy(t.colours[3*r.base[i].vertices:], b.colours)
		if slices.Max(b.colours) > 1 {
			t.white = 255
		}
	}
	return t
}

// vertices lays out positions, normals, texture coordinates and colours.
func (r *reader) vertices(of func(v uint32) (p, t, n int32)) error {
	m, t := r.file.Mesh, r.tables()
	count := m.VertexCount()
	if t.uvs != nil {
		m.UVs = make([]float32, 2*count)
	}
	if t.normals != nil {
		m.Normals = make([]float32, 3*count)
	}
	if t.colours != nil {
		m.Colours = make([]uint8, 4*count)
	}
	// Per block: whether a vertex has no place, or no normal.
	type fault struct{ place, normal bool }
	faults := make([]fault, (count+vertexBlock-1)/vertexBlock)
	f, o := r.opt.Factor, m.Origin
	err := mesh.Parallel(r.ctx, len(faults), func(block int) {
		for i := block * vertexBlock; i < min(count, (block+1)*vertexBlock); i++ {
			p, uv, normal := of(uint32(i))
			x, y, z := r.point(p)
			q := m.Positions[3*i : 3*i+3 : 3*i+3]
			q[0], q[1], q[2] = float32(x*f-o.X), float32(y*f-o.Y), float32(z*f-o.Z)
			if !finite(q[0] + q[1] + q[2]) {
				faults[block].place = true
			}
			if t.uvs != nil && uv >= 0 {
				// v points up from the lower edge of the picture.
				if u, v := t.uvs[2*uv], 1-t.uvs[2*uv+1]; finite(u + v) {
					m.UVs[2*i], m.UVs[2*i+1] = u, v
				}
			}
			if t.normals != nil && normal >= 0 && !unit(m.Normals[3*i:3*i+3], t.normals[3*normal:3*normal+3]) {
				faults[block].normal = true
			}
			if t.colours != nil {
				t.colour(m.Colours[4*i:4*i+4], t.colours[3*p:3*p+3])
			}
		}
	})
	if err != nil {
		return err
	}
	if slices.ContainsFunc(faults, func(f fault) bool { return f.normal }) {
		m.Normals = nil
		r.find("normals_broken", mesh.Note, "some normals are not numbers; all are computed from the surface", "")
	}
	if slices.ContainsFunc(faults, func(f fault) bool { return f.place }) {
		return r.noPlace(of)
	}
	return nil
}

func finite(x float32) bool { return x-x == 0 }

// unit brings a normal to length one and says whether it is one.
func unit(to, from []float32) bool {
	v := r3.Vec{X: float64(from[0]), Y: float64(from[1]), Z: float64(from[2])}
	if l := r3.Norm(v); l > 0 {
		v = r3.Scale(1/l, v)
	}
	to[0], to[1], to[2] = float32(v.X), float32(v.Y), float32(v.Z)
	return finite(to[0] + to[1] + to[2])
}

// colour writes the colour of a vertex; one without is white.
func (t *tables) colour(to []uint8, from []float32) {
	for k, c := range from {
		if c < 0 {
			c = t.white
		}
		to[k] = uint8(math.Round(float64(min(c/t.white, 1)) * 255))
	}
	to[3] = 255
}

// noPlace deals with vertices that are no place. Where a face uses one the file
// is refused, else they go to the origin.
func (r *reader) noPlace(of func(v uint32) (p, t, n int32)) error {
	m := r.file.Mesh
	bad := func(v uint32) bool { return !finite(m.Positions[3*v] + m.Positions[3*v+1] + m.Positions[3*v+2]) }
	// One that is far out of range takes the others with it through the origin,
	// and is the one to name.
	far := func(v uint32) bool {
		p, _, _ := of(v)
		x, y, z := r.point(p)
		return !(r.opt.Factor*max(math.Abs(x), math.Abs(y), math.Abs(z)) <= math.MaxFloat32)
	}
	guilty := bad
	if slices.ContainsFunc(m.Triangles, far) {
		guilty = far
	}
	for i, v := range m.Triangles {
		if guilty(v) {
			p, _, _ := of(v)
			x, y, z := r.point(p)
			b := slices.IndexFunc(r.base, func(c counts) bool { return c.vertices > int(p) }) - 1
			line := r.line(&r.blocks[b], int(p)-r.base[b].vertices, func(b *block) int { return len(b.places) / 3 })
			return flawed(line, "has a vertex at (%g, %g, %g), which is no place, and triangle %d uses it", x, y, z, i/3).words(r.data)
		}
	}
	n := 0
	for v := range uint32(m.VertexCount()) {
		if bad(v) {
			n++
			clear(m.Positions[3*v : 3*v+3])
		}
	}
	r.find("vertices_without_place", mesh.Note, fmt.Sprintf("%d vertices that no face uses have no coordinates", n), "")
	return nil
}
