package quantity

import (
	"encoding/json"
	"fmt"
	"math"
)

// Units that values of this program are given in.
const (
	Millimetre      = "mm"
	SquareMillim    = "mm2"
	CubicMillimetre = "mm3"
	Gram            = "g"
	Share           = "1" // part of a whole, 0 to 1; printed as per cent
)

// Measured is a value that is not exact.
type Measured struct {
	Value  float64
	U      float64 // standard uncertainty, same unit as Value; the expanded one is K·U
	K      float64 // coverage factor
	Unit   string
	Method string // how the value came about, in a few words
}

// Expanded is the half-width k·u of the interval about the value.
func (m Measured) Expanded() float64 { return m.K * m.U }

// Covers says whether a true value lies inside the expanded uncertainty.
func (m Measured) Covers(truth float64) bool { return math.Abs(truth-m.Value) <= m.Expanded() }

// stored is the form of a measured value in every JSON document: u is the
// standard uncertainty, U the expanded one.
type stored struct {
	Value    float64 `json:"value"`
	Standard float64 `json:"u"`
	K        float64 `json:"k"`
	Expanded float64 `json:"U"`
	Unit     string  `json:"unit"`
	Method   string  `json:"method"`
}

// MarshalJSON writes {"value","u","k","U","unit","method"}, U being k·u.
func (m Measured) MarshalJSON() ([]byte, error) {
	for _, x := range []float64{m.Value, m.U, m.K} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("measured value %q is not a number: leave it out instead", m.Method)
		}
	}
	return json.Marshal(stored{m.Value, m.U, m.K, m.Expanded(), m.Unit, m.Method})
}

// UnmarshalJSON reads what MarshalJSON writes. U is not read: it follows from
// u and k.
func (m *Measured) UnmarshalJSON(data []byte) error {
	// Decoding JSON does not mind the case of keys, so that u and U would
	// overwrite one another in a struct with only one of them; stored has both.
	var s stored
	if err := json.Unmarshal(data, &s); err != nil {
		return fmt.Errorf("measured value: %w", err)
	}
	*m = Measured{Value: s.Value, U: s.Standard, K: s.K, Unit: s.Unit, Method: s.Method}
	return nil
}
