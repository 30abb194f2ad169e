package ply

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// faces collects polygons as fans of triangles, in their order. A block of a
// file that is read side by side with others has one of its own.
type faces struct {
	triangles []uint32
	// Of each triangle where faces have such properties: texture coordinates of
	// its corners, colour, number of its texture.
	uvs     []float32
	colours []uint8
	texture []uint16

	polygons []polygon // faces with more than three corners
	small    int       // faces with fewer, left out
	bare     int       // faces whose texture coordinates are missing
}

// polygon is a fan of triangles made of one face, to be cut anew when it is
// known where its corners lie.
type polygon struct{ triangle, corners int }

// properties of a face: places in the element, -1 for none.
type faceRoles struct {
	list, texcoord, texnumber int
	colour                    [4]int
	scale                     [4]float64
}

func faceRolesOf(e *element) faceRoles {
	p := faceRoles{list: faceList(e), texcoord: e.find("texcoord"), texnumber: e.find("texnumber"), colour: [4]int{
		e.find("red", "r", "diffuse_red"), e.find("green", "g", "diffuse_green"), e.find("blue", "b", "diffuse_blue"), e.find("alpha", "a", "diffuse_alpha")}}
	if p.texcoord >= 0 && !e.properties[p.texcoord].isList() {
		p.texcoord = -1
	}
	if p.texnumber >= 0 && (p.texcoord < 0 || e.properties[p.texnumber].isList()) {
		p.texnumber = -1
	}
	for c, k := range p.colour {
		if k >= 0 && e.properties[k].isList() {
			p.colour[c], k = -1, -1
		}
		if k >= 0 {
			p.scale[c] = colourScale(e.properties[k].kind)
		}
	}
	if p.colour[0] < 0 || p.colour[1] < 0 || p.colour[2] < 0 {
		p.colour[0] = -1
	}
	return p
}

// polygons reads the element face.
func (r *reader) polygons(e *element) error {
	if done, err := r.fastFaces(e); done || err != nil {
		return err
	}
	p := faceRolesOf(e)
	if len(r.faces.triangles) > 0 && (p.texcoord >= 0 || p.colour[0] >= 0) {
		// Strips come without either; such a mixture is not known to be written.
		r.note("face_looks_ignored", "colours and texture coordinates of faces are not read in a file that has triangle strips too", "")
		p.texcoord, p.texnumber, p.colour[0] = -1, -1, -1
	}
	var parts []faces
	done, err := r.byLines(e, func(blocks int) { parts = make([]faces, blocks) }, func(block, i int, numbers []float64, lists [][]float64) error {
		return parts[block].add(p, i, r.vertex.count, numbers, lists)
	})
	if err != nil {
		return err
	}
	if !done {
		parts = make([]faces, 1)
		if err := r.records(e, func(i int, numbers []float64, lists [][]float64) error {
			return parts[0].add(p, i, r.vertex.count, numbers, lists)
		}); err != nil {
			return err
		}
	}
	r.faces.join(parts)
	if r.faces.bare > 0 {
		r.note("texture_coordinates_missing", fmt.Sprintf("%d faces have no texture coordinates", r.faces.bare), "")
	}
	return nil
}

