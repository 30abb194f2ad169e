package annotate

import (
	"fmt"
	"strings"
	"testing"
)

// What is proposed of one kind in several places of a scan is one open point with
// the number, the area of all (added up here by hand) and the largest; a single
// one stands as it is. Declining takes places away one by one.
func TestProposalsOfAKindAreOnePoint(t *testing.T) {
	key := UseKey{"received", "body", "whole"}
	scan := Scan{ID: strings.Repeat("a", 64), Triangles: 1000, Proposals: []Proposal{{ID: "bed", Kind: "bed", Substance: Support, AreaMM2: 900, Reason: "a flat sheet lies below"}}}
	for i := range 3 {
		scan.Proposals = append(scan.Proposals, Proposal{ID: fmt.Sprintf("closed_hole-%d", i+1), Kind: "closed_hole", Substance: Unassigned, AreaMM2: float64(10 * (i + 1)), Reason: fmt.Sprintf("%d triangles are smooth", 60+i)})
	}
	r := Record{Scans: []Scan{scan}, Stages: []Stage{{ID: "received", Kind: "received"}}, Uses: []Use{{Stage: "received", Piece: "body", Part: "whole", Scan: scan.ID}}}
	of := func() (out []OpenPoint) {
		for _, o := range r.OpenPoints() {
			if strings.HasPrefix(o.ID, "proposed_") {
				out = append(out, o)
			}
		}
		return out
	}
	got := of()
	if len(got) != 2 || !strings.HasSuffix(got[0].About, "/bed") || got[0].Reason != "a flat sheet lies below" {
		t.Fatalf("open points %+v", got)
	}
	for _, want := range []string{"3 places", "60 mm²", "closed_hole-3", "62 triangles"} {
		if !strings.Contains(got[1].Reason, want) {
			t.Errorf("%q does not say %q", got[1].Reason, want)
		}
	}
	if err := r.DeclineProposals(key, []string{"closed_hole-1", "closed_hole-3"}); err != nil {
		t.Fatal(err)
	}
	if got = of(); len(got) != 2 || !strings.HasSuffix(got[1].About, "/closed_hole-2") || got[1].Reason != "61 triangles are smooth" {
		t.Errorf("after two are declined: %+v", got)
	}
}
