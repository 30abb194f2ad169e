package annotate

import (
	"fmt"
	"math"
	"strings"

	"rigatino/annotate/terms"
)

// Calibrated returns the factor that lengths of the scan are multiplied by, 1
// where none is given.
func (s Scale) Calibrated() float64 {
	if s.Factor == 0 {
		return 1
	}
	return s.Factor
}

// MeasuredMM is the length of a bar in the scan, before any factor.
func (b ScaleBar) MeasuredMM() float64 {
	if b.From == nil || b.To == nil {
		return b.Measured
	}
	sum := 0.0
	for i := range 3 {
		sum += (b.To[i] - b.From[i]) * (b.To[i] - b.From[i])
	}
	return math.Sqrt(sum)
}

// Words says what the scale is worth, in one sentence without its stop: the
// verdict, what it rests on, and how well lengths, areas and volumes are known by
// it (one, two and three times the relative uncertainty of a length, k = 2).
// Window, commands, report and model all say it so.
func (s Scale) Words() string {
	verdict := s.Verdict
	if verdict == "" {
		verdict = ScaleAsStated
	}
	label := strings.ToLower(terms.Label(terms.ScaleWord, verdict))
	if verdict == ScaleAsStated {
		return label + ": no scale bar counts, so no value carries a term for scale"
	}
	by := "by laying the scan on another one"
	switch n := len(s.Bars); n {
	case 0:
	case 1:
		by = "by one scale bar"
	case 2:
		by = "by two scale bars"
	default:
		by = fmt.Sprintf("by %d scale bars", n)
	}
	return fmt.Sprintf("%s, %s: lengths are known to ±%s, areas to ±%s, volumes to ±%s (k\u00a0=\u00a02)",
		label, by, percent(2*s.RelativeU), percent(4*s.RelativeU), percent(6*s.RelativeU))
}

// percent prints a share to two digits.
func percent(share float64) string {
	decimals := 2
	if share > 0 {
		decimals = max(0, 1-int(math.Floor(math.Log10(100*share))))
	}
	return fmt.Sprintf("%.*f\u00a0%%", decimals, 100*share)
}

// checkScale finds what a scale leaves doubtful.
func (u Use) checkScale(p *points) {
	key := u.Key().String()
	switch u.Scale.Verdict {
	case ScaleAsStated:
		if len(u.Scale.Bars) > 0 {
			p.add("unit_slip", SeverityWarning, key,
				fmt.Sprintf("the scale bars of %s do not count: with them its size changes by a factor that looks like a wrong unit", key),
				"write the lengths of the bars in mm, or add the scan again in its right unit; if both are right, say that the lengths were checked")
			return
		}
		p.add("scale_as_stated", SeverityNote, key,
			fmt.Sprintf("the scale of %s is as the scan states it: no bar was measured, so no value carries a term for it", key),
			"measure scale bars in the scan, or scan again with bars beside the specimen")
	case ScaleUnverified:
		reason, wayOut := fmt.Sprintf("the scale of %s rests on one bar, and nothing checks it", key), "measure a second and a third bar"
		if len(u.Scale.Bars) > 1 {
			reason, wayOut = fmt.Sprintf("the scale bars of %s do not agree", key), "look at the bar that is off, its length and its ends, or take it away"
		}
		p.add("scale_unverified", SeverityWarning, key, reason, wayOut)
	case ScaleDifferenceOnly:
		reason, wayOut := fmt.Sprintf("the scale of %s rests on two bars, and only their difference checks them", key), "measure a third bar"
		if len(u.Scale.Bars) == 0 {
			reason, wayOut = fmt.Sprintf("the scale of %s was found by laying it on another scan: it is as good as that one's at most", key), "measure scale bars in the scan"
		}
		p.add("scale_difference_only", SeverityNote, key, reason, wayOut)
	}
}
