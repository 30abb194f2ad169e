package ply

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"

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
	head *header
	body body
	file *File

	vertex    *element
	rows      rows               // the vertices
	at        func(i int) r3.Vec // coordinates as stored
	triangles []uint32
	polygons  int // faces with more than three corners
	slivers   int // faces with fewer
}

// Read reads the PLY in data. name is the file's name for errors.
func Read(ctx context.Context, name string, data []byte, opt Options) (*File, error) {
	r := &reader{ctx: ctx, opt: opt, file: &File{Mesh: &mesh.Mesh{}}}
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
		if len(r.triangles)/3 > math.MaxInt32 {
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
		return r.faces(e)
	case e.name == "tristrips" && faceList(e) >= 0:
		return r.records(e, func(_ int, _ []float64, lists [][]float64) error {
			return r.strip(lists[faceList(e)])
		})
	}
	if size, fixed := e.size(); fixed && r.head.format != ascii {
		r.body.at += size * e.count // enough has seen the bytes
		return nil
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
	if len(e.properties) == 0 {
		return nil
	}
	numbers := make([]float64, len(e.properties))
	lists := make([][]float64, len(e.properties))
	for i := range e.count {
		if i%(1<<15) == 0 {
			if err := r.ctx.Err(); err != nil {
				return err
			}
			if r.opt.Progress != nil {
				r.opt.Progress(float64(r.body.at)/float64(len(r.body.data)), "reading "+e.name)
			}
		}
		if err := r.body.record(e, numbers, lists); err != nil {
			return fmt.Errorf("element %s number %d: %w", e.name, i, err)
		}
		if err := each(i, numbers, lists); err != nil {
			return err
		}
	}
	return nil
}

// faces reads polygons.
func (r *reader) faces(e *element) error {
	if done, err := r.fastFaces(e); done || err != nil {
		return err
	}
	list := faceList(e)
	r.triangles = slices.Grow(r.triangles, min(3*e.count, len(r.body.data)))
	return r.records(e, func(i int, _ []float64, lists [][]float64) error {
		corners := lists[list]
		for k, v := range corners {
			if !(v >= 0 && v < float64(r.vertex.count)) || v != math.Trunc(v) {
				return damaged(fmt.Sprintf("face %d", i), "has the corner %v and there are %d vertices", corners[k], r.vertex.count)
			}
		}
		switch n := len(corners); {
		case n < 3:
			r.slivers++
		case n > 3:
			r.polygons++
		}
		for k := 2; k < len(corners); k++ {
			r.triangles = append(r.triangles, uint32(corners[0]), uint32(corners[k-1]), uint32(corners[k]))
		}
		return nil
	})
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
			return damaged("a triangle strip", "has the corner %v and there are %d vertices", v, r.vertex.count)
		}
		if i-from < 2 {
			continue
		}
		a, b, c := uint32(list[i-2]), uint32(list[i-1]), uint32(v)
		if (i-from)%2 == 1 {
			a, b = b, a
		}
		r.triangles = append(r.triangles, a, b, c)
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
	if r.polygons > 0 {
		r.note("polygons_split", fmt.Sprintf("%d polygons were cut into triangles from their first corner", r.polygons), "")
	}
	if r.slivers > 0 {
		r.note("faces_too_small", fmt.Sprintf("%d faces with fewer than three corners were left out", r.slivers), "")
	}
	if len(r.triangles) > 0 {
		return nil
	}
	if g := r.head.find("range_grid"); g != nil {
		return errors.New("the file is a range grid without faces, which is not read; save the scan as a mesh of triangles")
	}
	return errors.New("the file holds points and no faces; build a mesh of triangles from them and save that")
}

// finish makes the mesh.
func (r *reader) finish() error {
	m := r.file.Mesh
	factor := r.opt.Factor
	if factor == 0 {
		factor = 1
	}
	m.Triangles = r.triangles
	m.Origin = mesh.ChooseOrigin(len(m.Triangles), func(i int) r3.Vec { return r3.Scale(factor, r.at(int(m.Triangles[i]))) })
	if err := r.positions(factor); err != nil {
		return err
	}
	r.texture()
	return nil
}

// texture attaches the image that a comment names.
func (r *reader) texture() {
	m := r.file.Mesh
	m.Materials = []mesh.Material{{BaseColour: [4]float32{1, 1, 1, 1}, Image: -1, DoubleSided: true}}
	if m.UVs == nil || len(r.head.textures) == 0 {
		return
	}
	if len(r.head.textures) > 1 {
		r.note("textures_several", fmt.Sprintf("the file names %d textures, of which the first is shown", len(r.head.textures)), "")
	}
	// Some programs write the path on their own machine: the plain name counts.
	name := strings.ReplaceAll(r.head.textures[0], `\`, "/")
	image := mesh.Image{Name: name[strings.LastIndex(name, "/")+1:]}
	err := fs.ErrNotExist
	if r.opt.Resource != nil {
		image.Data, err = r.opt.Resource(image.Name)
	}
	switch {
	case err == nil:
		if image.MIME = mesh.ImageType(image.Data); image.MIME == "" {
			r.file.Findings = append(r.file.Findings, mesh.Finding{ID: "texture_unreadable", Severity: mesh.Warning,
				Reason: fmt.Sprintf("the texture %q is neither PNG nor JPEG; the scan is shown without it", image.Name),
				WayOut: "save the scan with PNG or JPEG textures"})
			return
		}
	case errors.Is(err, fs.ErrNotExist):
		r.file.Findings = append(r.file.Findings, mesh.Finding{ID: "texture_missing", Severity: mesh.Warning,
			Reason: fmt.Sprintf("the texture %q is missing; the scan is shown grey", image.Name), WayOut: "put the image beside the scan"})
	default:
		r.file.Findings = append(r.file.Findings, mesh.Finding{ID: "texture_unreadable", Severity: mesh.Warning,
			Reason: fmt.Sprintf("the texture %q could not be read: %v", image.Name, err), WayOut: "put the image beside the scan"})
	}
	m.Images = []mesh.Image{image}
	m.Materials[0].Image = 0
}

func (r *reader) note(id, reason, way string) {
	if way == "" {
		way = mesh.NothingToDo
	}
	r.file.Findings = append(r.file.Findings, mesh.Finding{ID: id, Severity: mesh.Note, Reason: reason, WayOut: way})
}
