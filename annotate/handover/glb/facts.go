package glb

import (
	"cmp"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/terms"
	"rigatino/mesh/gltf"
)

// tables writes what the ids mean. An all-empty column would be a view of no
// bytes, which glTF forbids: it is left out.
func (w *writer) tables() error {
	regions := gltf.Table{Name: tableRegions, Class: "region", Count: len(w.regions)}
	text := func(t *gltf.Table, name, description string, of func(i int) string) {
		values, any := make([]string, t.Count), false
		for i := range values {
			values[i] = of(i)
			any = any || values[i] != ""
		}
		if any {
			t.Columns = append(t.Columns, gltf.Column{Name: name, Description: description, Type: "STRING", Strings: values})
		}
	}
	r := func(i int) annotate.Region { return w.regions[i] }
	regions.Columns = append(regions.Columns,
		gltf.Column{Name: "id", Description: "Region id; the first row is surface that nobody has examined", Type: "STRING", Strings: each(len(w.regions), func(i int) string {
			if i == 0 {
				return "not examined"
			}
			return r(i).ID
		})},
		gltf.Column{Name: "substance", Type: "ENUM", Enum: "substance", Required: true, Strings: each(len(w.regions), func(i int) string { return r(i).Kind })},
		gltf.Column{Name: "area", Description: "Surface area in square millimetres", Type: "SCALAR", Component: "FLOAT64", Numbers: w.areas},
	)
	regions.Columns = append(regions.Columns, gltf.Column{Name: columnBand, Description: "Half width in millimetres within which the region's outline is known, 0 for as well as a hand draws", Type: "SCALAR", Component: "FLOAT64",
		Numbers: each(len(w.regions), func(i int) float64 { return r(i).BandMM })})
	text(&regions, "basis", "What a reconstruction rests on", func(i int) string { return r(i).Basis })
	text(&regions, "certainty", "seen, inferred, reported or assumed", func(i int) string { return r(i).Certainty })
	text(&regions, "examined_by", "How the place was examined", func(i int) string { return r(i).ExaminedBy })
	text(&regions, "material", "Material used", func(i int) string { return r(i).Material })
	text(&regions, "date", "ISO 8601 or EDTF", func(i int) string { return r(i).When })
	text(&regions, "since", "Stage from which on the region is there", func(i int) string { return r(i).Since })
	text(&regions, "reason", "Why, or why it stays", func(i int) string { return r(i).Reason })

	overlays := gltf.Table{Name: tableOverlays, Class: "overlay", Count: len(w.over)}
	of := func(layer facemap.Layer) func(i int) string {
		return func(i int) string {
			var list []annotate.Region
			for _, x := range w.over[i].regions {
				if x.Layer == layer.String() {
					list = append(list, x)
				}
			}
			return listOf(list)
		}
	}
	overlays.Columns = append(overlays.Columns, gltf.Column{Name: "area", Description: "Surface area in square millimetres", Type: "SCALAR", Component: "FLOAT64",
		Numbers: each(len(w.over), func(i int) float64 { return w.over[i].areaMM2 })})
	text(&overlays, facemap.Applied.String(), "Applied regions here, each with its kind", of(facemap.Applied))
	text(&overlays, facemap.Condition.String(), "Condition regions here, each with its kind", of(facemap.Condition))

	tables := []gltf.Table{regions, overlays}
	if len(w.lines) > 0 {
		lines := gltf.Table{Name: tableLines, Class: "line", Count: len(w.lines)}
		text(&lines, "id", "Line id", func(i int) string { return w.lines[i].ID })
		text(&lines, "kind", "join, contact_lost or pin", func(i int) string { return w.lines[i].Kind })
		text(&lines, "fit", "close, part or placed", func(i int) string { return w.lines[i].Fit })
		text(&lines, "pieces", "Pieces that meet here", func(i int) string { return strings.Join(w.lines[i].Pieces, listSeparator) })
		text(&lines, "date", "ISO 8601 or EDTF", func(i int) string { return w.lines[i].When })
		tables = append(tables, lines)
	}
	enum := gltf.Enum{Key: "substance", Name: "Substance of the outer surface"}
	for i, id := range terms.IDs(terms.Substance) {
		enum.Values = append(enum.Values, gltf.EnumValue{Name: id, Value: int64(i)})
	}
	return w.b.Tables(gltf.Schema{ID: "rigatino_map_1", Version: "1.0.0", Enums: []gltf.Enum{enum}}, tables)
}

