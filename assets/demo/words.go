package demo

import (
	"fmt"

	"rigatino/annotate"
	"rigatino/mesh/frame"

	"gonum.org/v1/gonum/spatial/r3"
)

// dates of the stages, all in the year of the invented work.
var dates = map[string]string{
	Received: "2026-03-02", MechCoarse: "2026-03-09", AirAbrasive: "2026-03-11",
	Join: "2026-03-12", Fill: "2026-03-20", Retouch: "2026-03-24",
}

// The earlier fill: nobody knows when or by whom, but a label of 1932 already
// speaks of it. It has a stage without a scan.
const (
	earlierFill = "fill-2" // the second stage of its kind to be entered
	earlierDate = "../1932"
)

// Ids of people and of work done.
const (
	preparator = "kl"
	retoucher  = "ms"
	curator    = "rt"
)

// specimenWords is what the project is about. toScan is the motion to the frame
// of the body's first scan, which is the specimen frame.
func specimenWords(toScan frame.Rigid) annotate.Specimen {
	axis, face := toScan.Turn(r3.Vec{Z: 1}), toScan.Turn(r3.Vec{Y: 1})
	return annotate.Specimen{
		Institution: "Tarn Valley Museum", CatalogueNumber: "TVM 2041", FieldNumber: "TV 14-7", JacketNumber: "3",
		Title: "Left humerus of a plesiosaur", Taxon: "Plesiosauria indet.", Element: "humerus", Side: "left",
		Formation: "Tarn Limestone", Locality: "Tarn Valley, quarry B, bed 12", Owner: "Tarn Valley Museum",
		Rights: "Invented demonstration material; free to use with this program.",
		Orientation: &annotate.Orientation{
			LongAxis: [3]float64{axis.X, axis.Y, axis.Z}, LongAxisName: "distal",
			Face: [3]float64{face.X, face.Y, face.Z}, FaceName: "dorsal",
		},
		Note: "Everything here is invented: the specimen, the museum, the people, the place and the work. No scan was made; the surfaces are formulas.",
		Cautions: []string{
			"Old fill on the head, older than 1932: do not scribe, sand or drill it until it was tested, it may hold asbestos fibre. Follow local rules and trained people.",
			"Lift at the shaft and at the head with both hands, never by the hind corner: the join crosses it.",
			"Acrylic joins soften in warmth: keep well below 35 °C (common practice, no source).",
		},
	}
}

// recordWords is the rest of the record that a person writes.
func recordWords() annotate.Record {
	putty := annotate.Material{Name: "two-part epoxy putty, equal parts by volume", AmountG: 1.1, Note: "of 6 g mixed; nominal cure 24 h"}
	model := annotate.Material{Name: "two-part epoxy putty, equal parts by volume", AmountG: 3.2, Note: "of 6 g mixed; nominal cure 24 h"}
	return annotate.Record{
		People: []annotate.Person{
			{ID: preparator, Initials: "K. L.", Role: "preparator"},
			{ID: retoucher, Initials: "M. S.", Role: "retoucher"},
			{ID: curator, Initials: "R. T.", Role: "curator"},
		},
		Stages: []annotate.Stage{
			{ID: earlierFill, Kind: "fill", Date: earlierDate, Note: "Known from a label only; hand unknown. Not scanned."},
			{ID: Received, Kind: Received, Note: "In a limestone nodule; the head stands free of it, and the end of the far edge. One loose fragment came in its own bag."},
			{ID: MechCoarse, Kind: MechCoarse, Note: "Nodule off; rock left in four places. A corner of the far end was lost before the find."},
			{ID: AirAbrasive, Kind: AirAbrasive, Note: "Rock off in three places, left in one on purpose."},
			{ID: Join, Kind: Join, Note: "Fragment set back. Its edge is chipped on the dorsal side, so the join meets there in part only."},
			{ID: Fill, Kind: Fill, Note: "Putty along the chipped part of the join; lost corner modelled."},
			{ID: Retouch, Kind: Retouch, Note: "Colour on the putty. The model is left plain so that it can be told."},
		},
		Pieces: []annotate.Piece{
			{ID: "body", Label: "Humerus"},
			{ID: "fragment", Label: "Hind corner of the far end, loose when received"},
		},
		Work: []annotate.Work{
			{ID: "W1", Stage: earlierFill, When: earlierDate, What: "Filled on the head, by an unknown hand", Note: "Known from the label of 1932 and seen on receipt: painted plaster, a little proud of the fossil. Materials not known."},
			{ID: "W2", Stage: Received, When: "2026-03-02", Who: preparator, What: "Received, looked over, scanned", Tool: "structured light scanner", Authorised: curator,
				Note: "Old fill on the head seen in raking light. Fragment counted: one."},
			{ID: "W3", Stage: MechCoarse, When: "2026-03-02/2026-03-09", Who: preparator, What: "Matrix removed", Tool: "pneumatic scribe, about 550 kPa at the regulator (common practice, no source)",
				Reason: "to lay the bone free for study", Authorised: curator, Note: "Old fill kept clear of. 16 h. Dust extracted at the source."},
			{ID: "W4", Stage: AirAbrasive, When: "2026-03-10/2026-03-11", Who: preparator, What: "Matrix removed in three places", Tool: "air abrasive, 0.6 mm nozzle, about 200 kPa, 30 mm away",
				Materials: []annotate.Material{{Name: "sodium bicarbonate powder", AmountG: 420}},
				Reason:    "rock too near the bone for the scribe", Authorised: curator,
				Note: "On the dorsal side the jet rested too long at one place: about half a millimetre of surface went. Marked as surface lowered."},
			{ID: "W5", Stage: Join, When: "2026-03-12", Who: preparator, What: "Fragment joined", Tool: "sand bed, no clamps",
				Materials: []annotate.Material{{Name: "acrylic copolymer (ethyl methacrylate, methyl acrylate)", ResinG: 5, SolventML: 10, Solvent: "acetone", Basis: "w/v of solvent"}},
				Reason:    "fits, and would be lost loose", Authorised: curator, Note: "Dry fit first. Meets closely on the ventral side, in part on the dorsal."},
			{ID: "W6", Stage: Fill, When: "2026-03-19", Who: preparator, What: "Barrier coat laid where putty was to go",
				Materials: []annotate.Material{{Name: "acrylic copolymer (ethyl methacrylate, methyl acrylate)", ResinG: 1.5, SolventML: 50, Solvent: "acetone", Basis: "w/v of solvent"}},
				Reason:    "so that the putty can be taken off again", Authorised: curator},
			{ID: "W7", Stage: Fill, When: "2026-03-20", Who: preparator, What: "Chipped part of the join filled", Tool: "spatula", Materials: []annotate.Material{putty},
				Reason: "the join would not bear handling", Authorised: curator, Note: "Set a little below the bone."},
			{ID: "W8", Stage: Fill, When: "2026-03-20", Who: preparator, What: "Lost front corner of the far end modelled", Tool: "spatula", Materials: []annotate.Material{model},
				Reason: "the outline was misread on display", Authorised: curator, Note: "After the right humerus of the same kind of animal in the museum, TVM 1177 (invented)."},
			{ID: "W9", Stage: Retouch, When: "2026-03-24", Who: retoucher, What: "Putty along the join retouched", Tool: "brush", Materials: []annotate.Material{{Name: "acrylic paint, one tone lighter than the bone", AmountG: 0.4}},
				Reason: "reads calmly at two metres, plain from near", Authorised: curator, Note: "Ran over on to the bone on both sides of the putty."},
		},
		Agreements: []annotate.Agreement{
			{ID: "A1", Who: curator, When: "2026-03-02", What: "Matrix off, fragment joined, gaps filled where handling needs it; one place of rock to stay."},
			{ID: "A2", Who: curator, When: "2026-03-18", What: "Lost corner to be modelled in plain putty."},
		},
	}
}

