package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// What the repository must not say: where it was built, from where its
// dependencies were fetched, and out of which papers it came. Such words are of
// no use to a reader and wrong on the next machine.

// A badWord is a pattern with the reason that is printed beside a find.
type badWord struct {
	pattern *regexp.Regexp
	reason  string
}

// forbiddenWords is the fixed list and the names that this machine adds: the
// folder that holds the repository and the hosts it fetches from.
func forbiddenWords(ctx context.Context, h house) []badWord {
	words := fixedWords()
	add := func(text, reason string) {
		words = append(words, badWord{regexp.MustCompile("(?i)" + regexp.QuoteMeta(text)), reason})
	}
	// A shallow folder such as "/" or "/src" would forbid plain words.
	if holder := filepath.Dir(h.root); strings.Count(holder, "/") >= 2 || len(holder) >= 5 {
		add(filepath.ToSlash(holder)+"/", "a path of one machine")
	}
	quiet := program{house: h, stderr: io.Discard}
	for _, ask := range [][]string{{"go", "env", "GOPROXY"}, {"npm", "config", "get", "registry"}} {
		// Where npm is absent there is no such host to leak.
		answer, err := quiet.output(ctx, ask[0], ask[1:]...)
		if err != nil {
			continue
		}
		for _, host := range hostsIn(answer) {
			add(host, "the host of a package registry")
		}
	}
	return words
}

// fixedWords holds in every clone. The patterns are put together from pieces so
// that this file does not find itself.
func fixedWords() []badWord {
	var words []badWord
	add := func(reason string, pieces ...string) {
		words = append(words, badWord{regexp.MustCompile("(?i)" + strings.Join(pieces, "")), reason})
	}
	add("a document that the project came from", `\btran`, `script`)
	add("a document that the project came from", `seed`, ` document`)
	add("a path of one machine", `/(ro`, `ot|ho`, `me/[a-z][a-z0-9_-]*|us`, `ers/[a-z][a-z0-9_-]*)/`)
	add("a path of one machine", `/wo`, `rk/(main|shared|\.library)\b`)
	add("the number of an issue", `\bissues? (no\. ?|num`, `ber |#)\d`)
	return words
}

// hostsIn finds the host names in a list of addresses.
func hostsIn(text string) []string {
	var hosts []string
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" ,|\n\t", r) }) {
		if address, err := url.Parse(word); err == nil && strings.Contains(address.Hostname(), ".") {
			hosts = append(hosts, address.Hostname())
		}
	}
	return hosts
}

// unwanted returns every line of the files that holds a forbidden word. Lists of
// checksums, which tools write, and files that are not text are left out.
func unwanted(h house, files []string, words []badWord) ([]string, error) {
	var found []string
	for _, rel := range files {
		if strings.HasSuffix(rel, ".sum") {
			continue
		}
		text, err := os.ReadFile(h.path(rel))
		if err != nil {
			return nil, fmt.Errorf("look for forbidden words: %w", err)
		}
		if bytes.IndexByte(text[:min(len(text), 8000)], 0) >= 0 {
			continue
		}
		for number, line := range strings.Split(string(text), "\n") {
			for _, w := range words {
				if hit := w.pattern.FindString(line); hit != "" {
					found = append(found, fmt.Sprintf("%s:%d: %q is %s", rel, number+1, hit, w.reason))
				}
			}
		}
	}
	return found, nil
}
