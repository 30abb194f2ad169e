package ply

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
)

// maxHeader is the most bytes a header may have.
const maxHeader = 1 << 20

// again is the way out of a damaged file.
const again = "copy the file again, or save the scan again in the program it came from"

// damaged is an error whose cure may be a fresh copy.
func damaged(where, format string, args ...any) error {
	return fmt.Errorf("%s %s; %s", where, fmt.Sprintf(format, args...), again)
}

// IsPLY says whether data begins like a PLY file.
func IsPLY(data []byte) bool {
	return len(data) >= 4 && string(data[:3]) == "ply" && (data[3] == '\n' || data[3] == '\r')
}

// readHeader reads the header. Lines may end in LF, CR LF or CR.
func readHeader(data []byte) (*header, error) {
	if !IsPLY(data) {
		return nil, damaged("line 1", "is not \"ply\"")
	}
	h := &header{format: -1}
	text := data[:min(len(data), maxHeader)]
	at := 0
	for number := 1; ; number++ {
		i := bytes.IndexAny(text[at:], "\r\n")
		if i < 0 {
			if len(text) < len(data) {
				return nil, damaged("the header", "does not end within %d bytes", maxHeader)
			}
			return nil, damaged("the header", "breaks off in line %d without end_header", number)
		}
		line := string(text[at : at+i])
		at += i + 1
		if text[at-1] == '\r' && at < len(data) && data[at] == '\n' {
			at++
		}
		if number == 1 {
			continue
		}
		done, err := h.line(line)
		if err != nil {
			return nil, damaged(fmt.Sprintf("line %d", number), "%v", err)
		}
		if done {
			h.end = at
			break
		}
	}
	if h.format < 0 {
		return nil, damaged("the header", "has no format line")
	}
	return h, nil
}

// line reads one line of the header and says whether it was the last.
func (h *header) line(line string) (done bool, err error) {
	word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
	fields := strings.Fields(rest)
	switch word {
	case "end_header":
		return true, nil
	case "":
	case "obj_info":
		h.info(fields)
	case "comment":
		rest = strings.TrimSpace(rest)
		if name, ok := strings.CutPrefix(rest, "TextureFile "); ok {
			h.textures = append(h.textures, strings.TrimSpace(name))
		}
		h.comments = append(h.comments, rest)
	case "format":
		if len(fields) != 2 {
			return false, fmt.Errorf("is not a format: %q", clip(line))
		}
		f, ok := formats[fields[0]]
		if !ok {
			return false, fmt.Errorf("has the unknown format %q", clip(fields[0]))
		}
		if fields[1] != "1.0" {
			return false, fmt.Errorf("says version %q and only 1.0 exists", clip(fields[1]))
		}
		h.format = f
	case "element":
		if len(fields) != 2 {
			return false, fmt.Errorf("is not an element: %q", clip(line))
		}
		n, err := strconv.ParseUint(fields[1], 10, 63)
		if err != nil {
			return false, fmt.Errorf("has %q where a count should be", clip(fields[1]))
		}
		h.elements = append(h.elements, element{name: fields[0], count: int(n)})
	case "property":
		if len(h.elements) == 0 {
			return false, fmt.Errorf("has a property before any element")
		}
		p, err := readProperty(fields)
		if err != nil {
			return false, err
		}
		e := &h.elements[len(h.elements)-1]
		e.properties = append(e.properties, p)
	default:
		return false, fmt.Errorf("begins with the unknown word %q", clip(word))
	}
	return false, nil
}

// readProperty reads what follows the word property.
func readProperty(fields []string) (property, error) {
	var p property
	types := fields
	if len(fields) > 0 && fields[0] == "list" {
		types = fields[1:]
		if len(types) != 3 {
			return p, fmt.Errorf("is not a list property")
		}
		if p.length = scalars[types[0]]; p.length == noType {
			return p, fmt.Errorf("has the unknown type %q", clip(types[0]))
		}
		if p.length.isFloat() {
			return p, fmt.Errorf("has a list whose length has the type %q", clip(types[0]))
		}
		types = types[1:]
	}
	if len(types) != 2 {
		return p, fmt.Errorf("is not a property")
	}
	if p.kind = scalars[types[0]]; p.kind == noType {
		return p, fmt.Errorf("has the unknown type %q", clip(types[0]))
	}
	p.name = types[1]
	return p, nil
}

// info reads one line of obj_info. Range scans say the size of their grid so
// (the Stanford repository's files of the 1990s).
func (h *header) info(fields []string) {
	if len(fields) != 2 {
		return
	}
	n, err := strconv.Atoi(fields[1])
	if err != nil {
		return
	}
	switch fields[0] {
	case "num_cols":
		h.columns = n
	case "num_rows":
		h.rows = n
	}
}
