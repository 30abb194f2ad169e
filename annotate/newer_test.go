package annotate

import (
	"encoding/json"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Unknown members of a newer minor version survive a round trip (DESIGN 6).
func TestUnknownMembersSurvive(t *testing.T) {
	const newer = `{"specimen":{"title":"left humerus & <fragments>","storey":{"b":[1,2.50],"a":null}},` +
		`"regions":[{"id":"R1","number":1,"use":"fill/body/whole","layer":"substance","kind":"fill","certainty":"seen","gloss":"matt"}],` +
		`"work":[{"id":"W1","what":"filled","materials":[{"name":"putty","batch":"A-7"}]}],"weather":["dry"]}`
	var r Record
	if err := json.Unmarshal([]byte(newer), &r); err != nil {
		t.Fatal(err)
	}
	if got, want := r.Regions[0].Newer, Newer(`{"gloss":"matt"}`); got != want {
		t.Errorf("region keeps %s, want %s", got, want)
	}
	text, err := Encode(r)
	if err != nil {
		t.Fatal(err)
	}
	var got, want any
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(newer), &want); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("round trip changes members (-want +got):\n%s", diff)
	}
	var again Record
	if err := json.Unmarshal(text, &again); err != nil {
		t.Fatal(err)
	}
	second, err := Encode(again.Clone())
	if err != nil {
		t.Fatal(err)
	}
	if string(second) != string(text) {
		t.Errorf("second round trip gives other bytes:\n%s\n%s", text, second)
	}
}

func TestCloneSharesNothing(t *testing.T) {
	r := Record{
		Pieces:    []Piece{{ID: "body", PieceToSpecimen: &[16]float64{1}}},
		Lines:     []Line{{ID: "J1", Points: [][3]float64{{1, 2, 3}}}},
		HandOvers: []HandOver{{Number: 1, Files: map[string]string{"a": "b"}}},
	}
	c := r.Clone()
	c.Pieces[0].PieceToSpecimen[0] = 2
	c.Lines[0].Points[0][0] = 9
	c.HandOvers[0].Files["a"] = "c"
	if r.Pieces[0].PieceToSpecimen[0] != 1 || r.Lines[0].Points[0][0] != 1 || r.HandOvers[0].Files["a"] != "b" {
		t.Errorf("changing the copy changed the original: %+v", r)
	}
}
