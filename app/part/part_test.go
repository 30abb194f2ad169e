package part

import (
	"slices"
	"testing"
)

// The axis has a tick at every step up to the end of either side, and none where
// the pair can show nothing. Source: arithmetic.
func TestTicksOfTheAxis(t *testing.T) {
	words := func(h *Histogram) (out []string) {
		for _, k := range h.Ticks() {
			sign := ""
			if k.MM < 0 {
				sign = "-"
			}
			out = append(out, sign+k.Words)
		}
		return out
	}
	if got, want := words(&Histogram{SmallestMM: 0.25, FullMM: 2, StepMM: 1}), []string{"-2\u00a0mm", "-1\u00a0mm", "1\u00a0mm", "2\u00a0mm"}; !slices.Equal(got, want) {
		t.Errorf("ticks %q, wanted %q", got, want)
	}
	if got, want := words(&Histogram{SmallestMM: 0.033, FullMM: 0.04, StepMM: 0.01}), []string{"-0.04\u00a0mm", "0.04\u00a0mm"}; !slices.Equal(got, want) {
		t.Errorf("ticks %q, wanted %q", got, want)
	}
	if got := words(&Histogram{SmallestMM: 0.1, FullMM: 1}); got != nil {
		t.Errorf("without a step: %q", got)
	}
}

// A mark directly behind bold words stays with them, also where the words hold
// no-break spaces, which do not part words. Source: the rule of runs.
func TestTouchingAfterNoBreakSpaces(t *testing.T) {
	text := "**9\u00a0±\u00a01\u00a0mm².** Marked **fill**, on a part"
	parts := runs(text, false)
	glued := touching(text)
	for i, p := range parts {
		if want := p.text == "fill"; glued[i] != want {
			t.Errorf("%q is glued to the next: %v", p.text, glued[i])
		}
	}
}
