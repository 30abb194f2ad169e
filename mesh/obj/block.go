package obj

import (
	"bytes"
	"context"
	"math"

	"rigatino/mesh"
	"rigatino/mesh/numeral"
)

// blockBytes is about how much of the file one worker reads at a time.
const blockBytes = 1 << 20

// block is what a part of the file holds.
type block struct {
	at int // its first byte in the file

	places  []float64 // 3 a vertex
	colours []float32 // 3 a vertex, as written, -1 for none; nil if no vertex has any
	uvs     []float32 // 2 each
	normals []float32 // 3 each

	// Corners of faces. textured and lit are nil as long as no corner has such a
	// number.
	corners, textured, lit []int32
	faces                  int
	others                 []polygon // faces that are no triangles

	materials []use
	libraries []string

	small   int // faces of fewer than three corners
	lines   int // lines and points
	curves  int // lines of curves and surfaces
	unknown int // lines that begin with no word of the format
	strange int // byte of the first of them

	flaw *flaw
}

// polygon is a face that is no triangle.
type polygon struct{ face, corners int }

// use is a change of material before a face.
type use struct {
	face int
	name string
}

// blocksOf cuts the file at line ends.
func blocksOf(data []byte, size int) []int {
	cuts := []int{0}
	for at := size; at < len(data); at += size {
		at = endOfLine(data, at)
		if at+1 < len(data) && data[at] == '\r' && data[at+1] == '\n' {
			at++
		}
		if at++; at < len(data) {
			cuts = append(cuts, at)
		}
	}
	return append(cuts, len(data))
}

// joined returns data with the backslashes that continue lines, and the line
// ends behind them, as blanks, so that every byte keeps its place. Comments are
// not continued: their backslash is the end of a path.
func joined(data []byte) []byte {
	out := data
	for at := 0; ; {
		i := bytes.IndexByte(data[at:], '\\')
		if i < 0 {
			return out
		}
		i += at
		at = i + 1
		end := at
		if end < len(data) && data[end] == '\r' {
			end++
		}
		if end < len(data) && data[end] == '\n' {
			end++
		}
		if end == at {
			continue
		}
		// As joined so far, since a line may be continued several times.
		begin := 1 + bytes.LastIndexAny(out[:i], "\r\n")
		if first := blanks(out, begin); out[first] == '#' {
			continue
		}
		if &out[0] == &data[0] {
			out = bytes.Clone(data)
		}
		for k := i; k < end; k++ {
			out[k] = ' '
		}
		at = end
	}
}

// readBlocks reads all blocks side by side.
func readBlocks(ctx context.Context, data []byte, size int, done func(block int)) ([]block, error) {
	cuts := blocksOf(data, size)
	blocks := make([]block, len(cuts)-1)
	err := mesh.Parallel(ctx, len(blocks), func(i int) {
		blocks[i].at = cuts[i]
		blocks[i].read(data[:cuts[i+1]])
		done(i)
	})
	return blocks, err
}

// read reads the lines from b.at to the end of data.
func (b *block) read(data []byte) {
	// Most of a scan is vertices of about 30 bytes, and faces.
	for at := b.at; at < len(data) && b.flaw == nil; {
		at = numeral.Skip(data, at)
		end := numeral.Word(data, at)
		word := data[at:end]
		if len(word) == 0 {
			return
		}
		switch {
		case word[0] == '#':
		case len(word) == 1 && word[0] == 'v':
			end = b.vertex(data, end)
		case len(word) == 1 && word[0] == 'f', string(word) == "fo":
			end = b.face(data, end)
		case len(word) == 2 && word[0] == 'v' && word[1] == 't':
			end = b.texture(data, end)
		case len(word) == 2 && word[0] == 'v' && word[1] == 'n':
			end = b.normal(data, end)
		default:
			b.other(data, at, end)
		}
		at = endOfLine(data, end)
	}
}

// numbers reads up to len(to) numbers of a line.
func (b *block) numbers(data []byte, at int, to []float64) (n, end int) {
	for n < len(to) {
		at = blanks(data, at)
		if at == len(data) || data[at] == '\n' || data[at] == '\r' || data[at] == '#' {
			break
		}
		x, end, ok := numeral.Float(data, at)
		if !ok {
			b.flaw = flawed(at, "has %q where a number should be", clip(data[at:end]))
			return n, end
		}
		to[n] = x
		n++
		at = end
	}
	return n, at
}

