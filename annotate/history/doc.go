// Package history makes every change to a record and its maps an action that
// can be undone, redone and written to a journal as it happens.
//
// An Action is a difference by value: the members of the record and the labels
// of the maps as they were and as they became. Undoing N actions gives back
// identical bytes. A Journal line is one action, undone or redone action, with
// its checksum; a file cut at any byte gives all whole lines before the cut.
//
// The package touches no files: the store appends the lines and syncs.
package history
