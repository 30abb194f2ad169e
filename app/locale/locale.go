// Package locale keeps the window toolkit from writing to standard error that it
// cannot parse the locale C.UTF-8, which it would do at the start of every
// command, although the program speaks English alone. Importing it is enough.
//
// The toolkit looks at the environment while packages are initialised. This
// package needs nothing but os and strings and is therefore initialised before
// it: packages are taken in order of their import path as soon as what they
// import is ready, and the toolkit waits for text/template. The character set of
// the user stays as it was set, in LC_CTYPE, because the C library under the
// window reads keys by it.
package locale

import (
	"os"
	"strings"
)

func init() {
	const english = "en_GB.UTF-8"
	characters := os.Getenv("LC_CTYPE")
	if all := os.Getenv("LC_ALL"); all != "" {
		characters = all
	} else if characters == "" {
		characters = os.Getenv("LANG")
	}
	for _, name := range []string{"LC_ALL", "LC_MESSAGES", "LANG"} {
		language, _, coded := strings.Cut(os.Getenv(name), ".")
		if !coded || language != "C" && language != "POSIX" {
			continue
		}
		os.Setenv("LC_CTYPE", characters)
		if name == "LC_ALL" {
			os.Unsetenv(name)
			os.Setenv("LANG", english)
			continue
		}
		os.Setenv(name, english)
	}
}
