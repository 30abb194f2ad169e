package annotate

import (
	"strings"
	"testing"
)

// specimen is a record with a body and a fragment that is joined in.
func specimen(t *testing.T) *Record {
	t.Helper()
	r := &Record{}
	merge(t, r, `{
		"specimen": {"catalogue_number": "TVM 2041", "title": "left humerus, plesiosaur"},
		"people": [{"id": "P1", "name": "A. Preparator"}],
		"stages": [
			{"kind": "received", "date": "2024-03-02"},
			{"kind": "join", "date": "2024-03-16"},
			{"kind": "mech_coarse", "date": "2024-03-09"},
			{"kind": "fill", "date": "2024-03-20"},
			{"kind": "fill", "date": "../1932"}],
		"pieces": [{"id": "body"}, {"id": "fragment", "joined_into": "body", "joined_at": "join"}]}`)
	for _, u := range []Use{
		{Stage: "received", Piece: "body", Part: "whole", Scan: "a"},
		{Stage: "mech_coarse", Piece: "body", Part: "whole", Scan: "b"},
		{Stage: "mech_coarse", Piece: "fragment", Part: "whole", Scan: "c"},
		{Stage: "fill", Piece: "body", Part: "bottom", Scan: "e"},
		{Stage: "fill", Piece: "body", Part: "top", Scan: "d"},
	} {
		u.Scale = Scale{Verdict: ScaleAsStated, Factor: 1}
		r.Scans = append(r.Scans, Scan{ID: u.Scan})
		r.Uses = append(r.Uses, u)
	}
	return r
}

func merge(t *testing.T, r *Record, file string) {
	t.Helper()
	if err := r.Merge([]byte(file)); err != nil {
		t.Fatal(err)
	}
}

func stageIDs(r *Record) string {
	var ids []string
	for _, s := range r.Stages {
		ids = append(ids, s.ID)
	}
	return strings.Join(ids, " ")
}

// Stages stand in the order of their dates, an open date by its end, and get
// their kind or kind-2 as id (DESIGN 2).
func TestStages(t *testing.T) {
	r := specimen(t)
	if got, want := stageIDs(r), "fill-2 received mech_coarse join fill"; got != want {
		t.Errorf("stages are %s, want %s", got, want)
	}
	for _, c := range []struct{ kind, date, id string }{
		{"fill", "2024-03-20", "fill"},
		{"fill", "../1932", "fill-2"},
		{"fill-2", "", "fill-2"},
		{"fill-2", "../1932", "fill-2"},
		{"fill", "2024-04-01", "fill-3"},
		{"retouch", "", "retouch"},
	} {
		s, err := r.PutStage(c.kind, c.date)
		if err != nil || s.ID != c.id {
			t.Errorf("%s on %q is stage %q (%v), want %q", c.kind, c.date, s.ID, err, c.id)
		}
	}
	for _, c := range []struct{ kind, date string }{{"cleaned", "2024"}, {"fill", "soon"}, {"fill-2", "2024-09-09"}} {
		if s, err := r.PutStage(c.kind, c.date); err == nil {
			t.Errorf("%s on %q was taken as stage %q", c.kind, c.date, s.ID)
		}
	}
	if got, want := stageIDs(r), "fill-2 received mech_coarse join fill fill-3 retouch"; got != want {
		t.Errorf("stages are %s, want %s", got, want)
	}
}

func TestPiecesPresent(t *testing.T) {
	r := specimen(t)
	for stage, want := range map[string]string{"received": "body fragment", "mech_coarse": "body fragment", "join": "body", "fill": "body"} {
		var got []string
		for _, p := range r.PresentAt(stage) {
			got = append(got, p.ID)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("at %s: %v, want %s", stage, got, want)
		}
	}
	merge(t, r, `{"pieces": [{"id": "fragment", "since": "mech_coarse"}]}`)
	if n := len(r.PresentAt("received")); n != 1 {
		t.Errorf("a piece since mech_coarse is among %d pieces when received", n)
	}
}

