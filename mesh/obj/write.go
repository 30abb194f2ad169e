package obj

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Write writes the mesh as OBJ: coordinates, with colours where it has them,
// texture coordinates, normals and triangles in their order. Numbers have as
// many digits as it takes to read them back. If library is not "" it is named
// as the material file, which WriteMaterials writes.
func Write(w io.Writer, m *mesh.Mesh, library string) error {
	if err := fitting(m, library); err != nil {
		return err
	}
	out := bufio.NewWriterSize(w, 1<<16)
	var line []byte
	number := func(x float64, bits int) { line = strconv.AppendFloat(append(line, ' '), x, 'g', -1, bits) }
	// The buffer keeps the first error until it is flushed.
	end := func() { _, _ = out.Write(append(line, '\n')); line = line[:0] }
	bits := 64
	if m.Origin == (r3.Vec{}) {
		bits = 32
	}
	if library != "" {
		line = append(line, "mtllib "+library...)
		end()
	}
	for i := range uint32(m.VertexCount()) {
		p := m.Vertex(i)
		line = append(line, 'v')
		for _, x := range [3]float64{p.X, p.Y, p.Z} {
			number(x, bits)
		}
		if m.Colours != nil {
			for _, c := range m.Colours[4*i : 4*i+3] {
				number(math.Round(float64(c)/255*1e4)/1e4, 64)
			}
		}
		end()
	}
	for i := 0; i < len(m.UVs); i += 2 {
		line = append(line, "vt"...)
		number(float64(m.UVs[i]), 32)
		number(float64(1-m.UVs[i+1]), 32)
		end()
	}
	for i := 0; i < len(m.Normals); i += 3 {
		line = append(line, "vn"...)
		for _, x := range m.Normals[i : i+3] {
			number(float64(x), 32)
		}
		end()
	}
	for f := range m.FaceCount() {
		if len(m.Materials) > 0 && (f == 0 || material(m, f) != material(m, f-1)) && m.Materials[material(m, f)].Name != "" {
			line = append(line, "usemtl "+m.Materials[material(m, f)].Name...)
			end()
		}
		line = append(line, 'f')
		for _, v := range m.Triangles[3*f : 3*f+3] {
			line = strconv.AppendUint(append(line, ' '), uint64(v)+1, 10)
			if m.UVs != nil || m.Normals != nil {
				line = append(line, '/')
			}
			if m.UVs != nil {
				line = strconv.AppendUint(line, uint64(v)+1, 10)
			}
			if m.Normals != nil {
				line = strconv.AppendUint(append(line, '/'), uint64(v)+1, 10)
			}
		}
		end()
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("the OBJ could not be written: %w", err)
	}
	return nil
}

func material(m *mesh.Mesh, f int) int {
	if m.MaterialOf == nil {
		return 0
	}
	return int(m.MaterialOf[f])
}

// WriteMaterials writes the material file of a mesh: names, colours and the
// names of pictures, which the caller puts beside it.
func WriteMaterials(w io.Writer, m *mesh.Mesh) error {
	if err := fitting(m, ""); err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	for i := range m.Materials {
		l := &m.Materials[i]
		fmt.Fprintf(out, "newmtl %s\nKd", l.Name)
		for _, c := range l.BaseColour[:3] {
			fmt.Fprintf(out, " %.6g", coded(float64(c)))
		}
		fmt.Fprintf(out, "\nd %.6g\n", l.BaseColour[3])
		if l.Image >= 0 {
			fmt.Fprintf(out, "map_Kd %s\n", m.Images[l.Image].Name)
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("the material file could not be written: %w", err)
	}
	return nil
}

// coded is the inverse of linear.
func coded(c float64) float64 {
	if c <= 0.0031308 {
		return 12.92 * c
	}
	return 1.055*math.Pow(c, 1/2.4) - 0.055
}

// fitting refuses names that a line of text cannot hold.
func fitting(m *mesh.Mesh, library string) error {
	names := []string{library}
	for i := range m.Materials {
		names = append(names, m.Materials[i].Name)
	}
	for i := range m.Images {
		names = append(names, m.Images[i].Name)
	}
	for _, name := range names {
		if strings.ContainsAny(name, "\r\n\x00") || strings.HasSuffix(name, `\`) || strings.TrimSpace(name) != name {
			return fmt.Errorf("the name %q does not fit a line of an OBJ file; give it a plain name", name)
		}
	}
	return nil
}
