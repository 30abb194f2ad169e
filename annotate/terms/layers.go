package terms

// stone is the paper of original surface: no signal colour looks like fossil.
const stone = "#E9E2D3"

// Papers are the colours of Okabe and Ito (2008) 35 % toward white, inks 25 %
// of the colour.
var substances = []Term{
	{
		ID: "original", Label: "Original",
		Definition: "Fossil in natural contact with what was preserved; the surface is judged unworked.",
		Source:     Common,
		Look:       &Look{Key: 1, Kind: "blank", Paper: hex(stone)},
	},
	{
		ID: "original_abraded", Label: "Original, abraded",
		Definition: "Fossil whose outer skin is gone through preparation or wear: original matter, but not the surface a measurement should rest on.",
		Source:     Common,
		Look:       &Look{Key: 2, Kind: "dashes", Paper: hex(stone), Ink: hex("#2A2520"), Opacity: 0.55, ink: dashes},
	},
	{
		ID: "matrix", Label: "Matrix left",
		Definition: "Sediment or concretion that is still on the specimen or in it.",
		Source:     Common,
		Look:       &Look{Key: 3, Kind: "checker", Paper: hex("#59C0A4"), Ink: hex("#00281D"), Opacity: 0.78, ink: checker},
	},
	{
		ID: "fill", Label: "Fill",
		Definition: "Material put into a gap, crack or loss between original parts.",
		Source:     "after AIC Commentary 23 (compensation for loss); wording our own",
		Look:       &Look{Key: 4, Kind: "diagonal lines", Paper: hex("#EFC159"), Ink: hex("#3A2800"), Opacity: 0.78, ink: diagonals},
	},
	{
		ID: "reconstruction", Label: "Reconstruction",
		Definition: "Added shape that stands for a missing part, modelled or cast, whatever its evidence; it says what it rests on.",
		Source:     "after AIC Commentary 23 (compensation for loss) and the London Charter (evidence kept apart from hypothesis); wording our own",
		Look:       &Look{Key: 5, Kind: "crosshatch", Paper: hex("#E49659"), Ink: hex("#351800"), Opacity: 0.78, ink: crosshatch},
	},
	{
		ID: "support", Label: "Support",
		Definition: "Bed, mount, base, bar or jacket that was scanned with the specimen; out of every value and every alignment.",
		Source:     Common,
		Look:       &Look{Key: 6, Kind: "brick bond", Paper: hex("#59A3CD"), Ink: hex("#001C2C"), Opacity: 0.78, ink: bricks},
	},
	{
		ID: "uncertain", Label: "Uncertain",
		Definition:  "Examined, but whether it is original or added cannot be decided; it says why.",
		Source:      "after AIC Commentary 25 (observation kept apart from interpretation); wording our own",
		NeedsReason: true,
		Look:        &Look{Key: 7, Kind: "open rings", Paper: hex("#91CEF1"), Ink: hex("#162D3A"), Opacity: 0.78, ink: rings},
	},
	{
		ID: "unassigned", Label: "Not examined",
		Definition: "Nobody has said yet what this surface is. It never counts as original.",
		Source:     Own,
		Look:       &Look{Key: 0, Kind: "crosses", Paper: hex("#BDBDBD"), Ink: hex("#262626"), Opacity: 0.78, ink: crosses},
	},
}

// haloMM is the white edge that lifts an overlay off whatever lies below.
const haloMM = 0.22

