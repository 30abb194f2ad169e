package main

import (
	"encoding/json"
	"strings"
	"testing"

	"rigatino/annotate"
	"rigatino/mesh/register"
)

// Where the pose's error cannot be told, no document has a number for it (the
// project's rule for values: absent, with the reason, in print and JSON).
func TestUnknownErrorHasNoNumber(t *testing.T) {
	r := &register.Result{Verdict: annotate.VerdictAccepted, AppliedScale: 1, ErrorUnknown: "smooth error of the scans", NextStep: "measure check points"}
	doc := alignmentOf(r)
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	var words strings.Builder
	doc.print(&words)
	for _, in := range []string{string(text), words.String()} {
		if strings.Contains(in, "error_over_change_mm") || strings.Contains(in, "95") {
			t.Errorf("an error is stated: %s", in)
		}
		if !strings.Contains(in, "measure check points") {
			t.Errorf("no next step: %s", in)
		}
	}
	if !strings.Contains(string(text), `"error_unknown":"smooth error of the scans"`) || !strings.Contains(words.String(), "not stated") {
		t.Errorf("no reason: %s\n%s", text, words.String())
	}
}
