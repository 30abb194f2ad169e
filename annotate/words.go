package annotate

import (
	"slices"

	"rigatino/annotate/terms"
)

// Words of the record that rules turn on. Labels, definitions, order and
// sources of all words stand in annotate/terms.
const (
	LayerSubstance = "substance"
	LayerApplied   = "applied"
	LayerCondition = "condition"

	Original        = "original"
	OriginalAbraded = "original_abraded"
	Matrix          = "matrix"
	Fill            = "fill"
	Reconstruction  = "reconstruction"
	Support         = "support"
	Uncertain       = "uncertain"
	Unassigned      = "unassigned"

	Retouch = "retouch"

	LineJoin        = "join"
	LineContactLost = "contact_lost"
	LinePin         = "pin"

	ScaleAsStated       = "as_stated"
	ScaleUnverified     = "unverified"
	ScaleDifferenceOnly = "difference_only"
	ScaleVerified       = "verified"

	VerdictAccepted  = "accepted"
	VerdictAmbiguous = "ambiguous"
	VerdictRefused   = "refused"

	AnswerAccepted = "accepted"
	AnswerRefused  = "refused"

	SeverityNote    = "note"
	SeverityWarning = "warning"
	SeverityRefused = "refused"

	Body      = "body"
	PartWhole = "whole"
)

// IsOriginal says whether a substance is fossil matter. Unassigned and
// uncertain never are.
func IsOriginal(substance string) bool {
	return substance == Original || substance == OriginalAbraded
}

// IsRestored says whether a substance counts as restored surface.
func IsRestored(substance string) bool { return substance == Fill || substance == Reconstruction }

// MayLieOn says whether a condition may lie on a substance: some only fossil
// matter can have.
func MayLieOn(condition, substance string) bool {
	t, _ := terms.Get(terms.Condition, condition)
	return IsOriginal(substance) || !t.OnOriginalOnly
}

// Covers says whether a stage of this kind hides what was there before.
func Covers(kind string) bool {
	t, _ := terms.Get(terms.StageKind, kind)
	return t.Covers
}

// Alters says whether a stage of this kind changes the surface at all; the
// others only look, copy or carry.
func Alters(kind string) bool {
	return !slices.Contains([]string{"received", "condition", "mould", "mount", "condition_check"}, kind)
}
