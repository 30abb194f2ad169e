package gltf

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"rigatino/mesh"
)

// block is the number of elements that one worker decodes at a time.
const block = 1 << 16

// array is an accessor whose bytes have been seen to be there. Element i has
// width components at data[i*stride:]; data is nil where all are zero.
type array struct {
	index      int
	where      string
	data       []byte
	stride     int
	count      int
	width      int
	kind       ComponentType
	normalized bool
	sparse     *sparseArray
}

// sparseArray holds the elements that replace others: at[i] is replaced by
// element i of values.
type sparseArray struct {
	at     []uint32
	values array
}

// accessor checks accessor i and finds its bytes. use says what for, in the
// words of an error.
func (r *reader) accessor(i int, use string) (array, error) {
	if i < 0 || i >= len(r.doc.Accessors) {
		return array{}, damaged(fmt.Sprintf("accessor %d (%s)", i, use), "is not one of the %d there are", len(r.doc.Accessors))
	}
	acc := &r.doc.Accessors[i]
	a := array{
		index: i, where: fmt.Sprintf("accessor %d (%s)", i, use),
		count: acc.Count, width: widths[acc.Type], kind: acc.ComponentType, normalized: acc.Normalized,
	}
	if a.width == 0 {
		return a, damaged(a.where, "has the unknown type %q", brief(acc.Type))
	}
	if a.kind.Size() == 0 {
		return a, damaged(a.where, "has the unknown component type %d", acc.ComponentType)
	}
	if a.count < 0 {
		return a, damaged(a.where, "has a count of %d", a.count)
	}
	if acc.BufferView == nil {
		if err := r.zeros(&a, acc); err != nil {
			return a, err
		}
	} else {
		data, v, err := r.view(*acc.BufferView)
		if err != nil {
			return a, fmt.Errorf("%s: %w", a.where, err)
		}
		if err := a.lay(data, v.ByteStride, acc.ByteOffset, *acc.BufferView); err != nil {
			return a, err
		}
	}
	if acc.Sparse != nil {
		if err := r.sparse(&a, acc.Sparse); err != nil {
			return a, err
		}
	}
	return a, nil
}

// zeros checks an accessor without bytes of its own. Its count is not proved
// by any bytes, so it is held to a small number or to what the file could have
// stored.
func (r *reader) zeros(a *array, acc *Accessor) error {
	if r.used[extDraco] && acc.Sparse == nil {
		return needsExtension(extDraco)
	}
	if int64(a.count) > max(1<<16, r.present/8) {
		return damaged(a.where, "claims %d elements and has no bytes", a.count)
	}
	a.stride = a.width * a.kind.Size()
	return nil
}

// lay puts the elements of a over the bytes of a buffer view.
func (a *array) lay(data []byte, stride, offset, view int) error {
	size := a.width * a.kind.Size()
	a.stride = stride
	if stride == 0 {
		a.stride = size
	}
	if a.stride < size {
		return damaged(a.where, "has elements of %d bytes in buffer view %d with a stride of %d", size, view, stride)
	}
	if offset < 0 || offset > len(data) {
		return damaged(a.where, "begins at byte %d of buffer view %d, which has %d", offset, view, len(data))
	}
	a.data = data[offset:]
	if a.count > 0 && (len(a.data) < size || (len(a.data)-size)/a.stride < a.count-1) {
		fit := 0
		if len(a.data) >= size {
			fit = (len(a.data)-size)/a.stride + 1
		}
		return damaged(a.where, "claims %d elements and buffer view %d holds %d", a.count, view, fit)
	}
	return nil
}

// sparse checks and decodes the indices of the elements to be replaced.
func (r *reader) sparse(a *array, s *Sparse) error {
	where := a.where + " sparse"
	if s.Count < 0 || s.Count > a.count {
		return damaged(where, "replaces %d of %d elements", s.Count, a.count)
	}
	data, _, err := r.view(s.Indices.BufferView)
	if err != nil {
		return fmt.Errorf("%s: %w", where, err)
	}
	at := array{where: where + " indices", count: s.Count, width: 1, kind: s.Indices.ComponentType}
	if k := at.kind; k != Uint8 && k != Uint16 && k != Uint32 {
		return damaged(where, "has indices of the component type %d", k)
	}
	if err := at.lay(data, 0, s.Indices.ByteOffset, s.Indices.BufferView); err != nil {
		return err
	}
	if data, _, err = r.view(s.Values.BufferView); err != nil {
		return fmt.Errorf("%s: %w", where, err)
	}
	values := array{where: where + " values", count: s.Count, width: a.width, kind: a.kind, normalized: a.normalized}
	if err := values.lay(data, 0, s.Values.ByteOffset, s.Values.BufferView); err != nil {
		return err
	}
	a.sparse = &sparseArray{at: at.uint32s(), values: values}
	for i, v := range a.sparse.at {
		if int64(v) >= int64(a.count) {
			return damaged(where, "index %d is %d, past the last of %d elements", i, v, a.count)
		}
	}
	return nil
}