func TestFindUse(t *testing.T) {
	r := specimen(t)
	for _, c := range []struct{ stage, piece, part, want string }{
		{"received", "", "", "received/body/whole"},
		{"mech_coarse", "fragment", "", "mech_coarse/fragment/whole"},
		{"fill", "", "top", "fill/body/top"},
		{"fill", "", "", "name the part, one of top, bottom"},
		{"fill", "", "whole", "has no part"},
		{"join", "", "", "has no scan at stage join"},
		{"retouch", "", "", `stage "retouch" does not exist: the project has fill-2, received, mech_coarse, join, fill`},
	} {
		u, err := r.FindUse(c.stage, c.piece, c.part)
		got := u.Key().String()
		if err != nil {
			got = err.Error()
		}
		if !strings.Contains(got, c.want) {
			t.Errorf("%v: %s, want %s", c, got, c.want)
		}
	}
	var chain []string
	for _, u := range r.Chain(Body) {
		chain = append(chain, u.Key().String())
	}
	if got, want := strings.Join(chain, " "), "received/body/whole mech_coarse/body/whole fill/body/top fill/body/bottom"; got != want {
		t.Errorf("chain %s, want %s", got, want)
	}
}

// Entries are merged by id; members that are not given stay, null takes one
// away (RFC 7396).
func TestMergeById(t *testing.T) {
	r := specimen(t)
	merge(t, r, `{"schema": 1, "people": [{"id": "P1", "initials": "AP"}, {"name": "B. Helper"}],
		"specimen": {"side": "left", "title": null},
		"work": [{"what": "filled", "stage": "fill", "who": "P1", "materials": [{"name": "putty", "amount_g": 12}]}],
		"regions": [{"use": "fill/body/top", "layer": "substance", "kind": "fill", "work": "W1"},
		            {"use": "fill/body/top", "layer": "applied", "kind": "retouch"},
		            {"use": "fill/body/bottom", "layer": "substance", "kind": "original"}]}`)
	if p := r.People[0]; p.Name != "A. Preparator" || p.Initials != "AP" {
		t.Errorf("P1 became %+v", p)
	}
	if p := r.People[1]; p.ID != "P2" || p.Name != "B. Helper" {
		t.Errorf("the new person is %+v", p)
	}
	if s := r.Specimen; s.Side != "left" || s.Title != "" || s.CatalogueNumber != "TVM 2041" {
		t.Errorf("specimen became %+v", s)
	}
	var got []string
	for _, g := range r.Regions {
		got = append(got, g.ID, g.Use, string(rune('0'+g.Number)))
	}
	if strings.Join(got, " ") != "R1 fill/body/top 1 R2 fill/body/top 2 R3 fill/body/bottom 1" {
		t.Errorf("regions %v", got)
	}
	merge(t, r, `{"regions": [{"id": "R1", "material": "acrylic putty", "kind": "reconstruction", "basis": "mirrored"}]}`)
	if g := r.Regions[0]; g.Material != "acrylic putty" || g.Kind != Reconstruction || g.Work != "W1" || g.Number != 1 {
		t.Errorf("R1 became %+v", g)
	}
}

