package terms

// Follow ends every caution: the program is no safety officer.
const Follow = "Follow local rules and trained people."

// Caution is what is usually minded about a hazard of the work. It is a
// reminder; limits and duties are set by local rules.
type Caution struct {
	Hazard string // key
	Title  string
	Text   string   // usual caution, own words
	Source string   // of the facts behind it
	Stages []string // kinds of stage that usually call for it
}

// Line returns the caution as one paragraph with Follow at its end.
func (c Caution) Line() string { return c.Title + ": " + c.Text + " " + Follow }

// Cautions returns every caution in a fixed order. The slice is the package's
// own: do not change it.
func Cautions() []Caution { return cautions }

// CautionFor finds the caution about a hazard.
func CautionFor(hazard string) (Caution, bool) {
	for _, c := range cautions {
		if c.Hazard == hazard {
			return c, true
		}
	}
	return Caution{}, false
}

// CautionsForStage returns the cautions that a kind of stage usually calls for.
func CautionsForStage(kind string) []Caution {
	var out []Caution
	for _, c := range cautions {
		for _, s := range c.Stages {
			if s == kind {
				out = append(out, c)
				break
			}
		}
	}
	return out
}

var cautions = []Caution{
	{
		Hazard: "silica", Title: "Rock dust",
		Text:   "it can hold silica that harms lungs for good. Extract at the source, keep the cabinet shut, wear a fitted respirator and clean wet; never sweep it or blow it down.",
		Source: "29 CFR 1910.1053; Directive (EU) 2017/2398 (limits exist; figures by local rules)",
		Stages: []string{"mech_coarse", "mech_fine", "air_abrasive"},
	},
	{
		Hazard: "compressed_air", Title: "Compressed air and flying chips",
		Text:   "protect the eyes always, never point a jet at anybody, and let the pressure off before changing a tip.",
		Source: Common,
		Stages: []string{"mech_coarse", "mech_fine", "air_abrasive"},
	},
	{
		Hazard: "vibration", Title: "Vibration of hand and arm",
		Text:   "take the tool maker's declared value or a measured one. Keep hands warm, rest, change tools, and report tingling or white fingers.",
		Source: "Directive 2002/44/EC; ISO 5349-1; ISO 28927-11 (test of engraving pens and stone hammers)",
		Stages: []string{"mech_coarse", "mech_fine"},
	},
	{
		Hazard: "noise", Title: "Noise",
		Text:   "protect the ears at the scribe and near the compressor.",
		Source: "Directive 2003/10/EC",
		Stages: []string{"mech_coarse", "mech_fine", "air_abrasive"},
	},
	{
		Hazard: "acid", Title: "Acid preparation",
		Text:   "for trained people with fume extraction only. Hydrofluoric acid lies outside anything this record can advise on.",
		Source: "common practice; rinsing takes much longer than the bath (American Museum of Natural History, chemical preparation)",
		Stages: []string{"chemical"},
	},
	{
		Hazard: "solvent", Title: "Acetone and other solvents",
		Text:   "no flame, spark or hot plate; close the jar; extract low, since the vapour sinks; mind static.",
		Source: "OSHA chemical sampling information, acetone",
		Stages: []string{"consolidate", "join", "retouch"},
	},
	{
		Hazard: "epoxy", Title: "Epoxy",
		Text:   "uncured resin, hardener and the dust of half-cured putty can make one allergic for life. No skin contact, nitrile gloves rather than latex, no sanding before full cure.",
		Source: "EU-OSHA, epoxy resins",
		Stages: []string{"join", "fill", "texture"},
	},
	{
		Hazard: "old_fill", Title: "Unknown old fill",
		Text:   "old plaster and papier-mâché fills can hold asbestos. Do not scribe, sand or drill one until it has been tested.",
		Source: "Allington-Jones and Montgomery 2022, Geological Curators' Group",
		Stages: []string{"received", "condition"},
	},
	{
		Hazard: "radioactive", Title: "Radioactive specimen",
		Text:   "fossils can take up uranium, and radon gathers in closed cabinets. Survey with a meter before dusty work; gloves, extraction, a ventilated store, washed hands; no eating, no licking.",
		Source: "National Park Service, radon-emitting fossils; US EPA (action level in homes)",
		Stages: []string{"received", "condition"},
	},
	{
		Hazard: "pyrite", Title: "Pyrite decay",
		Text:   "it makes acid. Keep the specimen dry, note bloom, smell and powder, and keep labels apart from it.",
		Source: "from memory, not read: check before citing",
		Stages: []string{"condition", "condition_check"},
	},
	{
		Hazard: "heat", Title: "Heat",
		Text:   "joins with the usual acrylic resin soften near 40 °C, and lower while solvent remains. Do not leave the specimen in a hot car or case.",
		Source: "Vinçotte et al. 2019, Heritage Science, doi 10.1186/s40494-019-0283-9",
		Stages: []string{"join", "mount"},
	},
	{
		Hazard: "weight", Title: "Weight",
		Text:   "know what a block weighs before lifting it, lift with others or with gear, and never by a restored part.",
		Source: Common,
		Stages: []string{"received", "mount"},
	},
}
