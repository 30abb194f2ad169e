package main

import (
	"strings"
	"testing"

	"rigatino/annotate"
	"rigatino/mesh/register"
)

// A scan in inches that is read as millimetres is 25.4 times too small (the
// international inch): where the two do not fit, the reason says so and the next
// step is to look at the units. A close-up a quarter of the size says nothing, nor
// does a pair that fits.
func TestUnlikeSizes(t *testing.T) {
	for _, row := range []struct {
		verdict       string
		before, after float64
		says          bool
	}{
		{annotate.VerdictRefused, 254, 10, true},
		{annotate.VerdictRefused, 10, 254, true},
		{annotate.VerdictAmbiguous, 254, 10, true},
		{annotate.VerdictRefused, 200, 50, false},
		{annotate.VerdictAccepted, 254, 10, false},
	} {
		r := &register.Result{Verdict: row.verdict, Reason: "nothing fits", NextStep: "pick pairs"}
		sayUnlikeSize(r, row.before, row.after)
		says := strings.Contains(r.Reason, "25 times as large") && strings.Contains(r.NextStep, "--unit-before")
		if says != row.says || !strings.HasSuffix(r.Reason, "nothing fits") || !strings.HasSuffix(r.NextStep, "pick pairs") {
			t.Errorf("%+v: %q, %q", row, r.Reason, r.NextStep)
		}
	}
}