// element returns the bytes of element i, nil where all are zero.
func (a *array) element(i int) []byte {
	if a.data == nil {
		return nil
	}
	return a.data[i*a.stride:]
}

// number decodes component k of element i; normalized integers come out in
// [0, 1] or [-1, 1] (specification 3.11).
func (a *array) number(i, k int) float64 {
	p := a.element(i)
	if p == nil {
		return 0
	}
	switch a.kind {
	case Float32:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(p[4*k:])))
	case Uint8:
		if a.normalized {
			return float64(p[k]) / 255
		}
		return float64(p[k])
	case Int8:
		if a.normalized {
			return max(float64(int8(p[k]))/127, -1)
		}
		return float64(int8(p[k]))
	case Uint16:
		v := binary.LittleEndian.Uint16(p[2*k:])
		if a.normalized {
			return float64(v) / 65535
		}
		return float64(v)
	case Int16:
		v := int16(binary.LittleEndian.Uint16(p[2*k:]))
		if a.normalized {
			return max(float64(v)/32767, -1)
		}
		return float64(v)
	default:
		v := binary.LittleEndian.Uint32(p[4*k:])
		if a.normalized {
			return float64(v) / math.MaxUint32
		}
		return float64(v)
	}
}

// numbers decodes width components of every element into float32; components
// that the accessor lacks are zero.
func (a *array) numbers(width int) []float32 {
	out := make([]float32, a.count*width)
	n := min(width, a.width)
	_ = mesh.Parallel(context.Background(), blocksOf(a.count), func(b int) {
		for i := b * block; i < min(a.count, (b+1)*block); i++ {
			for k := range n {
				out[i*width+k] = float32(a.number(i, k))
			}
		}
	})
	if a.sparse != nil {
		for j, i := range a.sparse.at {
			for k := range n {
				out[int(i)*width+k] = float32(a.sparse.values.number(j, k))
			}
		}
	}
	return out
}

// blocksOf is the number of blocks that hold n elements.
func blocksOf(n int) int { return (n + block - 1) / block }

// strided is float32 data with a fixed step: element i begins at f[i*step].
type strided struct {
	f    []float32
	step int
}

// floats returns the elements as float32 in place where the file stores them
// so, else decoded, with at least width components each.
func (a *array) floats(width int) strided {
	if a.kind == Float32 && a.sparse == nil && a.width >= width && a.count > 0 &&
		a.data != nil && a.stride%4 == 0 && aligned(a.data) {
		return strided{float32sOf(a.data), a.stride / 4}
	}
	return strided{a.numbers(width), width}
}

// uint32s decodes an unsigned scalar accessor; what is stored as uint32 without
// gaps is returned in place and must not be changed.
func (a *array) uint32s() []uint32 {
	if a.kind == Uint32 && a.stride == 4 && a.sparse == nil && a.count > 0 && a.data != nil && aligned(a.data) {
		return uint32sOf(a.data)[:a.count:a.count]
	}
	out := make([]uint32, a.count)
	_ = mesh.Parallel(context.Background(), blocksOf(a.count), func(b int) {
		lo, hi := b*block, min(a.count, (b+1)*block)
		switch {
		case a.data == nil:
		case a.kind == Uint16:
			for i := lo; i < hi; i++ {
				out[i] = uint32(binary.LittleEndian.Uint16(a.data[i*a.stride:]))
			}
		case a.kind == Uint8:
			for i := lo; i < hi; i++ {
				out[i] = uint32(a.data[i*a.stride])
			}
		default:
			for i := lo; i < hi; i++ {
				out[i] = binary.LittleEndian.Uint32(a.data[i*a.stride:])
			}
		}
	})
	if a.sparse != nil {
		values := a.sparse.values.uint32s()
		for j, i := range a.sparse.at {
			out[i] = values[j]
		}
	}
	return out
}

// isUnsigned says whether the accessor holds whole numbers that may be indices.
func (a *array) isUnsigned() bool {
	return slices.Contains([]ComponentType{Uint8, Uint16, Uint32}, a.kind) && a.width == 1
}
