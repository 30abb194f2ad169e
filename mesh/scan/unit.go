package scan

import (
	"fmt"
	"slices"
)

// Unit is the unit of length of a file; "" means not known.
type Unit string

// Units that a scan can have.
const (
	Millimetre Unit = "mm"
	Centimetre Unit = "cm"
	Metre      Unit = "m"
	Inch       Unit = "in"
)

// Units lists the units, smallest first.
var Units = []Unit{Millimetre, Centimetre, Inch, Metre}

// Millimetres is the length of the unit; 1 for the unknown unit, so that
// coordinates stay the file's own.
func (u Unit) Millimetres() float64 {
	switch u {
	case Centimetre:
		return 10
	case Metre:
		return 1000
	case Inch:
		return 25.4
	}
	return 1
}

// ParseUnit reads a unit as written on the command line.
func ParseUnit(text string) (Unit, error) {
	if u := Unit(text); slices.Contains(Units, u) {
		return u, nil
	}
	return "", fmt.Errorf("unknown unit %q; use mm, cm, m or in", text)
}
