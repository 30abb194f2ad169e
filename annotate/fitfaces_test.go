package annotate

import (
	"encoding/json"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Runs hold exactly the marked faces, in the fewest runs, and leave no scan.
func TestRunsOfFaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mask := rapid.SliceOfN(rapid.Bool(), 1, 60).Draw(t, "mask")
		runs := RunsOf(mask)
		back, err := MaskOf(runs, len(mask))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Contains(mask, true) {
			if back != nil {
				t.Fatal("marks out of nothing")
			}
			return
		}
		if !slices.Equal(back, mask) {
			t.Fatalf("%v became %v", mask, back)
		}
		for i := 1; i < len(runs); i++ {
			if runs[i-1][0]+runs[i-1][1] >= runs[i][0] {
				t.Fatalf("runs %v touch", runs)
			}
		}
	})
	for _, runs := range [][]FaceRun{{{5, 6}}, {{4294967295, 4294967295}}} {
		if _, err := MaskOf(runs, 10); err == nil {
			t.Errorf("runs %v on 10 faces: no error", runs)
		}
	}
}

// Members of a newer version survive, as everywhere in the record (DESIGN 6).
func TestFitFacesKeepNewerMembers(t *testing.T) {
	const text = `{"trust":[[3,4]],"never":[[9,1]],"why":"weathered"}`
	var f FitFaces
	if err := json.Unmarshal([]byte(text), &f); err != nil {
		t.Fatal(err)
	}
	if back, err := json.Marshal(f); err != nil || string(back) != text {
		t.Errorf("%s (%v)", back, err)
	}
}
