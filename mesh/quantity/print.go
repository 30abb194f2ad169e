package quantity

import (
	"math"
	"strconv"
	"strings"
)

// noBreak joins what must not be torn apart at a line's end.
const noBreak = "\u00a0"

// lowered is the most that rounding may take off an uncertainty before it is
// rounded up instead. GUM 7.2.6 asks for common sense between its examples:
// 10.47 becomes 11 (10 would be 4.5 % too small), 28.05 becomes 28.
const lowered = 0.025

// roundUncertainty rounds an uncertainty to the digits it deserves and returns
// the place value of its last digit (0.1 for tenths). Digits: two when the
// leading ones are 100 to 354 or 950 and more, else one (the rounding rule of
// the Review of Particle Physics, introduction, section 5.3); never more than
// two, as GUM 7.2.6 says. Direction: to the nearest, but up when that would
// take off more than 2.5 %.
//
// A zero, negative or undefined uncertainty has no digits: place is 0.
func roundUncertainty(u float64) (rounded, place float64) {
	if !(u > 0) || math.IsInf(u, 0) {
		return u, 0
	}
	exponent := math.Floor(math.Log10(u))
	lead := u / math.Pow(10, exponent)
	digits := 1.0
	if lead < 3.545 || lead >= 9.495 {
		digits = 2
	}
	if lead >= 9.495 {
		// Becomes 10: its two digits are tens and ones of the next decade.
		exponent++
	}
	return roundTo(u, exponent-digits+1)
}

func roundTo(u, power float64) (rounded, place float64) {
	place = math.Pow(10, power)
	n := math.Round(u / place)
	if n*place < u*(1-lowered) {
		n++
	}
	return scaled(n, power), place
}

// scaled is n·10^power without the error of a negative power of ten.
func scaled(n, power float64) float64 {
	if power < 0 {
		return n / math.Pow(10, -power)
	}
	return n * math.Pow(10, power)
}

// inUnit is a way to print a unit: value / size, then name.
type inUnit struct {
	name string
	size float64
	from float64 // used from this absolute value on, in the stored unit
}

// readable lists for each stored unit how it is printed, largest last.
var readable = map[string][]inUnit{
	Millimetre:      {{"mm", 1, 0}, {"cm", 10, 100}},
	SquareMillim:    {{"mm²", 1, 0}, {"cm²", 100, 1000}},
	CubicMillimetre: {{"mm³", 1, 0}, {"cm³", 1000, 1000}},
	Share:           {{"%", 0.01, 0}},
	Gram:            {{"g", 1, 0}, {"kg", 1000, 10000}},
}

// String prints the value and its expanded uncertainty, rounded, in a unit
// that reads well: "36.2 ± 0.4 cm³", "9.7 ± 0.3 %". Spaces are no-break spaces
// and a minus is U+2212. From 100 mm, 1000 mm² and 1000 mm³ on centimetres are
// used. Without an uncertainty the value is printed to four digits, alone.
func (m Measured) String() string { return m.printed(m.Value, true) }

// Beside prints a value of the same quantity, found another way, to the digits
// and in the unit that m is printed in, so that the two can be compared.
func (m Measured) Beside(value float64) string { return m.printed(value, false) }

func (m Measured) printed(value float64, withU bool) string {
	u := m.Expanded()
	unit := inUnit{name: m.Unit, size: 1}
	for _, c := range readable[m.Unit] {
		if max(math.Abs(m.Value), math.Abs(u)) >= c.from {
			unit = c
		}
	}
	v, w := value/unit.size, u/unit.size
	// Dividing may leave 9.999… or 1000.0…1; twelve digits are plenty.
	v, w = clean(v), clean(w)
	tail := ""
	if unit.name != "" {
		tail = noBreak + unit.name
	}
	rounded, place := roundUncertainty(w)
	if place == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return signed(strconv.FormatFloat(v, 'g', 4, 64)) + tail
	}
	decimals := max(0, int(-math.Round(math.Log10(place))))
	out := signed(fixed(v, place, decimals))
	if withU {
		out += noBreak + "±" + noBreak + fixed(rounded, place, decimals)
	}
	return out + tail
}

func clean(x float64) float64 {
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 12, 64), 64)
	if err != nil {
		return x
	}
	return y
}

// fixed prints x rounded to whole multiples of place.
func fixed(x, place float64, decimals int) string {
	if decimals == 0 {
		// Adding zero makes a negative zero a plain one.
		return strconv.FormatFloat(math.Round(x/place)*place+0, 'f', 0, 64)
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

func signed(s string) string { return strings.Replace(s, "-", "\u2212", 1) }
