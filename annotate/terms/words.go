package terms

var bases = []Term{
	{ID: "mirrored", Label: "mirrored", Definition: "Shape taken from the other side of the same individual.", Source: Common},
	{ID: "cast_same", Label: "cast, same individual", Definition: "Cast from a part of the same individual.", Source: Common},
	{ID: "cast_other", Label: "cast, another individual", Definition: "Cast from another individual, which is named.", Source: Common},
	{ID: "modelled_guided", Label: "modelled, guided", Definition: "Modelled by hand after relatives or neighbouring parts, which are named.", Source: Common},
	{ID: "modelled_free", Label: "modelled, no evidence", Definition: "Modelled by hand without direct evidence of the shape.", Source: Common},
	{ID: "real_other", Label: "fossil of another individual", Definition: "Genuine fossil of another individual put in: a composite.", Source: Common},
}

var certainties = []Term{
	{ID: "seen", Label: "seen", Definition: "Somebody saw it on the specimen itself.", Source: Own},
	{ID: "inferred", Label: "inferred", Definition: "Concluded, from the difference of two scans or by touch.", Source: Own},
	{ID: "reported", Label: "reported", Definition: "Stands in an older record.", Source: Own},
	{ID: "assumed", Label: "assumed", Definition: "Nobody checked.", Source: Own},
}

var methods = []Term{
	{ID: "visible", Label: "visible light", Definition: "Looked at in ordinary light.", Source: "AIC Commentary 25 (methods of examination are recorded); wording our own"},
	{ID: "raking", Label: "raking light", Definition: "Looked at in light that grazes the surface.", Source: Common},
	{ID: "microscope", Label: "microscope", Definition: "Looked at under magnification.", Source: Common},
	{ID: "uv", Label: "ultraviolet", Definition: "Looked at under ultraviolet. What glows is something; what does not glow proves nothing: the usual acrylic resin stays dark.", Source: "NPS Conserve O Gram 1/10 (2000); wording our own"},
	{ID: "xray", Label: "X-ray", Definition: "Seen on a radiograph.", Source: Common},
	{ID: "ct", Label: "CT", Definition: "Seen in a computed tomogram.", Source: Common},
	{ID: "solvent_test", Label: "solvent test", Definition: "A trace of solvent tried on a small hidden place by trained people.", Source: Common},
}

var stageKinds = []Term{
	{ID: "received", Label: "received", Definition: "As the specimen came in.", Source: "Guidelines for the Curation of Geological Materials (Geological Society Misc. Paper 17), condition on receipt; wording our own"},
	{ID: "condition", Label: "condition recorded", Definition: "Looked over, photographed and described before work.", Source: "EN 16095 (condition recording); wording our own"},
	{ID: "mech_coarse", Label: "matrix off, coarse", Definition: "Rock taken off with saw, chisel or large air scribe, short of the fossil.", Source: Common},
	{ID: "mech_fine", Label: "matrix off, fine", Definition: "Rock taken off close to the fossil with small scribe, needle or scalpel.", Source: Common},
	{ID: "air_abrasive", Label: "air abrasive", Definition: "Rock taken off with a jet of powder.", Source: Common},
	{ID: "chemical", Label: "chemical", Definition: "Rock taken off in a bath, by trained people.", Source: Common},
	{ID: "consolidate", Label: "consolidated", Definition: "Thin resin let into weak zones.", Source: Common},
	{ID: "join", Label: "joined", Covers: true, Definition: "Pieces fitted and glued; the broken faces are hidden from then on.", Source: Common},
	{ID: "fill", Label: "filled", Covers: true, Definition: "Gaps and losses filled.", Source: Common},
	{ID: "texture", Label: "textured", Covers: true, Definition: "Surface of fills tooled so that they read from afar and are plain from near.", Source: Common},
	{ID: "retouch", Label: "retouched", Covers: true, Definition: "Colour laid on.", Source: Common},
	{ID: "mould", Label: "moulded", Definition: "A mould taken from the specimen.", Source: Common},
	{ID: "sample", Label: "sampled", Definition: "Matter taken for study.", Source: Common},
	{ID: "damage", Label: "damaged", Definition: "Something broke, chipped or was scratched.", Source: Common},
	{ID: "mount", Label: "mounted", Definition: "Put on its mount, cradle or bed.", Source: Common},
	{ID: "condition_check", Label: "condition checked", Definition: "Looked over again later, for a loan or a review.", Source: "Spectrum, Collections care and conservation; wording our own"},
}

var parts = []Term{
	{ID: "whole", Label: "whole", Definition: "The scan goes all round.", Source: Own},
	{ID: "top", Label: "top", Definition: "The scan shows the side that lay up.", Source: Own},
	{ID: "bottom", Label: "bottom", Definition: "The scan shows the side that lay down.", Source: Own},
	{ID: "close_up", Label: "close up", Definition: "The scan shows one place in more detail.", Source: Own},
}

