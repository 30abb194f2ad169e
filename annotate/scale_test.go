package annotate

import (
	"strings"
	"testing"
)

// One sentence says what a scale is worth. Source of the factors: areas go with
// the square and volumes with the cube of a length, so that relative
// uncertainties are two and three times as large (GUM 5.1.6); k = 2.
func TestWordsOfScale(t *testing.T) {
	bars := func(n int) []ScaleBar { return make([]ScaleBar, n) }
	for _, row := range []struct {
		scale Scale
		want  string
	}{
		{Scale{}, "as stated: no scale bar counts, so no value carries a term for scale"},
		{Scale{Verdict: ScaleAsStated, Factor: 1}, "as stated: no scale bar counts, so no value carries a term for scale"},
		{Scale{Verdict: ScaleVerified, RelativeU: 1.7886e-4, Bars: bars(4)}, "verified, by 4 scale bars: lengths are known to ±0.036 %, areas to ±0.072 %, volumes to ±0.11 % (k = 2)"},
		{Scale{Verdict: ScaleUnverified, RelativeU: 0.01, Bars: bars(1)}, "not verified, by one scale bar: lengths are known to ±2.0 %, areas to ±4.0 %, volumes to ±6.0 % (k = 2)"},
		{Scale{Verdict: ScaleDifferenceOnly, RelativeU: 5e-4, Bars: bars(2)}, "difference only, by two scale bars: lengths are known to ±0.10 %, areas to ±0.20 %, volumes to ±0.30 % (k = 2)"},
		{Scale{Verdict: ScaleDifferenceOnly, RelativeU: 0.05}, "difference only, by laying the scan on another one: lengths are known to ±10 %, areas to ±20 %, volumes to ±30 % (k = 2)"},
	} {
		if got := strings.ReplaceAll(row.scale.Words(), "\u00a0", " "); got != row.want {
			t.Errorf("%+v:\n got %s\nwant %s", row.scale, got, row.want)
		}
	}
}

// Every verdict but verified leaves an open point, and says the way out.
func TestPointsOfScale(t *testing.T) {
	for _, row := range []struct {
		scale Scale
		want  string
	}{
		{Scale{Verdict: ScaleAsStated}, "scale_as_stated"},
		{Scale{Verdict: ScaleAsStated, Bars: make([]ScaleBar, 1)}, "unit_slip"},
		{Scale{Verdict: ScaleUnverified, Bars: make([]ScaleBar, 1)}, "scale_unverified"},
		{Scale{Verdict: ScaleUnverified, Bars: make([]ScaleBar, 3)}, "scale_unverified"},
		{Scale{Verdict: ScaleDifferenceOnly}, "scale_difference_only"},
		{Scale{Verdict: ScaleDifferenceOnly, Bars: make([]ScaleBar, 2)}, "scale_difference_only"},
		{Scale{Verdict: ScaleVerified}, ""},
	} {
		var p points
		Use{Stage: "fill", Piece: "body", Part: "whole", Scale: row.scale}.checkScale(&p)
		var ids []string
		for _, x := range p.list {
			ids = append(ids, strings.TrimSuffix(x.ID, ":fill/body/whole"))
			if x.Reason == "" || x.WayOut == "" {
				t.Errorf("%s says nothing", x.ID)
			}
		}
		if got := strings.Join(ids, " "); got != row.want {
			t.Errorf("%+v: %q, want %q", row.scale, got, row.want)
		}
	}
}
