package terms

import "image/color"

// List names one list of words. Ids are unique within a list only: fill is a
// substance, a kind of stage and an answer to what was added.
type List string

// The lists. The first four are the layers of a map.
const (
	Substance   List = "substance" // layer A, exactly one per face
	Applied     List = "applied"   // layer B, any number
	Condition   List = "condition" // layer C, any number
	Line        List = "line"      // layer D
	Fit         List = "fit"       // how well a join closes
	Basis       List = "basis"     // what a reconstruction rests on
	Certainty   List = "certainty"
	Method      List = "examined_by"
	StageKind   List = "stage"
	Part        List = "part"         // what of a piece a scan shows
	WhatRemoved List = "what_removed" // what a change area took away
	WhatAdded   List = "what_added"
	ScaleWord   List = "scale"     // verdicts on a scan's scale
	AlignWord   List = "alignment" // verdicts on an alignment
	FitFaces    List = "fit_faces" // what somebody says carries an alignment
	Reliance    List = "reliance"  // verdicts on a place to measure
	Severity    List = "severity"  // of an open point

	ScanProposal   List = "scan_proposal"   // what one scan alone says is no specimen
	ChangeProposal List = "change_proposal" // what the difference of two scans says a map could hold
)

// Where a definition comes from, when no document gives one.
const (
	Common = "common practice, no source"
	Own    = "our own wording"
)

// Term is one controlled word.
type Term struct {
	List       List
	ID         string
	Label      string
	Definition string
	Source     string // of the word or its meaning; Common or Own where there is none

	// Covers says of a stage kind that it hides what was there, so that a scan
	// before it is wanted.
	Covers bool
	// OnOriginalOnly says of a condition that it can stand on original and
	// original_abraded alone.
	OnOriginalOnly bool
	// NeedsReason says that a region of this word must say why.
	NeedsReason bool

	// Look is how the word is drawn; nil for words that are only said.
	Look *Look
}

// Look is the picture of a word. Paper is for substances alone; applied and
// condition are ink with a white halo on whatever lies below.
type Look struct {
	Key     int        // number key on the shelf, 0 to 9; -1 for none
	Kind    string     // the kind of pattern in words: "diagonal lines"
	Paper   color.RGBA // alpha 0 for none
	Ink     color.RGBA // alpha 0 for none
	Opacity float64    // of the paper in "map on surface"; in "map" it is 1
	HaloMM  float64    // width of the white halo round the ink
	ink     func(u, v float64) bool
}

// InkAt says whether there is ink at (u, v), mm on a tile of 4 mm.
func (l *Look) InkAt(u, v float64) bool { return l.ink != nil && l.ink(u, v) }

// All returns the words of a list in their order: of two overlays on one face
// the later is topmost. The slice is the package's own: do not change it.
func All(list List) []Term { return lists[list] }

// Lists returns the names of all lists in a fixed order.
func Lists() []List {
	return []List{
		Substance, Applied, Condition, Line, Fit, Basis, Certainty, Method, StageKind, Part,
		WhatRemoved, WhatAdded, ScaleWord, AlignWord, FitFaces, Reliance, Severity,
		ScanProposal, ChangeProposal,
	}
}

// Get finds a word.
func Get(list List, id string) (Term, bool) {
	for _, t := range lists[list] {
		if t.ID == id {
			return t, true
		}
	}
	return Term{}, false
}

// Label returns the label of a word, the id itself where the word is unknown
// (a newer version may have written it).
func Label(list List, id string) string {
	if t, ok := Get(list, id); ok {
		return t.Label
	}
	return id
}

// IDs returns the ids of a list in order.
func IDs(list List) []string {
	ids := make([]string, 0, len(lists[list]))
	for _, t := range lists[list] {
		ids = append(ids, t.ID)
	}
	return ids
}

// Order ranks the overlays of a face: of two the one with the greater value is
// topmost. Condition is over applied, and within a layer the later in the list
// wins. Unknown words rank below all.
func Order(list List, id string) int {
	for i, t := range lists[list] {
		if t.ID == id {
			switch list {
			case Applied:
				return 100 + i
			case Condition:
				return 200 + i
			}
			return i
		}
	}
	return -1
}

var lists = map[List][]Term{
	Substance: substances, Applied: applied, Condition: conditions, Line: lines, Fit: fits,
	Basis: bases, Certainty: certainties, Method: methods, StageKind: stageKinds, Part: parts,
	WhatRemoved: whatRemoved, WhatAdded: whatAdded,
	ScaleWord: scaleVerdicts, AlignWord: alignVerdicts, FitFaces: fitFaces, Reliance: relianceVerdicts, Severity: severities,
	ScanProposal: scanProposals, ChangeProposal: changeProposals,
}

func init() {
	for list, all := range lists {
		for i := range all {
			all[i].List = list
		}
	}
}

// hex reads "#RRGGBB".
func hex(s string) color.RGBA {
	v := func(c byte) uint8 {
		if c >= 'A' {
			return c - 'A' + 10
		}
		return c - '0'
	}
	return color.RGBA{v(s[1])<<4 | v(s[2]), v(s[3])<<4 | v(s[4]), v(s[5])<<4 | v(s[6]), 255}
}