var applied = []Term{
	{
		ID: "consolidant", Label: "Consolidant",
		Definition: "Zone that took up resin to hold it together; its edge is seldom sharp.",
		Source:     Common,
		Look:       &Look{Key: 1, Kind: "waves", Ink: hex("#2F6380"), HaloMM: haloMM, ink: waves},
	},
	{
		ID: "adhesive_residue", Label: "Adhesive residue",
		Definition: "Adhesive outside the line of a join: squeezed out, run down or smeared.",
		Source:     Common,
		Look:       &Look{Key: 2, Kind: "plus signs", Ink: hex("#0072B2"), HaloMM: haloMM, ink: pluses},
	},
	{
		ID: "retouch", Label: "Retouch",
		Definition: "Colour laid on to change how a place looks. Over original surface it is always said separately.",
		Source:     "after ICOM-CC 2008 (retouching as an example of restoration); wording our own",
		Look:       &Look{Key: 3, Kind: "dots", Ink: hex("#7E4B68"), HaloMM: haloMM, ink: dots},
	},
	{
		ID: "varnish_or_barrier", Label: "Varnish or barrier",
		Definition: "Clear coat over the surface, or a soluble layer put between the specimen and what lies on it.",
		Source:     Common,
		Look:       &Look{Key: 4, Kind: "scales", Ink: hex("#6C671E"), HaloMM: haloMM, ink: scales},
	},
	{
		ID: "mould_residue", Label: "Mould residue",
		Definition: "Rubber, wax or release agent left by moulding.",
		Source:     Common,
		Look:       &Look{Key: 5, Kind: "half discs", Ink: hex("#005F45"), HaloMM: haloMM, ink: halfDiscs},
	},
	{
		ID: "label", Label: "Label",
		Definition: "Number or label painted or stuck on.",
		Source:     Common,
		Look:       &Look{Key: 6, Kind: "open squares", Ink: hex("#000000"), HaloMM: haloMM, ink: squares},
	},
}

// black on a white halo: the specimen's own state has no colour.
func conditionLook(key int, kind string, ink func(u, v float64) bool) *Look {
	return &Look{Key: key, Kind: kind, Ink: hex("#000000"), HaloMM: haloMM, ink: ink}
}

var conditions = []Term{
	{
		ID: "tool_mark", Label: "Tool mark", OnOriginalOnly: true,
		Definition: "Mark that a preparation tool left in original surface.",
		Source:     Common,
		Look:       conditionLook(1, "stroke pairs", strokePairs),
	},
	{
		ID: "surface_lowered", Label: "Surface lowered", OnOriginalOnly: true,
		Definition: "Original surface that lies lower than in an earlier scan. What did it is not said.",
		Source:     Own,
		Look:       conditionLook(2, "steps", steps),
	},
	{
		ID: "over_prepared", Label: "Over-prepared", OnOriginalOnly: true,
		Definition: "Original surface lost or polished in preparation. Only a person says this.",
		Source:     Common,
		Look:       conditionLook(3, "ruled lines", ruled),
	},
	{
		ID: "damage_ancient", Label: "Ancient damage", OnOriginalOnly: true,
		Definition: "Bite, weathering, crushing or trampling before the specimen was collected: evidence, not damage to be made good.",
		Source:     Common,
		Look:       conditionLook(4, "solid triangles", triangles),
	},
	{
		ID: "deformed", Label: "Deformed", OnOriginalOnly: true,
		Definition: "Original surface squeezed or bent out of its shape in the rock.",
		Source:     Common,
		Look:       conditionLook(5, "bow ties", bowTies),
	},
	{
		ID: "crack", Label: "Crack",
		Definition: "Open crack without loss of material.",
		Source:     Common,
		Look:       conditionLook(6, "slits", slits),
	},
	{
		ID: "flaking", Label: "Flaking",
		Definition: "Surface coming off in leaves or scales.",
		Source:     Common,
		Look:       conditionLook(7, "stacks of bars", barStacks),
	},
	{
		ID: "decay", Label: "Decay",
		Definition: "Products of mineral decay, such as those of pyrite: bloom, powder, smell.",
		Source:     Common,
		Look:       conditionLook(8, "dots in threes", dotTriples),
	},
	{
		ID: "damage_handling", Label: "Handling damage",
		Definition: "Break, scratch or chip since the specimen was collected.",
		Source:     Common,
		Look:       conditionLook(9, "small Vs", vees),
	},
	{
		ID: "sampled", Label: "Sampled",
		Definition: "Place from which a sample was taken; it says when and what for.",
		Source:     Common,
		Look:       conditionLook(-1, "solid diamonds", diamonds),
	},
}
