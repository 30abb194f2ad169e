package ply

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Options says how to read.
type Options struct {
	// Resource returns the content of a texture that the file names, by its
	// plain name; an error wrapping fs.ErrNotExist if it is missing. Without it
	// textures are taken as missing.
	Resource func(name string) ([]byte, error)
	// Factor multiplies all coordinates before they are rounded to float32;
	// 0 means 1, the file's own unit.
	Factor float64
	// Progress, if not nil, is told how far reading is (0 to 1).
	Progress func(done float64, words string)
}

// File is what a PLY file holds.
type File struct {
	Mesh     *mesh.Mesh
	Comments []string
	Findings []mesh.Finding
}

// reader holds the state of one Read.
type reader struct {
	ctx  context.Context
	opt  Options
	size int // of a block of lines, in bytes
	head *header
	body body
	file *File

	vertex *element
	rows   rows               // the vertices
	at     func(i int) r3.Vec // coordinates as stored
	faces  faces
	grid   []int32 // vertex of each cell of a range grid, -1 for none
	lines  *lines  // of an ascii body, once looked for
	line   int     // of the body, at which the next element begins; -1 if inside one
}

// Read reads the PLY in data. name is the file's name for errors.
func Read(ctx context.Context, name string, data []byte, opt Options) (*File, error) {
	return readIn(ctx, name, data, opt, lineBytes)
}

// readIn is Read with lines taken in blocks of a size.
func readIn(ctx context.Context, name string, data []byte, opt Options, size int) (*File, error) {
	r := &reader{ctx: ctx, opt: opt, size: size, file: &File{Mesh: &mesh.Mesh{}}}
	if err := r.read(data); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return r.file, nil
}

func (r *reader) read(data []byte) error {
	var err error
	if r.head, err = readHeader(data); err != nil {
		return err
	}
	r.file.Comments = r.head.comments
	r.body = body{data: data, at: r.head.end, format: r.head.format}
	if r.vertex = r.head.find("vertex"); r.vertex == nil || r.vertex.find("x") < 0 || r.vertex.find("y") < 0 || r.vertex.find("z") < 0 {
		return damaged("the header", "has no element vertex with x, y and z")
	}
	if r.vertex.count > math.MaxInt32 {
		return fmt.Errorf("the element vertex has %d records, more than the %d that are read; save the scan in parts", r.vertex.count, math.MaxInt32)
	}
	for i := range r.head.elements {
		e := &r.head.elements[i]
		if err := r.body.enough(e); err != nil {
			return err
		}
		if err := r.element(e); err != nil {
			return err
		}
		if len(r.faces.triangles)/3 > math.MaxInt32 {
			return fmt.Errorf("the file has more than %d triangles; save the scan in parts", math.MaxInt32)
		}
	}
	r.leftover()
	if err := r.nothing(); err != nil {
		return err
	}
	return r.finish()
}

// element reads one element or skips it.
func (r *reader) element(e *element) error {
	switch {
	case e == r.vertex:
		return r.vertices(e)
	case e.name == "face" && faceList(e) >= 0:
		return r.polygons(e)
	case e.name == "range_grid" && faceList(e) >= 0:
		return r.cells(e)
	case e.name == "tristrips" && faceList(e) >= 0:
		return r.records(e, func(_ int, _ []float64, lists [][]float64) error {
			return r.strip(lists[faceList(e)])
		})
	}
	if size, fixed := e.size(); fixed && r.head.format != ascii {
		r.body.at += size * e.count // enough has seen the bytes
		return nil
	}
	if done, err := r.byLines(e, func(int) {}, func(int, int, []float64, [][]float64) error { return nil }); done || err != nil {
		return err
	}
	return r.records(e, func(int, []float64, [][]float64) error { return nil })
}

// faceList is the place of the corners of a face.
func faceList(e *element) int {
	k := e.find("vertex_indices", "vertex_index")
	if k >= 0 && !e.properties[k].isList() {
		return -1
	}
	return k
}

// records reads an element record by record.
func (r *reader) records(e *element, each func(i int, numbers []float64, lists [][]float64) error) error {
	if len(e.properties) == 0 || e.count == 0 {
		return nil
	}
	r.line = -1
	numbers := make([]float64, len(e.properties))
	lists := make([][]float64, len(e.properties))
	for i := range e.count {
		if i%(1<<15) == 0 {
			if err := r.ctx.Err(); err != nil {
				return err
			}
			r.progress(r.body.at, e)
		}
		if err := r.body.record(e, numbers, lists); err != nil {
			return fmt.Errorf("element %s number %d: %w", e.label(), i, err)
		}
		if err := each(i, numbers, lists); err != nil {
			return err
		}
	}
	return nil
}

func (r *reader) progress(at int, e *element) {
	if r.opt.Progress != nil {
		r.opt.Progress(float64(at)/float64(len(r.body.data)), "reading "+e.label())
	}
}

// strip reads triangle strips, one after the other with -1 between them; every
// second triangle of a strip is turned.
func (r *reader) strip(list []float64) error {
	from := 0
	for i, v := range list {
		if v == -1 {
			from = i + 1
			continue
		}
		if !(v >= 0 && v < float64(r.vertex.count)) || v != math.Trunc(v) {
			return damaged("a triangle strip", "has the corner %s and there are %d vertices", plain(v), r.vertex.count)
		}
		if i-from < 2 {
			continue
		}
		a, b, c := uint32(list[i-2]), uint32(list[i-1]), uint32(v)
		if (i-from)%2 == 1 {
			a, b = b, a
		}
		r.faces.triangles = append(r.faces.triangles, a, b, c)
	}
	return nil
}

// leftover notes bytes after the last element.
func (r *reader) leftover() {
	rest := r.body.data[r.body.at:]
	if r.head.format == ascii {
		for len(rest) > 0 && rest[0] <= ' ' {
			rest = rest[1:]
		}
	}
	if len(rest) > 0 {
		r.note("ply_extra_bytes", fmt.Sprintf("%d bytes after the last element are ignored", len(rest)), "")
	}
}

// nothing refuses files without a surface, and notes what became of polygons.
func (r *reader) nothing() error {
	if n := len(r.faces.polygons); n > 0 {
		r.note("polygons_split", fmt.Sprintf("%d polygons were cut into triangles", n), "")
	}
	if r.faces.small > 0 {
		r.note("faces_too_small", fmt.Sprintf("%d faces with fewer than three corners were left out", r.faces.small), "")
	}
	if len(r.faces.triangles) == 0 && r.grid != nil {
		if err := r.joinGrid(); err != nil {
			return err
		}
	}
	if len(r.faces.triangles) == 0 {
		return errors.New("the file holds points and no faces; build a mesh of triangles from them and save that")
	}
	return nil
}

// finish makes the mesh.
func (r *reader) finish() error {
	if err := r.cut(); err != nil {
		return err
	}
	m := r.file.Mesh
	factor := r.opt.Factor
	if factor == 0 {
		factor = 1
	}
	m.Triangles = r.faces.triangles
	m.Origin = mesh.ChooseOrigin(len(m.Triangles), func(i int) r3.Vec { return r3.Scale(factor, r.at(int(m.Triangles[i]))) })
	if err := r.positions(factor); err != nil {
		return err
	}
	if err := r.dress(); err != nil {
		return err
	}
	r.textures()
	return nil
}
