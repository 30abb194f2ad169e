package annotate

import (
	"fmt"
	"strings"

	"rigatino/annotate/terms"
)

// CheckWord says whether a word belongs to a list; the error names those that
// do.
func CheckWord(list terms.List, word string) error {
	if _, ok := terms.Get(list, word); ok {
		return nil
	}
	return fmt.Errorf("%s %q does not exist: use one of %s",
		strings.ReplaceAll(string(list), "_", " "), word, strings.Join(terms.IDs(list), ", "))
}

// checkWords checks those words that are not empty.
func checkWords(words ...listed) error {
	for _, w := range words {
		if w.word != "" {
			if err := CheckWord(w.list, w.word); err != nil {
				return err
			}
		}
	}
	return nil
}

type listed struct {
	list terms.List
	word string
}
