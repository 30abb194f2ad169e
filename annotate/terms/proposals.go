package terms

var scanProposals = []Term{
	{ID: "bed", Label: "bed", Definition: "What the specimen lay on while it was scanned.", Source: Own},
	{ID: "bar", Label: "bar", Definition: "A straight bar of one thickness that is not connected with the specimen.", Source: Own},
	{ID: "island", Label: "island", Definition: "A small part of the scan that is connected with nothing else.", Source: Own},
	{ID: "inner_wall", Label: "inner wall", Definition: "Surface in the scan that cannot be seen from outside.", Source: Own},
	{ID: "closed_hole", Label: "closed hole", Definition: "Surface that a scan program made up where nothing was scanned.", Source: Own},
}

var changeProposals = []Term{
	{ID: "whole_body", Label: "the whole body looks different", Definition: "The colour of everything changed: the scan differs, not the specimen.", Source: Own},
	{ID: "fill_added", Label: "matter put on", Definition: "The surface stands higher than before because something was put on.", Source: Own},
	{ID: "join_bead", Label: "a bead of adhesive along a join", Definition: "A narrow strip of adhesive that stands out along a join.", Source: Own},
	{ID: "piece_moved", Label: "a piece set back", Definition: "A piece that lay elsewhere before and is now in its place.", Source: Own},
	{ID: "matrix_gone", Label: "matrix taken off", Definition: "Rock that was there before and is there no more.", Source: Own},
	{ID: "fill_gone", Label: "an earlier fill taken off", Definition: "Fill of an earlier restoration that is there no more.", Source: Own},
	{ID: "surface_lowered", Label: "original surface lies lower than before", Definition: "Original surface that lies lower than before; no cause is said.", Source: Own},
	{ID: "undecided", Label: "changed, and nothing says what it was", Definition: "Something changed, and no evidence says what it was.", Source: Own},
	{ID: "colour_changed", Label: "colour laid on", Definition: "The colour changed and the shape did not: retouch, or what a person says it is.", Source: Own},
	{ID: "matrix_left", Label: "matrix still there", Definition: "Rock that is still there.", Source: Own},
}