// regionWords says what each of outlineNames is, on the map of the last stage.
func regionWords(name string) annotate.Region {
	substance := func(kind string) annotate.Region {
		return annotate.Region{Layer: annotate.LayerSubstance, Kind: kind, Certainty: "seen", ExaminedBy: "visible", Who: preparator}
	}
	var g annotate.Region
	switch name {
	case "matrix":
		g = substance(annotate.Matrix)
		g.Reason, g.Since, g.Work = "left on purpose: a small ammonite lies on the bone there", Received, "W4"
	case "old fill":
		g = substance(annotate.Fill)
		g.ExaminedBy, g.Material, g.Since, g.Work, g.Who = "raking", "plaster, painted (not tested)", earlierFill, "W1", ""
		g.Note = "Hand unknown. Older than 1932."
	case "putty":
		g = substance(annotate.Fill)
		g.Material, g.Since, g.Work, g.When = "two-part epoxy putty", Fill, "W7", dates[Fill]
		g.Evidence, g.Reason = "the scan of 12 March shows the open gap", "the join would not bear handling"
	case "model":
		g = substance(annotate.Reconstruction)
		g.Basis, g.Material, g.Since, g.Work, g.When = "modelled_guided", "two-part epoxy putty", Fill, "W8", dates[Fill]
		g.Reason = "the outline was misread on display"
	case "abraded":
		g = substance(annotate.OriginalAbraded)
		g.ExaminedBy, g.Since, g.Note = "raking", Received, "Worn before the find; no tool marks."
	case "uncertain":
		g = substance(annotate.Uncertain)
		g.ExaminedBy, g.Since = "microscope", Received
		g.Reason = "grain of the bone cannot be followed here; an old thin coat is possible"
	case "retouch":
		g = annotate.Region{Layer: annotate.LayerApplied, Kind: annotate.Retouch, Certainty: "seen", ExaminedBy: "visible", Who: retoucher,
			Material: "acrylic paint", Since: Retouch, Work: "W9", When: dates[Retouch]}
	case "lowered":
		g = annotate.Region{Layer: annotate.LayerCondition, Kind: "surface_lowered", Certainty: "inferred", ExaminedBy: "raking", Who: preparator,
			Since: AirAbrasive, Work: "W4", Evidence: "the scans of 9 and 11 March differ by about half a millimetre, and the bone was bare there"}
	}
	// How well the eye can tell where each of them ends.
	g.BandMM = 0.3
	switch name {
	case "uncertain":
		g.BandMM = 1.5
	case "abraded", "lowered":
		g.BandMM = 0.8
	}
	return g
}

// answer is what the record says a change area was.
func answer(part TruePart) (what, evidence string) {
	return part.What, fmt.Sprintf("the work done and the place: %s", part.Name)
}
