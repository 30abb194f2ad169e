package glb

import (
	"fmt"
	"strings"

	"rigatino/annotate"
)

// Names of the tables, of their columns, and of the three variants. They are
// read back, so they are part of the file's form.
const (
	tableRegions  = "regions"
	tableOverlays = "overlays"
	tableLines    = "lines"

	variantAsSeen       = "as seen"
	variantMap          = "map"
	variantMapOnSurface = "map on surface"

	columnBand = "outline_band"

	roleRibbon = "join ribbon"
	nodeJoins  = "joins"

	// A list of regions in a table is "R9 retouch; R12 label".
	listSeparator = "; "
)

// labelled is a region named in a table's list.
type labelled struct{ id, kind string }

func listOf(regions []annotate.Region) string {
	var out []string
	for _, r := range regions {
		out = append(out, r.ID+" "+r.Kind)
	}
	return strings.Join(out, listSeparator)
}

func parseList(text string) ([]labelled, error) {
	if text == "" {
		return nil, nil
	}
	var out []labelled
	for _, item := range strings.Split(text, listSeparator) {
		id, kind, ok := strings.Cut(item, " ")
		if !ok || id == "" || kind == "" {
			return nil, fmt.Errorf("%q is not a region and its kind", item)
		}
		out = append(out, labelled{id, kind})
	}
	return out, nil
}
