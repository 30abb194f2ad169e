package scale

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Verdicts on a scale, by the words of the record.
const (
	AsStated       = "as_stated"       // no bar counts
	Unverified     = "unverified"      // one bar, or bars that do not agree
	DifferenceOnly = "difference_only" // two bars
	Verified       = "verified"        // three or more, each predicted by the others
)

// limitZ is how many standard uncertainties a bar may be off what the others
// say before it is doubted (common practice, no source).
const limitZ = 3

// judge gives the verdict. Nothing is left out silently: a bar that does not fit
// stays in and is named.
func (c *Calibration) judge(bars []Bar, opt Options) {
	if len(bars) == 0 {
		c.Verdict, c.Reason, c.NextStep = AsStated, "no scale bar was measured", "pick both ends of a scale bar in the scan"
		return
	}
	if s := slipOf(c.Factor); s != nil && !opt.LengthsChecked {
		c.Verdict, c.Slip = AsStated, s
		c.Reason = fmt.Sprintf("%s, so that the factor %.6g is not used", s.Words, c.Factor)
		c.NextStep = "write the lengths of the bars in mm, or add the scan again in its right unit; if both are right, say that the lengths were checked"
		return
	}
	if w := c.Worst; c.doubted() {
		c.Verdict = Unverified
		if r := c.Readings[w]; len(bars) == 2 {
			c.Reason = fmt.Sprintf("the two bars disagree by %.3g\u00a0mm, %.1f times what their uncertainties allow for", math.Abs(r.LengthErrorMM), math.Abs(r.Z))
			c.NextStep = "pick their ends again and look at their lengths, or measure a third bar"
		} else {
			c.Reason = fmt.Sprintf("bar %s is %.3g\u00a0mm off what the others say, %.1f times its standard uncertainty", bars[w].called(w), math.Abs(r.LengthErrorMM), math.Abs(r.Z))
			c.NextStep = fmt.Sprintf("look at the length of bar %s and pick its ends again, or take it away", bars[w].called(w))
		}
		return
	}
	switch len(bars) {
	case 1:
		c.Verdict, c.Reason, c.NextStep = Unverified, "one bar was measured and nothing checks it", "measure a second bar, in another direction"
	case 2:
		c.Verdict, c.Reason, c.NextStep = DifferenceOnly, "two bars were measured and only their difference checks them", "measure a third bar, so that each can be held out in turn"
	default:
		c.Verdict = Verified
		largest, _ := c.LargestLengthErrorMM()
		c.Reason = fmt.Sprintf("each of %d bars is as long as the others say; the largest length error of a bar held out is %.3g\u00a0mm", len(bars), math.Abs(largest))
	}
}

// doubted says whether any bar is further off what the others say than the limit.
func (c *Calibration) doubted() bool {
	for _, r := range c.Readings {
		if r.Predicted && math.Abs(r.Z) > limitZ {
			return true
		}
	}
	return false
}

// Slip is a factor that looks like a wrong unit.
type Slip struct {
	Ratio float64 // that the factor is near
	Words string  // what may have happened
}

// slipWithin is how near to a ratio of units a factor is doubted.
const slipWithin = 0.01

var slips = []struct {
	ratio    float64
	from, as string
}{
	{1000, "metres", "millimetres"}, {100, "metres", "centimetres"}, {10, "centimetres", "millimetres"},
	{25.4, "inches", "millimetres"}, {2.54, "inches", "centimetres"},
}

// slipOf says whether a factor is that of two units taken for one another.
func slipOf(factor float64) *Slip {
	near := func(ratio float64) bool { return math.Abs(factor/ratio-1) <= slipWithin }
	for _, s := range slips {
		if near(s.ratio) {
			return &Slip{s.ratio, fmt.Sprintf("the bars make the scan %.4g times larger, as if %s had been taken for %s: that looks like a wrong unit", s.ratio, s.from, s.as)}
		}
		if near(1 / s.ratio) {
			return &Slip{1 / s.ratio, fmt.Sprintf("the bars make the scan %.4g times smaller, as if %s had been taken for %s, or the lengths of the bars had been written in %s: that looks like a wrong unit", s.ratio, s.as, s.from, s.from)}
		}
	}
	return nil
}

// What good bars are like; see the package comment for the sources.
const (
	longEnough = 2.0 / 3 // of the space diagonal
	goodUMM    = 0.1     // standard uncertainty of a stated length
	oneWayDeg  = 30      // bars within this of one another say nothing of the other directions
)

// Advice says what would make the bars better witnesses. diagonalMM is the
// longest measure of the scan, by its bounding box, before any factor. None of
// it changes the verdict.
func Advice(bars []Bar, diagonalMM float64) []mesh.Finding {
	var out []mesh.Finding
	note := func(id, reason, wayOut string) {
		out = append(out, mesh.Finding{ID: id, Severity: mesh.Note, Reason: reason, WayOut: wayOut})
	}
	if len(bars) == 0 {
		return nil
	}
	longest, worst := 0.0, 0
	var ways []r3.Vec
	for i, b := range bars {
		longest = math.Max(longest, b.MeasuredMM)
		if b.LengthUMM > bars[worst].LengthUMM {
			worst = i
		}
		if l := r3.Norm(b.Along); l > 0 {
			ways = append(ways, r3.Scale(1/l, b.Along))
		}
	}
	if longest < longEnough*diagonalMM {
		note("bars_short", fmt.Sprintf("the longest bar is %.0f\u00a0%% of the scan's longest measure: an error in it grows as many times as it is shorter", 100*longest/diagonalMM),
			"next time lay a bar beside the specimen that is about as long as it")
	}
	if bars[worst].LengthUMM > goodUMM {
		note("bar_uncertain", fmt.Sprintf("the length of bar %s is known to %.2g\u00a0mm only; bars for scanning are calibrated to %g\u00a0mm or better", bars[worst].called(worst), bars[worst].LengthUMM, goodUMM),
			"use bars with a certificate")
	}
	if oneWay(ways) {
		note("bars_one_way", "all bars point about the same way: a scan that is stretched or bent across them would not show it",
			"measure a bar in another direction")
	}
	return out
}

// oneWay says whether two or more directions all lie close to one another.
func oneWay(ways []r3.Vec) bool {
	for i := range ways {
		for k := range i {
			if math.Abs(r3.Dot(ways[i], ways[k])) < math.Cos(oneWayDeg*math.Pi/180) {
				return false
			}
		}
	}
	return len(ways) > 1
}