func TestMergeRefuses(t *testing.T) {
	r := specimen(t)
	merge(t, r, `{"regions": [{"use": "fill/body/top", "layer": "substance", "kind": "fill"}]}`)
	before, err := Encode(*r)
	if err != nil {
		t.Fatal(err)
	}
	for file, want := range map[string]string{
		`{"people": [`:                                                                                          "line 1",
		`{"people": {"id": "P1"}}`:                                                                              "not a list",
		`{"persons": []}`:                                                                                       `member "persons" does not exist`,
		`{"people": [{"id": "P1", "nmae": "x"}]}`:                                                               `{"nmae":"x"} do not exist`,
		`{"work": [{"what": "x", "materials": [{"nme": "y"}]}]}`:                                                `{"nme":"y"} do not exist`,
		`{"work": [{"what": "x", "who": "P9"}]}`:                                                                `person "P9" does not exist`,
		`{"work": [{"what": "x", "when": "last week"}]}`:                                                        "not readable",
		`{"stages": [{"kind": "polish"}]}`:                                                                      `stage "polish" does not exist: use one of received`,
		`{"stages": [{"id": "fill", "kind": "join"}]}`:                                                          "kind of a stage cannot change",
		`{"pieces": [{"id": "chip", "joined_into": "body"}]}`:                                                   "both joined_into and joined_at",
		`{"pieces": [{"label": "chip"}]}`:                                                                       "needs an id",
		`{"regions": [{"use": "fill/body/top", "layer": "paint", "kind": "x"}]}`:                                `layer "paint"`,
		`{"regions": [{"id": "R1", "use": "received/body/whole"}]}`:                                             "belong to its faces",
		`{"regions": [{"id": "R1", "kind": "filler"}]}`:                                                         `substance "filler" does not exist: use one of original`,
		`{"regions": [{"id": "R1", "certainty": "sure"}]}`:                                                      `certainty "sure"`,
		`{"regions": [{"id": "R1", "basis": "mirrored"}]}`:                                                      "only a reconstruction has a basis",
		`{"regions": [{"id": "R9", "kind": "fill"}]}`:                                                           `region "R9" does not exist`,
		`{"scans": [{"id": "x"}]}`:                                                                              "made by the program",
		`{"uses": [{"stage": "fill", "piece": "body", "part": "top", "scale": {"verdict": "verified"}}]}`:       "only alignment.accepted_by",
		`{"lines": [{"use": "fill/body/top", "kind": "join", "points_mm": [[0,0,0]]}]}`:                         "at least two points",
		`{"lines": [{"use": "fill/body/top", "kind": "pin", "fit": "close", "points_mm": [[0,0,0],[1,1,1]]}]}`:  "only a join has a fit",
		`{"changes": [{"from": "fill/body/top", "to": "fill/body/bottom", "kind": "removed", "what": "fill"}]}`: `what removed "fill" does not exist`,
	} {
		if err := r.Merge([]byte(file)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %s", file, err, want)
		}
	}
	after, err := Encode(*r)
	if err != nil {
		t.Fatal(err)
	}
	if string(after) != string(before) {
		t.Errorf("what was refused changed the record:\n%s\n%s", before, after)
	}
}

// Nobody can raise a verdict by writing it; that somebody looked at it is kept.
func TestAcceptedBy(t *testing.T) {
	r := specimen(t)
	r.Uses[1].Alignment = &Alignment{To: "received/body/whole", Verdict: VerdictAmbiguous}
	const use = `{"uses": [{"stage": "mech_coarse", "piece": "body", "part": "whole", "alignment": {`
	merge(t, r, use+`"accepted_by": "P1"}}]}`)
	if a := r.Uses[1].Alignment; a.AcceptedBy != "P1" || a.Verdict != VerdictAmbiguous {
		t.Errorf("alignment became %+v", a)
	}
	if err := r.Merge([]byte(use + `"verdict": "accepted"}}]}`)); err == nil {
		t.Error("a verdict was written by hand")
	}
}

func open(r *Record) map[string]string {
	out := map[string]string{}
	for _, p := range r.OpenPoints() {
		out[p.ID] = p.Severity
	}
	return out
}