var whatRemoved = []Term{
	{ID: "matrix", Label: "matrix", Definition: "Rock taken off the specimen.", Source: Common},
	{ID: "jacket", Label: "jacket", Definition: "Part of a field jacket or bed.", Source: Common},
	{ID: "old_fill", Label: "old fill", Definition: "Fill of an earlier restoration.", Source: Common},
	{ID: "adhesive", Label: "adhesive", Definition: "Adhesive or resin taken off.", Source: Common},
	{ID: "fossil", Label: "fossil", Definition: "The specimen itself.", Source: Own},
	{ID: "moved_piece", Label: "moved piece", Definition: "A piece that lies elsewhere now; in no total.", Source: Own},
	{ID: "unknown", Label: "not said", Definition: "Nobody has said yet what went.", Source: Own},
}

var whatAdded = []Term{
	{ID: "fill", Label: "fill", Definition: "Material put into a gap, crack or loss.", Source: Common},
	{ID: "reconstruction", Label: "reconstruction", Definition: "Added shape that stands for a missing part.", Source: Common},
	{ID: "adhesive", Label: "adhesive", Definition: "Adhesive or resin put on.", Source: Common},
	{ID: "moved_piece", Label: "moved piece", Definition: "A piece that lay elsewhere before; in no total.", Source: Own},
	{ID: "unknown", Label: "not said", Definition: "Nobody has said yet what was added.", Source: Own},
}

var scaleVerdicts = []Term{
	{ID: "as_stated", Label: "as stated", Definition: "The unit is known and no scale bar counts: values carry no term for scale.", Source: Own},
	{ID: "unverified", Label: "not verified", Definition: "One bar was measured and nothing checks it, or bars were measured that do not agree.", Source: Own},
	{ID: "difference_only", Label: "difference only", Definition: "Two bars were measured and only their difference checks them; or the scale was found by laying the scan on another one, with no bar.", Source: Own},
	{ID: "verified", Label: "verified", Definition: "Three bars or more, each as long as the others say when it is held out.", Source: "after the length error of VDI/VDE 2634; wording our own"},
}

var alignVerdicts = []Term{
	{ID: "accepted", Label: "accepted", Definition: "Both scans share enough surface that did not change, and it holds the fit in every direction.", Source: Own},
	{ID: "ambiguous", Label: "ambiguous", Definition: "More than one position fits about as well.", Source: Own},
	{ID: "refused", Label: "refused", Definition: "The scans do not share enough surface to be laid on one another.", Source: Own},
}

// Papers are the yellow and the reddish purple of Okabe and Ito (2008)
// 35 % toward white, which no substance has;
// nothing is trusted and broken at once.
var fitFaces = []Term{
	{
		ID: "trust", Label: "Trusted", Definition: "Surface that alone carries an alignment: somebody knows that it did not change.", Source: Own,
		Look: &Look{Key: -1, Kind: "clamps", Paper: hex("#F5ED84"), Ink: hex("#3C3910"), Opacity: 0.7, ink: clamps},
	},
	{
		ID: "never", Label: "Never trusted", Definition: "Surface that carries no alignment: somebody knows that it moved or changed.", Source: Own,
		Look: &Look{Key: -1, Kind: "barred rings", Paper: hex("#DEA8C6"), Ink: hex("#331E2A"), Opacity: 0.7, ink: barredRings},
	},
	{
		ID: "break", Label: "Broken face", Definition: "Surface of a break that met another piece: it alone carries a dry fit.", Source: Own,
		Look: &Look{Key: -1, Kind: "zigzags", Paper: hex("#F5ED84"), Ink: hex("#3C3910"), Opacity: 0.7, ink: zigzags},
	},
}

var relianceVerdicts = []Term{
	{ID: "nothing_against", Label: "nothing against it on record", Definition: "Examined, and nothing on record speaks against measuring here.", Source: Own},
	{ID: "doubtful", Label: "doubtful", Definition: "One end or the way between touches something added, abraded or uncertain, or a loose join.", Source: Own},
	{ID: "does_not_stand", Label: "does not stand", Definition: "The measurement rests on something that was added.", Source: Own},
	{ID: "not_examined", Label: "not examined", Definition: "Nobody has said what the surface is there.", Source: Own},
}

var severities = []Term{
	{ID: "note", Label: "Note", Definition: "Worth knowing.", Source: Own},
	{ID: "warning", Label: "Warning", Definition: "A value may be wrong because of it.", Source: Own},
	{ID: "refused", Label: "Refused", Definition: "It could not be done or counted.", Source: Own},
}

// Avoid is a way of putting it that says more, or less, than is known.
type Avoid struct{ Words, Instead string }

// WordsToAvoid are expressions that hide what was done or promise what nobody
// checked (common practice, no source).
func WordsToAvoid() []Avoid {
	return []Avoid{
		{"100 % original", "the share that was examined and found original, with what was not examined"},
		{"natural", "original, where somebody examined it"},
		{"museum quality", "what was done, and with what"},
		{"restored: none", "no restoration recorded; examined by …"},
		{"repair", "join or fill"},
		{"cleaned", "matrix removed, with the method"},
		{"glue", "the adhesive by its substance"},
		{"bone", "fossil, or what the surface was found to be"},
		{"accurate", "the figure with its uncertainty"},
	}
}
