// Package numeral reads numbers out of the text of a mesh file, fast and to the
// last bit: what Float returns is what strconv.ParseFloat(word, 64) returns.
// Callers round to float32 last, after the unit and the origin, so a float32
// coordinate can differ from a direct reading as float32 by the double rounding
// that every program shares which reckons in float64.
//
// The short way (Clinger, "How to Read Floating Point Numbers Accurately", PLDI
// 1990): a whole number below 2^53 times or over a power of ten up to 10^22 has
// both factors exact in float64, so that one rounding is the right one. All
// other words go to strconv.
//
// Beyond what strconv takes, the words that C libraries print for what is not
// finite are known (nan(ind), -nan, 1.#QNAN, 1.#INF). Not supported: decimal
// commas, thousands separators, and what only Go writes (hexadecimal numbers
// and digits parted by underscores are not numbers here).
package numeral

import (
	"bytes"
	"math"
	"strconv"
	"unsafe"
)

// powers are the powers of ten that float64 holds exactly.
var powers = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// Skip returns the first place from at on that is not white space; len(text)
// where there is none. White space is every byte up to ' '.
func Skip(text []byte, at int) int {
	for at < len(text) && text[at] <= ' ' {
		at++
	}
	return at
}

// Word returns the end of the word that begins at at: the next white space or
// the end of the text.
func Word(text []byte, at int) int {
	for at < len(text) && text[at] > ' ' {
		at++
	}
	return at
}

// Float reads the word that begins at at as a number and returns it with the
// end of the word. ok is false where the word is no number or there is none.
func Float(text []byte, at int) (x float64, end int, ok bool) {
	i := at
	negative := false
	if i < len(text) && (text[i] == '-' || text[i] == '+') {
		negative = text[i] == '-'
		i++
	}
	// Nineteen digits fit 64 bits. Longer words overflow unseen here and are
	// left to strconv by the count of digits.
	var mantissa uint64
	first := i
	for i < len(text) && text[i]-'0' <= 9 {
		mantissa = mantissa*10 + uint64(text[i]-'0')
		i++
	}
	digits, exponent := i-first, 0
	if i < len(text) && text[i] == '.' {
		i++
		point := i
		for i < len(text) && text[i]-'0' <= 9 {
			mantissa = mantissa*10 + uint64(text[i]-'0')
			i++
		}
		exponent = point - i
		digits -= exponent
	}
	if i < len(text) && text[i]|0x20 == 'e' && digits > 0 {
		e, after, good := small(text, i+1)
		if !good {
			return slow(text, at)
		}
		exponent += e
		i = after
	}
	if digits == 0 || digits > 19 || mantissa >= 1<<53 || i < len(text) && text[i] > ' ' {
		return slow(text, at)
	}
	x = float64(mantissa)
	switch {
	case exponent == 0:
	case exponent < 0 && -exponent < len(powers):
		x /= powers[-exponent]
	case exponent > 0 && exponent < len(powers):
		x *= powers[exponent]
	default:
		return slow(text, at)
	}
	if negative {
		x = -x
	}
	return x, i, true
}

// small reads an exponent of up to three digits.
func small(text []byte, at int) (e, end int, ok bool) {
	negative := false
	if at < len(text) && (text[at] == '-' || text[at] == '+') {
		negative = text[at] == '-'
		at++
	}
	i := at
	for i < len(text) && i < at+3 && text[i]-'0' <= 9 {
		e = e*10 + int(text[i]-'0')
		i++
	}
	if negative {
		e = -e
	}
	return e, i, i > at
}

// slow reads any word. A number too large is infinite, one too small is zero.
func slow(text []byte, at int) (x float64, end int, ok bool) {
	end = Word(text, at)
	word := text[at:end]
	if len(word) == 0 {
		return 0, end, false
	}
	if !bytes.ContainsAny(word, "_xX") {
		// Also for a number out of range, whose error is of no use here.
		x, err := strconv.ParseFloat(unsafe.String(unsafe.SliceData(word), len(word)), 64)
		if err == nil || math.IsInf(x, 0) {
			return x, end, true
		}
	}
	sign := 1
	switch word[0] {
	case '-':
		sign, word = -1, word[1:]
	case '+':
		word = word[1:]
	}
	word = bytes.ToLower(word[:min(len(word), 16)])
	switch {
	case bytes.Equal(word, []byte("nan")), bytes.HasPrefix(word, []byte("nan(")),
		bytes.HasPrefix(word, []byte("1.#qnan")), bytes.HasPrefix(word, []byte("1.#snan")), bytes.HasPrefix(word, []byte("1.#ind")):
		return math.NaN(), end, true
	case bytes.HasPrefix(word, []byte("1.#inf")):
		return math.Inf(sign), end, true
	}
	return 0, end, false
}

// Whole reads a whole number that begins at at and returns it with the place of
// the first byte behind its digits, whatever that is. ok is false where there
// is no digit, or the number is beyond ±10^17.
func Whole(text []byte, at int) (n int64, end int, ok bool) {
	i := at
	negative := false
	if i < len(text) && (text[i] == '-' || text[i] == '+') {
		negative = text[i] == '-'
		i++
	}
	first := i
	for i < len(text) && text[i]-'0' <= 9 {
		if n >= 1e17 {
			return 0, i, false
		}
		n = n*10 + int64(text[i]-'0')
		i++
	}
	if negative {
		n = -n
	}
	return n, i, i > first
}