// Rules of DESIGN 2 and 4 and the warnings of common practice (no source): a
// covering stage wants a scan of just before.
func TestOpenPoints(t *testing.T) {
	r := specimen(t)
	merge(t, r, `{"regions": [
		{"use": "fill/body/top", "layer": "substance", "kind": "reconstruction"},
		{"use": "fill/body/top", "layer": "substance", "kind": "uncertain"},
		{"use": "fill/body/top", "layer": "substance", "kind": "fill", "material": "plaster"}],
		"lines": [{"use": "fill/body/top", "kind": "join", "points_mm": [[0,0,0],[1,1,1]]}]}`)
	r.Uses[1].Alignment = &Alignment{Verdict: VerdictAccepted}
	r.Uses[4].Alignment = &Alignment{Verdict: VerdictRefused, Reason: "too little overlap"}
	got := open(r)
	for id, severity := range map[string]string{
		"no_scan_before_covering:fill-2/body":    SeverityNote,    // long ago
		"no_scan_before_covering:fill/body":      SeverityWarning, // joined in between, not scanned
		"piece_not_scanned:received/fragment":    SeverityWarning,
		"scale_as_stated:received/body/whole":    SeverityNote,
		"scale_as_stated:mech_coarse/body/whole": SeverityNote,
		"not_aligned:fill/body/top":              SeverityWarning,
		"not_aligned:fill/body/bottom":           SeverityWarning,
		"no_basis:R1":                            SeverityWarning,
		"no_material:R1":                         SeverityNote,
		"no_reason:R2":                           SeverityWarning,
		"no_fit:J1":                              SeverityNote,
	} {
		if got[id] != severity {
			t.Errorf("%s is %q, want %q", id, got[id], severity)
		}
	}
	for _, id := range []string{
		"no_scan_before_covering:join/body", "no_scan_before_covering:join/fragment", // scanned at mech_coarse
		"not_aligned:received/body/whole", "not_aligned:mech_coarse/body/whole", "no_material:R3", "piece_not_scanned:join/body",
	} {
		if s, is := got[id]; is {
			t.Errorf("%s is %q, want none", id, s)
		}
	}
	r.Regions[0].Kind = "invented"
	r.Scans = r.Scans[1:]
	got = open(r)
	if got["unreadable_entry:R1"] != SeverityWarning || got["no_such_scan:received/body/whole"] != SeverityRefused {
		t.Errorf("words and ids that lead nowhere: %v", got)
	}
	for _, p := range r.OpenPoints() {
		if p.Reason == "" || p.WayOut == "" {
			t.Errorf("%s lacks a reason or a way out", p.ID)
		}
	}
}

// Which conditions may lie on what (DESIGN 2).
func TestMayLieOn(t *testing.T) {
	for _, condition := range []string{"tool_mark", "surface_lowered", "over_prepared", "damage_ancient", "deformed"} {
		for substance, want := range map[string]bool{Original: true, OriginalAbraded: true, Fill: false, Matrix: false, Unassigned: false, Uncertain: false} {
			if MayLieOn(condition, substance) != want {
				t.Errorf("%s on %s: %v", condition, substance, !want)
			}
		}
	}
	for _, condition := range []string{"crack", "flaking", "decay", "damage_handling", "sampled"} {
		if !MayLieOn(condition, Fill) || !MayLieOn(condition, Unassigned) {
			t.Errorf("%s may lie on anything", condition)
		}
	}
}

// A region is superseded, never deleted from the past.
func TestSupersede(t *testing.T) {
	r := specimen(t)
	merge(t, r, `{"regions": [{"use": "fill/body/top", "layer": "substance", "kind": "fill", "since": "mech_coarse"}]}`)
	if err := r.Supersede("R1", "fill"); err != nil {
		t.Fatal(err)
	}
	for stage, want := range map[string]bool{"received": false, "mech_coarse": true, "join": true, "fill": false} {
		if got := r.HoldsAt(r.Regions[0], stage); got != want {
			t.Errorf("R1 holds at %s: %v", stage, got)
		}
	}
	for _, c := range [][2]string{{"R1", "received"}, {"R1", "polish"}, {"R2", "fill"}} {
		if err := r.Supersede(c[0], c[1]); err == nil {
			t.Errorf("%s ended at %s", c[0], c[1])
		}
	}
}

func TestParseUseKey(t *testing.T) {
	if k, err := ParseUseKey("fill-2/body/top"); err != nil || k != (UseKey{"fill-2", "body", "top"}) {
		t.Errorf("%v %v", k, err)
	}
	for _, bad := range []string{"", "fill", "fill/body", "fill//top", "a/b/c/d"} {
		if _, err := ParseUseKey(bad); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}
