package stl

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Write writes the triangles as binary STL, with their normals. Coordinates are
// float32, so a mesh far from zero loses digits: it is refused where a corner
// would move by more than a thousandth of the mean edge.
func Write(w io.Writer, m *mesh.Mesh) error {
	if m.FaceCount() > math.MaxInt32 {
		return fmt.Errorf("the mesh has %d triangles, more than an STL file holds; write it as GLB or PLY", m.FaceCount())
	}
	limit := mesh.MeanEdge(m) / 1000
	out := bufio.NewWriterSize(w, 1<<16)
	record := make([]byte, headerBytes, 2*headerBytes)
	copy(record, "binary STL")
	binary.LittleEndian.PutUint32(record[80:], uint32(m.FaceCount()))
	_, _ = out.Write(record) // the buffer keeps the first error until it is flushed
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		n := m.AreaVector(f)
		if l := r3.Norm(n); l > 0 {
			n = r3.Scale(1/l, n)
		}
		record = record[:0]
		for k, v := range [4]r3.Vec{n, a, b, c} {
			for _, x := range [3]float64{v.X, v.Y, v.Z} {
				if math.Abs(float64(float32(x))-x) > limit && k > 0 {
					return fmt.Errorf("triangle %d lies too far from zero for the digits of an STL file; write the mesh as GLB or PLY", f)
				}
				record = binary.LittleEndian.AppendUint32(record, math.Float32bits(float32(x)))
			}
		}
		_, _ = out.Write(append(record, 0, 0))
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("the STL could not be written: %w", err)
	}
	return nil
}
