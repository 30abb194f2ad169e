package scale

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Bar is one known length.
type Bar struct {
	Name        string
	LengthMM    float64 // as stated by whoever calibrated it
	LengthUMM   float64 // its standard uncertainty
	MeasuredMM  float64 // in the scan, before any factor
	MeasuredUMM float64 // its standard uncertainty, both ends together
	// HeldOut keeps the bar out of the fit: it only checks it.
	HeldOut bool
	// Along is the direction from end to end, of any length; zero where only the
	// measured length is known.
	Along r3.Vec
}

// Options of a fit.
type Options struct {
	// CommonUMM is the standard uncertainty of what the calibrations of all bars
	// have in common, as the zero of the one instrument they were measured with.
	CommonUMM float64
	// LengthsChecked says that a person looked at the lengths again, so that a
	// factor that looks like a wrong unit is believed.
	LengthsChecked bool
}

// Reading is what the fit says of one bar.
type Reading struct {
	ResidualMM float64 // stated length less the length with the factor
	// Predicted says that other bars were there to predict this one, without
	// which the rest is zero.
	Predicted      bool
	Z              float64 // length error over its standard uncertainty
	FactorWithout  float64 // fitted to the other bars
	LengthErrorMM  float64 // stated length less the one with FactorWithout
	LengthErrorUMM float64 // its standard uncertainty, from those stated
}

// Calibration is a scale with all that speaks for it.
type Calibration struct {
	Factor   float64 // multiplies lengths of the scan
	U        float64 // its standard uncertainty: the larger of the two below, with what is common
	Internal float64 // from the uncertainties as stated
	External float64 // from how the bars scatter; 0 with one bar
	Chi2     float64
	Birge    float64 // √(χ²/(n−1)); 0 with one bar
	Readings []Reading

	Verdict  string
	Reason   string
	NextStep string
	// Slip is set where the factor looks like a wrong unit and nobody said that
	// it is not: the factor is then not to be used.
	Slip *Slip
	// Worst is the bar without which the others agree best; of two the one with
	// the larger |Z|. -1 with fewer than two bars.
	Worst int
}

// RelativeU is the relative standard uncertainty of a length: areas have twice,
// volumes three times as much.
func (c *Calibration) RelativeU() float64 { return c.U / c.Factor }

// LargestLengthErrorMM is the largest length error of the bars, by amount; ok is
// false where no bar was predicted by others.
func (c *Calibration) LargestLengthErrorMM() (largest float64, ok bool) {
	for _, r := range c.Readings {
		if r.Predicted && (!ok || math.Abs(r.LengthErrorMM) > math.Abs(largest)) {
			largest, ok = r.LengthErrorMM, true
		}
	}
	return largest, ok
}

// mostBars bounds the work, which grows with the square of their number.
const mostBars = 1000

// Fit finds the scale from bars and gives the verdict. An error names the bar
// that no factor can be found with.
func Fit(bars []Bar, opt Options) (*Calibration, error) {
	if len(bars) > mostBars {
		return nil, fmt.Errorf("%d bars are given: more than %d are no scale bars of one scan", len(bars), mostBars)
	}
	var fitted []Bar
	for i, b := range bars {
		if err := b.check(); err != nil {
			return nil, fmt.Errorf("bar %s: %w", b.called(i), err)
		}
		if !b.HeldOut {
			fitted = append(fitted, b)
		}
	}
	if !(opt.CommonUMM >= 0) || math.IsInf(opt.CommonUMM, 0) {
		return nil, fmt.Errorf("the uncertainty that the bars have in common is %g: give it in mm, 0 or more", opt.CommonUMM)
	}
	c := &Calibration{Factor: 1, Worst: -1}
	if len(bars) == 0 {
		c.judge(bars, opt)
		return c, nil
	}
	if len(fitted) == 0 {
		return nil, fmt.Errorf("every bar is held out, and none is left to find the scale with: let one take part")
	}
	f := fit(fitted)
	c.Factor, c.Internal, c.U = f.factor, f.u(), f.u()
	for _, b := range fitted {
		r := b.LengthMM - c.Factor*b.MeasuredMM
		c.Chi2 += b.weight(c.Factor) * r * r
	}
	if n := len(fitted); n > 1 {
		c.Birge = math.Sqrt(c.Chi2 / float64(n-1))
		c.External = c.Birge * c.Internal
		c.U = math.Max(c.Internal, c.External)
	}
	c.U = math.Hypot(c.U, f.lever/f.information*opt.CommonUMM)
	for i, b := range bars {
		c.Readings = append(c.Readings, read(bars, i, f))
		c.Readings[i].ResidualMM = b.LengthMM - c.Factor*b.MeasuredMM
	}
	c.Worst = worst(bars, c.Readings)
	c.judge(bars, opt)
	return c, nil
}

