// Package tally makes the sheet of all values of one stage: the areas of the
// surface by substance, applied and condition kind, the share restored with its
// range, joins with their lengths, openings, and the volumes removed and added.
//
// Definitions (ours; no published formula for the restored share of a fossil is
// known, so it is printed with every value):
//
//	S = total − matrix − support            the specimen's surface as scanned
//	R = fill + reconstruction               restored
//	U = uncertain + unassigned              not known
//	restored by area = R/S, range R/S … (R+U)/S
//
// Where U/S is above 20 % the single value is absent and the reason stands in
// its place. A join has a length and no area. Areas of several pieces are summed
// before R/S is formed, once. What was not measured is absent, never 0.
//
// The input is a plain struct, so that the same sheet comes from a project and
// from nothing but an annotated model.
package tally
