package ply

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"rigatino/mesh"
)

// WriteOptions says how to write.
type WriteOptions struct {
	ASCII    bool     // text instead of little-endian binary
	Comments []string // one line each
}

// Write writes the mesh: coordinates, normals, colours and texture coordinates
// as far as it has them, and triangles in their order. Coordinates are float
// where that holds them exactly, else double, so that reading gives them back.
// Materials and images are not written but for a comment naming the first
// image.
func Write(w io.Writer, m *mesh.Mesh, opt WriteOptions) error {
	out := writer{w: bufio.NewWriterSize(w, 1<<16), m: m, opt: opt, double: !fitsFloat(m)}
	if err := out.header(); err != nil {
		return err
	}
	for i := range uint32(m.VertexCount()) {
		out.vertex(i)
	}
	for f := range m.FaceCount() {
		out.face(m.Triangles[3*f : 3*f+3])
	}
	if err := out.w.Flush(); err != nil {
		return fmt.Errorf("the PLY could not be written: %w", err)
	}
	return nil
}

// writer writes one record at a time through a buffer, which keeps the first
// error until it is flushed.
type writer struct {
	w      *bufio.Writer
	m      *mesh.Mesh
	opt    WriteOptions
	double bool
	record []byte
}

// fitsFloat says whether all coordinates are float32 numbers.
func fitsFloat(m *mesh.Mesh) bool {
	o := [3]float64{m.Origin.X, m.Origin.Y, m.Origin.Z}
	if o == [3]float64{} {
		return true
	}
	for i, p := range m.Positions {
		x := o[i%3] + float64(p)
		if float64(float32(x)) != x {
			return false
		}
	}
	return true
}

func (w *writer) header() error {
	format, number := "binary_little_endian", "float"
	if w.opt.ASCII {
		format = "ascii"
	}
	if w.double {
		number = "double"
	}
	h := "ply\nformat " + format + " 1.0\n"
	for _, c := range w.opt.Comments {
		if strings.ContainsAny(c, "\r\n") {
			return fmt.Errorf("the comment %q has more than one line; give one line a comment", c)
		}
		h += "comment " + c + "\n"
	}
	if w.m.UVs != nil && len(w.m.Images) > 0 && !strings.ContainsAny(w.m.Images[0].Name, "\r\n") && w.m.Images[0].Name != "" {
		h += "comment TextureFile " + w.m.Images[0].Name + "\n"
	}
	h += fmt.Sprintf("element vertex %d\n", w.m.VertexCount())
	for _, name := range []string{"x", "y", "z"} {
		h += "property " + number + " " + name + "\n"
	}
	if w.m.Normals != nil {
		h += "property float nx\nproperty float ny\nproperty float nz\n"
	}
	if w.m.Colours != nil {
		h += "property uchar red\nproperty uchar green\nproperty uchar blue\nproperty uchar alpha\n"
	}
	if w.m.UVs != nil {
		h += "property float s\nproperty float t\n"
	}
	h += fmt.Sprintf("element face %d\nproperty list uchar int vertex_indices\nend_header\n", w.m.FaceCount())
	_, err := w.w.WriteString(h)
	if err != nil {
		return fmt.Errorf("the PLY could not be written: %w", err)
	}
	return nil
}

// vertex writes one vertex.
func (w *writer) vertex(i uint32) {
	p := w.m.Vertex(i)
	w.record = w.record[:0]
	for _, x := range [3]float64{p.X, p.Y, p.Z} {
		w.coordinate(x)
	}
	if n := w.m.Normals; n != nil {
		w.float(n[3*i])
		w.float(n[3*i+1])
		w.float(n[3*i+2])
	}
	if c := w.m.Colours; c != nil {
		for _, x := range c[4*i : 4*i+4] {
			if w.opt.ASCII {
				w.record = append(strconv.AppendUint(w.record, uint64(x), 10), ' ')
			} else {
				w.record = append(w.record, x)
			}
		}
	}
	if t := w.m.UVs; t != nil {
		w.float(t[2*i])
		w.float(1 - t[2*i+1])
	}
	w.flush()
}

func (w *writer) coordinate(x float64) {
	switch {
	case !w.double:
		w.float(float32(x))
	case w.opt.ASCII:
		w.record = append(strconv.AppendFloat(w.record, x, 'g', -1, 64), ' ')
	default:
		w.record = binary.LittleEndian.AppendUint64(w.record, math.Float64bits(x))
	}
}

func (w *writer) float(x float32) {
	if w.opt.ASCII {
		w.record = append(strconv.AppendFloat(w.record, float64(x), 'g', -1, 32), ' ')
		return
	}
	w.record = binary.LittleEndian.AppendUint32(w.record, math.Float32bits(x))
}

// face writes one triangle.
func (w *writer) face(corners []uint32) {
	w.record = w.record[:0]
	if w.opt.ASCII {
		w.record = append(w.record, "3 "...)
		for _, v := range corners {
			w.record = append(strconv.AppendUint(w.record, uint64(v), 10), ' ')
		}
	} else {
		w.record = append(w.record, 3)
		for _, v := range corners {
			w.record = binary.LittleEndian.AppendUint32(w.record, v)
		}
	}
	w.flush()
}

// flush ends a record. Errors stay in the buffer until the end.
func (w *writer) flush() {
	if w.opt.ASCII {
		w.record[len(w.record)-1] = '\n'
	}
	_, _ = w.w.Write(w.record)
}
