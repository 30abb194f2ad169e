package quantity

import (
	"encoding/json"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Distribution is the shape assumed for an input of a budget (GUM 4.3).
type Distribution string

// Distributions and how their standard uncertainty follows from what is known.
const (
	Normal      Distribution = "normal"      // u given
	Rectangular Distribution = "rectangular" // half-width / √3
	Triangular  Distribution = "triangular"  // half-width / √6
	Arcsine     Distribution = "arcsine"     // half-width / √2, a cyclic variation
)

// coverageTwoSigma is the share of a normal distribution within two standard
// deviations, 95.45 %: the coverage for which k is 2 with many degrees of
// freedom (GUM table G.2).
var coverageTwoSigma = math.Erf(math.Sqrt2)

// Term is one input of a budget.
type Term struct {
	Name         string
	Value        float64 // the input's estimate, in Unit
	Unit         string
	Sensitivity  float64 // change of the result with a change of the input
	U            float64 // standard uncertainty of the input, in Unit
	Dof          float64 // degrees of freedom of U; 0 or +Inf means many
	Distribution Distribution
}

// Within makes a term whose input lies within ± halfWidth with the given
// distribution (normal: half-width taken as u itself), GUM 4.3.7 to 4.3.9.
func Within(name string, value, halfWidth, sensitivity float64, unit string, shape Distribution) Term {
	u := halfWidth
	switch shape {
	case Rectangular:
		u /= math.Sqrt(3)
	case Triangular:
		u /= math.Sqrt(6)
	case Arcsine:
		u /= math.Sqrt2
	}
	return Term{Name: name, Value: value, Unit: unit, Sensitivity: sensitivity, U: u, Distribution: shape}
}

// Contribution is the term's part of the result's standard uncertainty, |c|·u,
// in the result's unit.
func (t Term) Contribution() float64 { return math.Abs(t.Sensitivity) * t.U }

// MarshalJSON writes the term with its contribution; "dof" is absent where the
// degrees of freedom are many.
func (t Term) MarshalJSON() ([]byte, error) {
	for _, x := range []float64{t.Value, t.Sensitivity, t.U} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("budget term %q is not a number", t.Name)
		}
	}
	var dof *float64
	if t.finite() {
		dof = &t.Dof
	}
	return json.Marshal(struct {
		Name         string       `json:"name"`
		Value        float64      `json:"value"`
		Unit         string       `json:"unit"`
		Sensitivity  float64      `json:"sensitivity"`
		U            float64      `json:"u"`
		Contribution float64      `json:"contribution"`
		Dof          *float64     `json:"dof,omitempty"`
		Distribution Distribution `json:"distribution"`
	}{t.Name, t.Value, t.Unit, t.Sensitivity, t.U, t.Contribution(), dof, t.Distribution})
}

func (t Term) finite() bool { return t.Dof > 0 && !math.IsInf(t.Dof, 0) }

// Budget lists the independent inputs of a result.
type Budget []Term

// Combined is the combined standard uncertainty: contributions in quadrature
// (GUM 5.1.2).
func (b Budget) Combined() float64 {
	sum := 0.0
	for _, t := range b {
		sum += t.Contribution() * t.Contribution()
	}
	return math.Sqrt(sum)
}

// Dof is the effective number of degrees of freedom by the Welch–Satterthwaite
// formula (GUM G.4.1), not truncated; +Inf when every term has many.
func (b Budget) Dof() float64 {
	sum := 0.0
	for _, t := range b {
		if t.finite() {
			sum += math.Pow(t.Contribution(), 4) / t.Dof
		}
	}
	if sum == 0 {
		return math.Inf(1)
	}
	return math.Pow(b.Combined(), 4) / sum
}

// CoverageFactor is Student's t for the effective degrees of freedom,
// truncated to a whole number as GUM G.4.1 recommends, so that ± k·u holds the
// given share (0.99 for 99 %) of results.
func (b Budget) CoverageFactor(share float64) float64 {
	dof := b.Dof()
	if math.IsInf(dof, 1) || dof > 1e6 {
		return distuv.UnitNormal.Quantile((1 + share) / 2)
	}
	dof = max(1, math.Floor(dof))
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile((1 + share) / 2)
}

// Measured is the result with the uncertainty of the budget and a coverage of
// 95.45 % (k = 2 with many degrees of freedom).
func (b Budget) Measured(value float64, unit, method string) Measured {
	return Measured{
		Value: value, U: b.Combined(), K: b.CoverageFactor(coverageTwoSigma),
		Unit: unit, Method: method,
	}
}