func each[T any](n int, of func(i int) T) []T {
	out := make([]T, n)
	for i := range out {
		out[i] = of(i)
	}
	return out
}

// packet is the XMP packet: Dublin Core, Darwin Core and XMP rights, flat as
// KHR_xmp_json_ld asks.
func (w *writer) packet() map[string]any {
	s := w.in.Record.Specimen
	p := map[string]any{
		"@context": map[string]string{
			"dc": "http://purl.org/dc/elements/1.1/", "dwc": "http://rs.tdwg.org/dwc/terms/",
			"rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#", "xmp": "http://ns.adobe.com/xap/1.0/", "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
		},
		"@id":               "",
		"dc:title":          alternatives(strings.TrimSpace(s.CatalogueNumber + ", " + s.Title)),
		"dc:type":           map[string]any{"@set": []string{"Digital3DResource"}},
		"dc:format":         "model/gltf-binary",
		"dc:description":    alternatives("Scan with a map of what is original, filled, reconstructed, retouched or not examined. Surface as seen; not a certificate of authenticity."),
		"dwc:basisOfRecord": "FossilSpecimen",
		"xmp:CreatorTool":   "Rigatino",
	}
	for key, value := range map[string]string{
		"dc:identifier": s.CatalogueNumber, "dwc:catalogNumber": s.CatalogueNumber, "dwc:institutionCode": s.Institution,
		"dwc:scientificName": s.Taxon, "dwc:preparations": w.preparations(),
	} {
		if value != "" {
			p[key] = value
		}
	}
	if w.in.Date != "" {
		p["dc:date"] = map[string]any{"@list": []string{w.in.Date}}
	}
	if s.Rights != "" {
		p["dc:rights"] = alternatives(s.Rights)
		p["xmpRights:UsageTerms"] = alternatives(s.Rights)
	}
	if !s.LocalityReleased {
		p["dwc:informationWithheld"] = "place of find withheld"
	}
	return p
}

func alternatives(text string) map[string]any {
	return map[string]any{"@type": "rdf:Alt", "rdf:_1": map[string]string{"@language": "en", "@value": text}}
}

// preparations lists what was done in the form Darwin Core gives examples of.
func (w *writer) preparations() string {
	out := []string{"fossil"}
	for _, row := range []struct{ kind, words string }{
		{annotate.Matrix, "partly freed from matrix"}, {annotate.Fill, "gaps filled"}, {annotate.Reconstruction, "missing parts reconstructed"},
	} {
		if v, ok := w.in.Sheet.Surface.BySubstance[row.kind]; ok && v.Value > 0 {
			out = append(out, row.words)
		}
	}
	for _, row := range []struct{ kind, words string }{{"consolidant", "consolidated"}, {annotate.Retouch, "retouched"}} {
		if v, ok := w.in.Sheet.Surface.ByApplied[row.kind]; ok && v.Value > 0 {
			out = append(out, row.words)
		}
	}
	return strings.Join(out, " | ")
}

// extras says again, for readers without the extensions, what matters most.
func (w *writer) extras() error {
	x := extras{
		Schema: 1, Unit: "metre", Stage: w.in.Stage, TileMM: w.in.TileMM, Work: w.in.Record.Work, Tally: w.in.Sheet,
		Frame: "specimen frame: that of the body's first scan; node translations put the pieces there",
		Note:  "Surface as seen; interior, pins and hidden fills not examined. Not a certificate of authenticity. Shares are of the surface scanned.",
	}
	for _, b := range w.in.Bodies {
		s := scanOf{Use: b.Use, Piece: b.Piece, Scan: b.Scan.ID, Scale: b.Scale, Alignment: b.Source.Alignment, MeanEdgeMM: b.Surface.MeanEdge() * cmp.Or(b.Scale.Factor, 1)}
		for _, m := range b.Scan.Members {
			s.Members = append(s.Members, annotate.Member{Name: m.Name, SHA256: m.SHA256, Bytes: m.Bytes})
		}
		x.Scans = append(x.Scans, s)
	}
	seen := map[string]bool{}
	for _, stage := range w.in.Record.Stages {
		for _, c := range terms.CautionsForStage(stage.Kind) {
			if !seen[c.Hazard] {
				seen[c.Hazard] = true
				x.Caution = append(x.Caution, c.Line())
			}
		}
	}
	return w.b.Extras(map[string]any{"rigatino": x})
}
