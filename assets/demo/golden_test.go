package demo

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"testing"
)

// The truth beside the code is that of the formulas. The changes, integrated
// with few nodes, suffice to find a formula that was altered and not integrated
// again; with RIGATINO_PROVE=1 all is integrated as finely as it was, and with
// RIGATINO_WRITE_TRUTH=1 the file is written anew.
func TestTruthFile(t *testing.T) {
	s := newSpecimen()
	ctx := context.Background()
	if os.Getenv("RIGATINO_WRITE_TRUTH") != "" {
		truth, err := s.newTruth(ctx)
		if err != nil {
			t.Fatal(err)
		}
		data, err := json.MarshalIndent(truth, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile("truth.json", append(data, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
		truthFile = bytes.Clone(data)
	}
	known, err := Known()
	if err != nil {
		t.Fatal(err)
	}
	if known.Disagreement == 0 || known.Disagreement > 1e-4 {
		t.Errorf("the truth is known to %.1g of itself only", known.Disagreement)
	}
	again, tolerance := &Truth{}, 1e-3
	if os.Getenv("RIGATINO_PROVE") == "" {
		s.integrateChanges(again, fineness{8, 120})
		known.Stages, known.Joins = nil, nil
	} else if again, err = s.integrate(ctx, usual); err != nil {
		t.Fatal(err)
	} else {
		tolerance = 1e-9
	}
	a, b := known.numbers(), again.numbers()
	if len(a) != len(b) || len(a) == 0 {
		t.Fatalf("the file holds %d numbers, the formulas give %d", len(a), len(b))
	}
	for i := range a {
		if math.Abs(a[i]-b[i]) > tolerance*math.Abs(a[i]) {
			t.Errorf("number %d is %.9g in the file and %.9g now", i, a[i], b[i])
		}
	}
}
