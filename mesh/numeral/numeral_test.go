package numeral_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"rigatino/mesh/numeral"
)

// same says whether two numbers have the same bits, or are both not numbers.
func same(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
}

func TestFloatHasTheBitsOfStrconv(t *testing.T) {
	// Source: strconv.ParseFloat of the Go standard library, which rounds
	// correctly (IEEE 754). Words as exporters write them: %g and %f of float32
	// and float64 at several precisions, exponents, and the edges of the short way.
	words := []string{"0", "-0", "+0", "00012", ".5", "5.", "-.5", "1e5", "1E+05", "1e-05", "9007199254740991", "9007199254740992", "9007199254740993",
		"1e22", "1e23", "123e22", "0.1", "0.30000000000000004", "1e308", "1e309", "-1e309", "1e-320", "1e-400", "3.4028235e38", "1.17549435e-38",
		"18446744073709551615", "18446744073709551616", "99999999999999999999", "0.00000000000000000000001", "0.0000000000000000000000000000000001",
		"1.0000000000000002", "12345678901234567890123.5e-20", "1e+0000005", "inf", "-Infinity", "NaN", strings.Repeat("1", 400), "0." + strings.Repeat("0", 400) + "1"}
	r := rand.New(rand.NewPCG(1, 2))
	for range 200_000 {
		x := math.Float64frombits(r.Uint64())
		if r.IntN(2) == 0 {
			x = (r.Float64() - 0.5) * math.Pow(10, float64(r.IntN(9)-3))
		}
		switch r.IntN(5) {
		case 0:
			words = append(words, strconv.FormatFloat(x, 'g', -1, 64))
		case 1:
			words = append(words, strconv.FormatFloat(float64(float32(x)), 'g', -1, 32))
		case 2:
			words = append(words, strconv.FormatFloat(math.Mod(x, 1e9), 'f', r.IntN(12), 64))
		case 3:
			words = append(words, fmt.Sprintf("%.*e", r.IntN(18), x))
		case 4:
			words = append(words, strconv.FormatInt(r.Int64()>>r.IntN(64), 10)+"e"+strconv.Itoa(r.IntN(80)-40))
		}
	}
	for _, word := range words {
		want, _ := strconv.ParseFloat(word, 64)
		for _, text := range []string{word, word + " 7", word + "\n"} {
			got, end, ok := numeral.Float([]byte("8 "+text), 2)
			if !ok || !same(got, want) || end != 2+len(word) {
				t.Fatalf("%q is read as %v (%v) up to %d, want %v", text, got, ok, end-2, want)
			}
		}
	}
}

func TestWordsOfCLibrariesAreNotFinite(t *testing.T) {
	// Words as common C libraries print them; from memory.
	for _, word := range []string{"nan", "-nan", "NAN", "-nan(ind)", "nan(0x8000000000000)", "1.#QNAN", "-1.#IND", "1.#SNAN00", "-1.#IND00"} {
		if x, end, ok := numeral.Float([]byte(word), 0); !ok || !math.IsNaN(x) || end != len(word) {
			t.Errorf("%q is read as %v (%v)", word, x, ok)
		}
	}
	for word, sign := range map[string]int{"1.#INF": 1, "-1.#INF00": -1, "inf": 1, "-inf": -1, "1e999": 1} {
		if x, _, ok := numeral.Float([]byte(word), 0); !ok || !math.IsInf(x, sign) {
			t.Errorf("%q is read as %v (%v)", word, x, ok)
		}
	}
}

func TestWhatIsNoNumber(t *testing.T) {
	for _, word := range []string{"", " ", "-", "+", ".", "e5", "1e", "1e+", "1,5", "1.5.2", "--1", "0x10", "0x1p-2", "1_000", "one", "1f", "nano", "1/2"} {
		if x, _, ok := numeral.Float([]byte(word), 0); ok {
			t.Errorf("%q is read as %v", word, x)
		}
	}
	if _, _, ok := numeral.Float([]byte("12"), 2); ok {
		t.Error("a number was read behind the end")
	}
}

func TestWhole(t *testing.T) {
	for text, want := range map[string]struct {
		n   int64
		end int
		ok  bool
	}{
		"12/3": {12, 2, true}, "-7 ": {-7, 2, true}, "+5": {5, 2, true}, "0": {0, 1, true}, "": {0, 0, false}, "-": {0, 1, false}, "x": {0, 0, false},
		"99999999999999999999": {0, 18, false}, "100000000000000000": {1e17, 18, true},
	} {
		if n, end, ok := numeral.Whole([]byte(text), 0); ok != want.ok || end != want.end || ok && n != want.n {
			t.Errorf("%q: %d up to %d (%v), want %+v", text, n, end, ok, want)
		}
	}
}

// FuzzFloat holds every word against strconv.
func FuzzFloat(f *testing.F) {
	for _, word := range []string{"1.5", "-0.25e-3", "123456789012345678901", "nan", "1.#INF", "1e", "0x1", "1_0", "+.5e+22"} {
		f.Add([]byte(word))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		x, end, ok := numeral.Float(text, 0)
		if end > len(text) {
			t.Fatalf("the end %d is behind %d bytes", end, len(text))
		}
		if end != numeral.Word(text, 0) {
			t.Fatalf("the end %d is not that of the word", end)
		}
		word := string(text[:end])
		want, err := strconv.ParseFloat(word, 64)
		good := (err == nil || math.IsInf(want, 0)) && !strings.ContainsAny(word, "_xX")
		if good && (!ok || !same(x, want)) {
			t.Fatalf("%q is read as %v (%v), want %v", word, x, ok, want)
		}
		if ok && !good && x-x == 0 {
			t.Fatalf("%q is read as %v and is no number", word, x)
		}
	})
}

func BenchmarkFloat(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, form := range []struct {
		name string
		text func() string
	}{
		{"six_decimals", func() string { return strconv.FormatFloat(r.Float64()*200-100, 'f', 6, 64) }},
		{"float32", func() string { return strconv.FormatFloat(float64(float32(r.Float64()*200-100)), 'g', -1, 32) }},
		{"float64", func() string { return strconv.FormatFloat(r.Float64()*200-100, 'g', -1, 64) }},
	} {
		var text []byte
		for range 1 << 14 {
			text = append(append(text, form.text()...), ' ')
		}
		b.Run(form.name, func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				for at := 0; at < len(text); {
					_, end, ok := numeral.Float(text, at)
					if !ok {
						b.Fatal(at)
					}
					at = end + 1
				}
			}
		})
	}
}
