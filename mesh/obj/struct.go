package obj

import (
	"bytes"
	"fmt"
	"math"

	"rigatino/mesh/numeral"
)

// The numbers of corners are kept in 32 bits: from 0 on counted from the first
// in the file, below that counted from the first of the block they stand in,
// less the bias, and one value for none.
const (
	bias   = 1 << 30
	none   = math.MinInt32
	mostOf = bias // vertices, texture coordinates or normals
)

// again is the way out of a damaged file.
const again = "copy the file again, or save the scan again in the program it came from"

// flaw is what is wrong at a byte of the file; the line is counted only then.
type flaw struct {
	at   int
	text string
}

func flawed(at int, format string, args ...any) *flaw { return &flaw{at, fmt.Sprintf(format, args...)} }

// words says where and what.
func (f *flaw) words(data []byte) error {
	return fmt.Errorf("line %d %s; %s", lineAt(data, f.at), f.text, again)
}

// lineAt is the number of the line that holds a byte, the first being 1.
func lineAt(data []byte, at int) int {
	n, head := 1, data[:min(at, len(data))]
	n += bytes.Count(head, []byte("\n"))
	n += bytes.Count(head, []byte("\r")) - bytes.Count(head, []byte("\r\n"))
	if at > 0 && at < len(data) && data[at-1] == '\r' && data[at] == '\n' {
		n-- // between the two bytes of one line end
	}
	return n
}

// endOfLine is the place of the byte that ends the line in which at stands.
func endOfLine(data []byte, at int) int {
	for at < len(data) && data[at] != '\n' && data[at] != '\r' {
		at++
	}
	return at
}

// blanks skips what parts words within a line.
func blanks(data []byte, at int) int {
	for at < len(data) && data[at] <= ' ' && data[at] != '\n' && data[at] != '\r' {
		at++
	}
	return at
}

// clip shortens what is shown of a broken file.
func clip(word []byte) string {
	if len(word) > 24 {
		return string(word[:24]) + "…"
	}
	return string(word)
}

// keywords are the words that a line of an OBJ file can begin with. Those of
// curves and free-form surfaces are there so that such files are known.
var keywords = map[string]bool{
	"v": true, "vt": true, "vn": true, "vp": true, "f": true, "fo": true, "l": true, "p": true,
	"o": true, "g": true, "s": true, "mg": true, "mtllib": true, "usemtl": true, "usemap": true, "maplib": true,
	"shadow_obj": true, "trace_obj": true, "bevel": true, "c_interp": true, "d_interp": true, "lod": true,
	"cstype": true, "deg": true, "bmat": true, "step": true, "curv": true, "curv2": true, "surf": true, "parm": true,
	"trim": true, "hole": true, "scrv": true, "sp": true, "end": true, "con": true, "ctech": true, "stech": true,
}

// headOf is how many bytes IsOBJ looks at.
const headOf = 1 << 18

// IsOBJ says whether data begins like an OBJ file: lines that all begin with a
// word of the format, up to a first vertex with three numbers.
func IsOBJ(data []byte) bool {
	data = bytes.TrimPrefix(data[:min(len(data), headOf)], []byte("\xef\xbb\xbf"))
	for at := 0; at < len(data); {
		at = numeral.Skip(data, at)
		end := numeral.Word(data, at)
		switch word := data[at:end]; {
		case len(word) == 0:
			return false
		case word[0] == '#':
		case string(word) == "v":
			for range 3 {
				at = blanks(data, end)
				var ok bool
				if _, end, ok = numeral.Float(data, at); !ok {
					return false
				}
			}
			return true
		case !keywords[string(word)]:
			return false
		}
		at = endOfLine(data, at)
	}
	return false
}
