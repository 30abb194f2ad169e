package gltf

import "fmt"

// again is the way out of a damaged file.
const again = "copy the file again, or save the scan again in the program it came from"

// flaw is what is wrong with a file: where, what, and the way out.
type flaw struct{ where, what, way string }

func (f flaw) Error() string { return f.where + " " + f.what + "; " + f.way }

// damaged is a flaw that a fresh copy may cure.
func damaged(where, format string, args ...any) error {
	return flaw{where, fmt.Sprintf(format, args...), again}
}
