package gltf

import (
	"fmt"
	"strings"
)

// again is the way out of a damaged file.
const again = "copy the file again, or save the scan again in the program it came from"

// flaw is what is wrong with a file: where, what, and the way out.
type flaw struct{ where, what, way string }

func (f flaw) Error() string { return f.where + " " + f.what + "; " + f.way }

// damaged is a flaw that a fresh copy may cure.
func damaged(where, format string, args ...any) error {
	return flaw{where, fmt.Sprintf(format, args...), again}
}

// longestQuote is how many bytes of a file's own text a message repeats.
const longestQuote = 120

// brief cuts what a file says of itself, so that a message stays a sentence.
func brief(text string) string {
	if len(text) <= longestQuote {
		return text
	}
	return strings.ToValidUTF8(text[:longestQuote], "") + " …"
}