// plain writes a number as a file does, without an exponent where it is short.
func plain(x float64) string {
	if math.Abs(x) < 1e15 {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}

// add takes in one face.
func (f *faces) add(p faceRoles, i, vertices int, numbers []float64, lists [][]float64) error {
	corners := lists[p.list]
	for _, v := range corners {
		if !(v >= 0 && v < float64(vertices)) || v != math.Trunc(v) {
			return damaged(fmt.Sprintf("face %d", i), "has the corner %s and there are %d vertices", plain(v), vertices)
		}
	}
	n := len(corners)
	if n < 3 {
		f.small++
		return nil
	}
	if n > 3 {
		f.polygons = append(f.polygons, polygon{len(f.triangles) / 3, n})
	}
	var uvs []float64
	if p.texcoord >= 0 {
		if uvs = lists[p.texcoord]; len(uvs) != 2*n {
			f.bare++
			uvs = nil
		}
	}
	for k := 2; k < n; k++ {
		f.triangles = append(f.triangles, uint32(corners[0]), uint32(corners[k-1]), uint32(corners[k]))
		if p.texcoord >= 0 {
			for _, c := range [3]int{0, k - 1, k} {
				u, v := float32(0), float32(0)
				if uvs != nil {
					u, v = textureAt(uvs[2*c], uvs[2*c+1])
				}
				f.uvs = append(f.uvs, u, v)
			}
		}
		if p.colour[0] >= 0 {
			f.colours = append(f.colours, p.colourOf(numbers)...)
		}
		if p.texnumber >= 0 {
			number := numbers[p.texnumber]
			if !(number >= 0 && number < math.MaxUint16) || uvs == nil {
				number = math.MaxUint16
			}
			f.texture = append(f.texture, uint16(number))
		}
	}
	return nil
}

// textureAt turns v, which points up from the lower edge of the picture by
// common practice, to point down from the upper edge. What is not a number is 0.
func textureAt(u, v float64) (float32, float32) {
	a, b := float32(u), float32(1-v)
	if s := a + b; s-s != 0 {
		return 0, 0
	}
	return a, b
}

func (p *faceRoles) colourOf(numbers []float64) []uint8 {
	out := [4]uint8{3: 255}
	for c, k := range p.colour {
		if k >= 0 {
			out[c] = colourByte(numbers[k] * p.scale[c])
		}
	}
	return out[:]
}

// join appends the parts in order.
func (f *faces) join(parts []faces) {
	var triangles, uvs, colours, texture int
	for i := range parts {
		triangles += len(parts[i].triangles)
		uvs += len(parts[i].uvs)
		colours += len(parts[i].colours)
		texture += len(parts[i].texture)
	}
	f.triangles = slices.Grow(f.triangles, triangles)
	f.uvs, f.colours, f.texture = slices.Grow(f.uvs, uvs), slices.Grow(f.colours, colours), slices.Grow(f.texture, texture)
	for i := range parts {
		p := &parts[i]
		for _, q := range p.polygons {
			f.polygons = append(f.polygons, polygon{q.triangle + len(f.triangles)/3, q.corners})
		}
		f.triangles = append(f.triangles, p.triangles...)
		f.uvs = append(f.uvs, p.uvs...)
		f.colours = append(f.colours, p.colours...)
		f.texture = append(f.texture, p.texture...)
		f.small += p.small
		f.bare += p.bare
		*p = faces{}
	}
}

// longPolygon is a number of corners from which on cutting can take a while.
const longPolygon = 32

// cut cuts the polygons that are no fan anew, now that all vertices are known.
func (r *reader) cut() error {
	f := &r.faces
	const block = 1 << 10
	n := len(f.polygons)
	if err := mesh.Parallel(r.ctx, (n+block-1)/block, func(b int) {
		var points []r3.Vec
		var split []int
		var corners []uint32
		var uvs []float32
		for _, p := range f.polygons[b*block : min(n, (b+1)*block)] {
			if p.corners > longPolygon && r.ctx.Err() != nil {
				return
			}
			triangles := f.triangles[3*p.triangle : 3*(p.triangle+p.corners-2)]
			corners = append(corners[:0], triangles[:3]...)
			for k := 5; k < len(triangles); k += 3 {
				corners = append(corners, triangles[k])
			}
			points = points[:0]
			for _, v := range corners {
				points = append(points, r.at(int(v)))
			}
			split = mesh.SplitPolygon(points, split[:0])
			for k, c := range split {
				triangles[k] = corners[c]
			}
			if f.uvs == nil {
				continue
			}
			of := f.uvs[6*p.triangle : 6*(p.triangle+p.corners-2)]
			uvs = append(uvs[:0], of[:6]...)
			for k := 10; k < len(of); k += 6 {
				uvs = append(uvs, of[k], of[k+1])
			}
			for k, c := range split {
				of[2*k], of[2*k+1] = uvs[2*c], uvs[2*c+1]
			}
		}
	}); err != nil {
		return err
	}
	return r.ctx.Err() // a block may have stopped halfway
}

// dress gives vertices the colours and texture coordinates of their faces:
// vertices between faces that look different become several.
func (r *reader) dress() error {
	f, m := &r.faces, r.file.Mesh
	if f.colours != nil && m.Colours != nil {
		r.note("face_colours_ignored", "vertices and faces both have colours; those of the vertices are shown", "")
		f.colours = nil
	}
	if f.uvs == nil && f.colours == nil {
		return nil
	}
	s := mesh.NewSeams(m.VertexCount())
	for i, v := range m.Triangles {
		if i&(1<<18-1) == 0 {
			if err := r.ctx.Err(); err != nil {
				return err
			}
		}
		var look mesh.Look
		if f.uvs != nil {
			look.A = uint64(math.Float32bits(f.uvs[2*i]))<<32 | uint64(math.Float32bits(f.uvs[2*i+1]))
		}
		if f.colours != nil {
			c := f.colours[4*(i/3) : 4*(i/3)+4]
			look.B = uint64(c[0]) | uint64(c[1])<<8 | uint64(c[2])<<16 | uint64(c[3])<<24
		}
		m.Triangles[i] = s.Vertex(v, look)
	}
	points, count := m.VertexCount(), s.Count()
	if count > math.MaxInt32 {
		return fmt.Errorf("the file has more than %d vertices; save the scan in parts", math.MaxInt32)
	}
	m.Positions = slices.Grow(m.Positions, 3*(count-points))
	for v := points; v < count; v++ {
		p, _, _ := s.Of(uint32(v))
		m.Positions = append(m.Positions, m.Positions[3*p:3*p+3]...)
		if m.Normals != nil {
			m.Normals = append(m.Normals, m.Normals[3*p:3*p+3]...)
		}
		if m.Colours != nil {
			m.Colours = append(m.Colours, m.Colours[4*p:4*p+4]...)
		}
		if m.UVs != nil && f.uvs == nil {
			m.UVs = append(m.UVs, m.UVs[2*p:2*p+2]...)
		}
	}
	if f.uvs != nil {
		m.UVs = make([]float32, 2*count)
	}
	if f.colours != nil {
		m.Colours = slices.Repeat([]uint8{255}, 4*count)
	}
	for v := range count {
		_, look, seen := s.Of(uint32(v))
		if !seen {
			continue
		}
		if f.uvs != nil {
			m.UVs[2*v], m.UVs[2*v+1] = math.Float32frombits(uint32(look.A>>32)), math.Float32frombits(uint32(look.A))
		}
		if f.colours != nil {
			for c := range 4 {
				m.Colours[4*v+c] = uint8(look.B >> (8 * c))
			}
		}
	}
	return nil
}
