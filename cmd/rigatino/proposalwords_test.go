package main

import (
	"testing"

	"rigatino/annotate/propose"
	"rigatino/annotate/terms"
	"rigatino/mesh/quality"
)

// TestEveryProposalHasItsWord holds the kinds that the rooms propose against
// the lists of words: a kind without one would be printed as its id. Source:
// the constants of the two rooms.
func TestEveryProposalHasItsWord(t *testing.T) {
	for _, k := range []propose.Kind{
		propose.Body, propose.FillAdded, propose.Bead, propose.PieceMoved, propose.MatrixGone,
		propose.FillGone, propose.Lowered, propose.Undecided, propose.Colour, propose.MatrixStill,
	} {
		if _, ok := terms.Get(terms.ChangeProposal, string(k)); !ok {
			t.Errorf("no word for the proposal %q", k)
		}
	}
	for _, k := range []string{quality.Bed, quality.Bar, quality.Island, quality.InnerWall, quality.ClosedHole} {
		if _, ok := terms.Get(terms.ScanProposal, k); !ok {
			t.Errorf("no word for the scan proposal %q", k)
		}
	}
}