// vertex reads x y z, and r g b or a weight behind them. Seven numbers are
// taken for x y z r g b and one more.
func (b *block) vertex(data []byte, at int) int {
	var x [7]float64
	n, end := b.numbers(data, at, x[:])
	switch {
	case b.flaw != nil:
		return end
	case n < 3:
		b.flaw = flawed(at, "has a vertex of %d numbers, fewer than three", n)
		return end
	}
	b.places = append(b.places, x[0], x[1], x[2])
	if n >= 6 {
		for len(b.colours) < len(b.places)-3 {
			b.colours = append(b.colours, -1)
		}
		for _, c := range x[3:6] {
			if !(c >= 0) {
				c = 0
			}
			b.colours = append(b.colours, float32(c))
		}
	} else if b.colours != nil {
		b.colours = append(b.colours, -1, -1, -1)
	}
	return end
}

// texture reads u v; v may be missing and is then 0.
func (b *block) texture(data []byte, at int) int {
	var x [3]float64
	n, end := b.numbers(data, at, x[:])
	if n == 0 && b.flaw == nil {
		b.flaw = flawed(at, "has texture coordinates without a number")
	}
	b.uvs = append(b.uvs, float32(x[0]), float32(x[1]))
	return end
}

func (b *block) normal(data []byte, at int) int {
	var x [3]float64
	n, end := b.numbers(data, at, x[:])
	if n < 3 && b.flaw == nil {
		b.flaw = flawed(at, "has a normal of %d numbers, fewer than three", n)
	}
	b.normals = append(b.normals, float32(x[0]), float32(x[1]), float32(x[2]))
	return end
}

// face reads corners v, v/vt, v//vn or v/vt/vn.
func (b *block) face(data []byte, at int) int {
	first := len(b.corners)
	for {
		at = blanks(data, at)
		if at == len(data) || data[at] == '\n' || data[at] == '\r' || data[at] == '#' {
			break
		}
		v, end, ok := b.index(data, at, len(b.places)/3)
		if !ok {
			return end
		}
		t, n := int32(none), int32(none)
		if end < len(data) && data[end] == '/' {
			end++
			if end < len(data) && data[end] != '/' && data[end] > ' ' {
				if t, end, ok = b.index(data, end, len(b.uvs)/2); !ok {
					return end
				}
			}
			if end < len(data) && data[end] == '/' {
				end++
				if end < len(data) && data[end] > ' ' {
					if n, end, ok = b.index(data, end, len(b.normals)/3); !ok {
						return end
					}
				}
			}
		}
		if end < len(data) && data[end] > ' ' {
			b.flaw = flawed(at, "has %q where a corner should be", clip(data[at:numeral.Word(data, at)]))
			return end
		}
		b.corners = append(b.corners, v)
		b.textured = also(b.textured, t, len(b.corners))
		b.lit = also(b.lit, n, len(b.corners))
		at = end
	}
	switch n := len(b.corners) - first; {
	case n < 3:
		b.small++
		b.corners = b.corners[:first]
		b.textured, b.lit = b.textured[:min(first, len(b.textured))], b.lit[:min(first, len(b.lit))]
		return at
	case n > 3:
		b.others = append(b.others, polygon{b.faces, n})
	}
	b.faces++
	return at
}

// also appends a number to a list of so many corners that stays nil as long as
// all are none.
func also(list []int32, x int32, corners int) []int32 {
	if list == nil && x == none {
		return nil
	}
	for len(list) < corners-1 {
		list = append(list, none)
	}
	return append(list, x)
}

// index reads the number of a corner; here is how many there are before it in
// the block.
func (b *block) index(data []byte, at, here int) (x int32, end int, ok bool) {
	n, end, ok := numeral.Whole(data, at)
	switch {
	case !ok:
		b.flaw = flawed(at, "has %q where a corner should be", clip(data[at:numeral.Word(data, at)]))
	case n > 0 && n <= mostOf:
		return int32(n - 1), end, true
	case n < 0 && n > -mostOf:
		return int32(int64(here) + n - bias), end, true
	default:
		b.flaw = flawed(at, "has the corner %d, which cannot be", n)
	}
	return 0, end, false
}

// other reads the lines that are no numbers.
func (b *block) other(data []byte, at, end int) {
	rest := func() string { return string(bytes.TrimSpace(data[end:endOfLine(data, end)])) }
	switch word := string(data[at:end]); word {
	case "usemtl":
		b.materials = append(b.materials, use{b.faces, rest()})
	case "mtllib":
		b.libraries = append(b.libraries, rest())
	case "l", "p":
		b.lines++
	case "vp", "cstype", "curv", "curv2", "surf":
		b.curves++
	default:
		if !keywords[word] {
			if b.unknown == 0 {
				b.strange = at
			}
			b.unknown++
		}
	}
}

// absolute turns the number of a corner into one counted from the first in the
// file. before is how many stand in earlier blocks, all in the whole file; ok
// is false if there is no such one.
func absolute(x int32, before, all int) (n int32, ok bool) {
	i := int(x)
	if x < 0 {
		i = int(x) + bias + before
	}
	if i < 0 || i >= all || i > math.MaxInt32 {
		return 0, false
	}
	return int32(i), true
}
