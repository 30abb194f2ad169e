package ply

// A PLY file is a header of text lines, then the elements one after the other.
//
//	ply
//	format binary_little_endian 1.0
//	comment …
//	element vertex 8
//	property float x
//	element face 12
//	property list uchar int vertex_indices
//	end_header

// format is how the body is written.
type format int

const (
	ascii format = iota
	littleEndian
	bigEndian
)

// formats are the words of the header line "format".
var formats = map[string]format{
	"ascii": ascii, "binary_little_endian": littleEndian, "binary_big_endian": bigEndian,
}

// scalar is the type of one number.
type scalar uint8

const (
	noType scalar = iota
	int8Type
	uint8Type
	int16Type
	uint16Type
	int32Type
	uint32Type
	float32Type
	float64Type
)

// scalars are the words for the types, the first set from the 1994 text, the
// second in use since.
var scalars = map[string]scalar{
	"char": int8Type, "uchar": uint8Type, "short": int16Type, "ushort": uint16Type,
	"int": int32Type, "uint": uint32Type, "float": float32Type, "double": float64Type,
	"int8": int8Type, "uint8": uint8Type, "int16": int16Type, "uint16": uint16Type,
	"int32": int32Type, "uint32": uint32Type, "float32": float32Type, "float64": float64Type,
}

// sizes are the bytes of each type in a binary body.
var sizes = [...]int{int8Type: 1, uint8Type: 1, int16Type: 2, uint16Type: 2, int32Type: 4, uint32Type: 4, float32Type: 4, float64Type: 8}

func (s scalar) size() int { return sizes[s] }

// isFloat says whether the type has fractions.
func (s scalar) isFloat() bool { return s >= float32Type }

// property is one number, or a list of numbers with its length before it.
type property struct {
	name   string
	kind   scalar
	length scalar // type of a list's length, noType for a single number
}

func (p *property) isList() bool { return p.length != noType }

// element is a table: count records of the same properties.
type element struct {
	name       string
	count      int
	properties []property
}

// size is the bytes of a binary record, and whether that is the same for all.
func (e *element) size() (n int, fixed bool) {
	for i := range e.properties {
		if e.properties[i].isList() {
			return 0, false
		}
		n += e.properties[i].kind.size()
	}
	return n, true
}

// least is the fewest bytes a record can take.
func (e *element) least(f format) int {
	n := 0
	for i := range e.properties {
		p := &e.properties[i]
		switch {
		case f == ascii:
			n += 2 // a digit and what parts it from the next
		case p.isList():
			n += p.length.size()
		default:
			n += p.kind.size()
		}
	}
	return n
}

// find returns the place of the first property that has one of the names, -1
// for none.
func (e *element) find(names ...string) int {
	for i := range e.properties {
		for _, name := range names {
			if e.properties[i].name == name {
				return i
			}
		}
	}
	return -1
}

// header is all that stands before the body.
type header struct {
	format   format
	elements []element
	comments []string
	textures []string // of the comment TextureFile
	end      int      // byte at which the body begins

	columns, rows int // of a range grid, by obj_info; 0 if not said
}

// find returns the element of a name, nil for none.
func (h *header) find(name string) *element {
	for i := range h.elements {
		if h.elements[i].name == name {
			return &h.elements[i]
		}
	}
	return nil
}
