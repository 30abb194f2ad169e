package stl

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
)

// A binary file is a header of 80 bytes, the number of triangles, and 50 bytes
// for each: the normal, three corners, all float32, and two bytes to use freely.
// All numbers are little-endian.
const (
	headerBytes = 84
	facetBytes  = 50
)

// again is the way out of a damaged file.
const again = "copy the file again, or save the scan again in the program it came from"

// damaged is an error whose cure may be a fresh copy.
func damaged(where, format string, args ...any) error {
	return fmt.Errorf("%s %s; %s", where, fmt.Sprintf(format, args...), again)
}

// kind is which of the two forms a file has.
type kind int

const (
	neither kind = iota
	text
	binaryForm
)

// IsSTL says whether data is an STL file, by its first bytes and its length.
func IsSTL(data []byte) bool { return kindOf(data) != neither }

func kindOf(data []byte) kind {
	if len(data) >= headerBytes+facetBytes && headerBytes+facetBytes*count(data) == int64(len(data)) {
		return binaryForm // the four bytes of the count are never text then
	}
	if isText(data) {
		return text
	}
	if isBinary(data) {
		return binaryForm
	}
	return neither
}

// count is the number of triangles that a binary file says it has.
func count(data []byte) int64 { return int64(binary.LittleEndian.Uint32(data[80:])) }

// isText looks for the words of the text form.
func isText(data []byte) bool {
	head := bytes.TrimLeft(bytes.TrimPrefix(data[:min(len(data), 4096)], []byte("\xef\xbb\xbf")), " \t\r\n")
	if len(head) < 5 || !bytes.EqualFold(head[:5], []byte("solid")) || bytes.IndexByte(head[:min(len(head), 256)], 0) >= 0 {
		return false
	}
	head = bytes.ToLower(head[5:])
	return bytes.Contains(head, []byte("facet")) || bytes.Contains(head, []byte("endsolid"))
}

// isBinary tells the binary form where bytes are missing or left over, by its
// first triangles: coordinates of a size that a length can have, and a normal
// no longer than 1.
func isBinary(data []byte) bool {
	if len(data) < headerBytes+facetBytes || count(data) == 0 {
		return false
	}
	for i := range min(count(data), 4, int64(len(data)-headerBytes)/facetBytes) {
		f := data[headerBytes+facetBytes*i:]
		normal := 0.0
		for k := range 12 {
			x := math.Abs(float64(math.Float32frombits(binary.LittleEndian.Uint32(f[4*k:]))))
			switch {
			case k < 3:
				normal += x * x
			case x != 0 && !(x > 1e-15 && x < 1e12):
				return false
			}
		}
		if normal > 1.1 { // false for what is not a number
			return false
		}
	}
	return true
}
