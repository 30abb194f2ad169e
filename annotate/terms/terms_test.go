package terms

import (
	"strings"
	"testing"
)

// The words that the record, the commands and the files use, list by list:
// the vocabulary the program was designed with.
func TestVocabularyIsWhole(t *testing.T) {
	for list, want := range map[List]string{
		Substance:   "original original_abraded matrix fill reconstruction support uncertain unassigned",
		Applied:     "consolidant adhesive_residue retouch varnish_or_barrier mould_residue label",
		Condition:   "tool_mark surface_lowered over_prepared damage_ancient deformed crack flaking decay damage_handling sampled",
		Line:        "join contact_lost pin",
		Fit:         "close part placed",
		Basis:       "mirrored cast_same cast_other modelled_guided modelled_free real_other",
		Certainty:   "seen inferred reported assumed",
		Method:      "visible raking microscope uv xray ct solvent_test",
		StageKind:   "received condition mech_coarse mech_fine air_abrasive chemical consolidate join fill texture retouch mould sample damage mount condition_check",
		Part:        "whole top bottom close_up",
		WhatRemoved: "matrix jacket old_fill adhesive fossil moved_piece unknown",
		WhatAdded:   "fill reconstruction adhesive moved_piece unknown",
		ScaleWord:   "as_stated unverified difference_only verified",
		AlignWord:   "accepted ambiguous refused",
		FitFaces:    "trust never break",
		Reliance:    "nothing_against doubtful does_not_stand not_examined",
		Severity:    "note warning refused",
	} {
		if got := strings.Join(IDs(list), " "); got != want {
			t.Errorf("%s:\n got %s\nwant %s", list, got, want)
		}
	}
	if len(Lists()) != len(lists) {
		t.Errorf("Lists names %d of %d lists", len(Lists()), len(lists))
	}
}

func TestEveryWordIsExplained(t *testing.T) {
	for _, list := range Lists() {
		seen := map[string]bool{}
		for _, w := range All(list) {
			if w.List != list {
				t.Errorf("%s/%s says it is of list %q", list, w.ID, w.List)
			}
			if w.Label == "" || w.Source == "" || !strings.HasSuffix(w.Definition, ".") {
				t.Errorf("%s/%s lacks label, source or a whole sentence", list, w.ID)
			}
			if seen[w.ID] || seen[w.Label] {
				t.Errorf("%s/%s comes twice", list, w.ID)
			}
			seen[w.ID], seen[w.Label] = true, true
			if got, ok := Get(list, w.ID); !ok || got.Label != w.Label {
				t.Errorf("%s/%s is not found", list, w.ID)
			}
		}
	}
	if _, ok := Get(Substance, "putty"); ok {
		t.Error("a word that does not exist is found")
	}
	if Label(Substance, "from_a_newer_version") != "from_a_newer_version" {
		t.Error("an unknown word loses its id")
	}
}

// Joining, filling, texturing and retouching hide what was there; AIC
// Commentary 27 wants a picture of everything that will be hidden.
func TestCoveringStages(t *testing.T) {
	var covering []string
	for _, s := range All(StageKind) {
		if s.Covers {
			covering = append(covering, s.ID)
		}
	}
	if got := strings.Join(covering, " "); got != "join fill texture retouch" {
		t.Errorf("covering stages are %q", got)
	}
}

// The first five conditions stand on original surface only, the rest anywhere.
func TestConditionsOnOriginal(t *testing.T) {
	for i, c := range All(Condition) {
		if c.OnOriginalOnly != (i < 5) {
			t.Errorf("%s: on original only is %v", c.ID, c.OnOriginalOnly)
		}
	}
}

// Topmost is condition over applied, and within a layer the later word.
func TestOrderOfOverlays(t *testing.T) {
	last := -1
	for _, list := range []List{Applied, Condition} {
		for _, w := range All(list) {
			if o := Order(list, w.ID); o <= last {
				t.Errorf("%s does not lie over the word before it", w.ID)
			} else {
				last = o
			}
		}
	}
	if Order(Applied, "from_a_newer_version") >= Order(Applied, "consolidant") {
		t.Error("an unknown word lies over a known one")
	}
}

func TestKeysAreUniqueOnAShelf(t *testing.T) {
	for _, list := range []List{Substance, Applied, Condition} {
		seen := map[int]string{}
		for _, w := range All(list) {
			k := w.Look.Key
			if k < -1 || k > 9 || (k == 0) != (w.ID == "unassigned") {
				t.Errorf("%s has key %d", w.ID, k)
			}
			if k >= 0 && seen[k] != "" {
				t.Errorf("%s and %s share key %d", w.ID, seen[k], k)
			}
			seen[k] = w.ID
		}
	}
}

// Every caution defers to local rules and to trained people, and is asked for
// by kinds of stage that exist.
func TestCautions(t *testing.T) {
	if !strings.Contains(Follow, "local rules") || !strings.Contains(Follow, "trained people") {
		t.Errorf("cautions end in %q", Follow)
	}
	for _, c := range Cautions() {
		if !strings.HasSuffix(c.Line(), Follow) || c.Source == "" || len(c.Stages) == 0 {
			t.Errorf("caution %s lacks its source, its stages or its end", c.Hazard)
		}
		for _, s := range c.Stages {
			if _, ok := Get(StageKind, s); !ok {
				t.Errorf("caution %s names the stage %q", c.Hazard, s)
			}
		}
		if got, ok := CautionFor(c.Hazard); !ok || got.Title != c.Title {
			t.Errorf("caution %s is not found", c.Hazard)
		}
	}
	for _, w := range []struct{ stage, hazard string }{
		{"air_abrasive", "silica"}, {"air_abrasive", "compressed_air"}, {"consolidate", "solvent"},
		{"fill", "epoxy"}, {"received", "radioactive"}, {"chemical", "acid"},
	} {
		found := false
		for _, c := range CautionsForStage(w.stage) {
			found = found || c.Hazard == w.hazard
		}
		if !found {
			t.Errorf("stage %s does not call for the caution about %s", w.stage, w.hazard)
		}
	}
}

// No label or definition of our own uses the words we tell others to avoid.
func TestOurWordsAvoidTheWordsToAvoid(t *testing.T) {
	for _, a := range WordsToAvoid() {
		if a.Instead == "" {
			t.Errorf("%q has nothing to say instead", a.Words)
		}
		if a.Words == "bone" || a.Words == "natural" { // may stand in a longer sense
			continue
		}
		for _, list := range Lists() {
			for _, w := range All(list) {
				if strings.Contains(" "+strings.ToLower(w.Label+" ")+" ", " "+a.Words+" ") {
					t.Errorf("%s/%s is labelled %q", list, w.ID, w.Label)
				}
			}
		}
	}
}