// worst finds the bar to doubt if any: the one without which χ² of the others is
// least. |Z| alone would not do where a length is grossly wrong: such a bar draws
// the factor, on which weights depend, towards itself.
func worst(bars []Bar, readings []Reading) int {
	out := -1
	var least float64
	for i, r := range readings {
		if !r.Predicted {
			continue
		}
		left := -math.Abs(r.Z)
		if len(bars) > 2 {
			left = disagreement(slices.Delete(slices.Clone(bars), i, i+1))
		}
		if out < 0 || left < least {
			out, least = i, left
		}
	}
	return out
}

// disagreement is χ² of bars about their own factor, those held out included;
// infinite where none is left to find it with.
func disagreement(bars []Bar) float64 {
	fitted := slices.DeleteFunc(slices.Clone(bars), func(b Bar) bool { return b.HeldOut })
	if len(fitted) == 0 {
		return math.Inf(1)
	}
	f := fit(fitted)
	sum := 0.0
	for i, b := range bars {
		if b.HeldOut {
			sum += math.Pow(read(bars, i, f).Z, 2)
			continue
		}
		r := b.LengthMM - f.factor*b.MeasuredMM
		sum += b.weight(f.factor) * r * r
	}
	return sum
}

// read predicts one bar by the others; f is the fit of all that take part.
func read(bars []Bar, i int, f solved) Reading {
	others := f
	if !bars[i].HeldOut {
		var rest []Bar
		for k, b := range bars {
			if k != i && !b.HeldOut {
				rest = append(rest, b)
			}
		}
		if len(rest) == 0 {
			return Reading{}
		}
		others = fit(rest)
	}
	b := bars[i]
	out := Reading{Predicted: true, FactorWithout: others.factor, LengthErrorMM: b.LengthMM - others.factor*b.MeasuredMM}
	own := b.LengthUMM*b.LengthUMM + math.Pow(others.factor*b.MeasuredUMM, 2)
	out.LengthErrorUMM = math.Sqrt(own + math.Pow(b.MeasuredMM*others.u(), 2))
	out.Z = out.LengthErrorMM / out.LengthErrorUMM
	return out
}

// solved is a weighted fit.
type solved struct {
	factor      float64
	information float64 // Σ w m²
	lever       float64 // Σ w m: what a shift common to all stated lengths does
}

func (s solved) u() float64 { return 1 / math.Sqrt(s.information) }

// rounds is more than the weights ever need to stand still; two to four do.
const rounds = 30

// fit solves for the factor. Weights depend on it, so both are found in turn.
func fit(bars []Bar) solved {
	var s solved
	var lm, mm float64
	for _, b := range bars {
		lm += b.LengthMM * b.MeasuredMM
		mm += b.MeasuredMM * b.MeasuredMM
	}
	s.factor = lm / mm
	for range rounds {
		lm, s.information, s.lever = 0, 0, 0
		for _, b := range bars {
			w := b.weight(s.factor)
			lm += w * b.LengthMM * b.MeasuredMM
			s.information += w * b.MeasuredMM * b.MeasuredMM
			s.lever += w * b.MeasuredMM
		}
		before := s.factor
		s.factor = lm / s.information
		if math.Abs(s.factor-before) <= 1e-15*s.factor {
			break
		}
	}
	return s
}

func (b Bar) weight(factor float64) float64 {
	return 1 / (b.LengthUMM*b.LengthUMM + math.Pow(factor*b.MeasuredUMM, 2))
}

func (b Bar) called(i int) string {
	if b.Name != "" {
		return b.Name
	}
	return fmt.Sprintf("%d", i+1)
}

// The range in which lengths and uncertainties of bars are believed to be meant:
// within it no sum of weights runs over.
const (
	leastMM = 1e-6
	mostMM  = 1e9
)

func (b Bar) check() error {
	in := func(v float64) bool { return v >= leastMM && v <= mostMM }
	switch {
	case !in(b.LengthMM):
		return fmt.Errorf("its stated length is %g mm: give the length as calibrated, in mm", b.LengthMM)
	case !in(b.MeasuredMM):
		return fmt.Errorf("its length in the scan is %g mm: pick its two ends again", b.MeasuredMM)
	case !(b.LengthUMM >= 0 && b.LengthUMM <= mostMM) || !(b.MeasuredUMM >= 0 && b.MeasuredUMM <= mostMM):
		return fmt.Errorf("its uncertainties are %g and %g mm: give standard uncertainties in mm, 0 or more", b.LengthUMM, b.MeasuredUMM)
	case !in(math.Max(b.LengthUMM, b.MeasuredUMM)):
		return fmt.Errorf("neither its stated nor its measured length has an uncertainty: no length is known exactly, say how well one of them is")
	}
	return nil
}
