package report

import (
	"fmt"
	"io"
	"math"
	"sort"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/tally"
	"rigatino/annotate/terms"
	"rigatino/assets"
	"rigatino/mesh/quantity"
)

const noCertificate = "Surface as seen; interior, pins and hidden fills not examined. Not a certificate of authenticity."

// Write prints a report as PDF. The same content gives the same bytes.
func Write(w io.Writer, c Content) error {
	if c.Sheet == nil {
		return fmt.Errorf("a report needs the sheet of values of its stage")
	}
	title := strings.TrimSpace(c.Record.Specimen.CatalogueNumber + "  " + c.Record.Specimen.Title)
	p := newPaper(document{title: title, subject: "Map of restoration and preparation", author: c.Record.Specimen.Institution, made: c.Made, xmp: xmp(c, title)})
	p.foot = func(int) { foot(p, c) }
	steps := []func(*paper, Content) error{first, views, changes, regions, workDone, care, openPoints, definitions, scansBehind}
	p.page()
	for _, step := range steps {
		if err := step(p, c); err != nil {
			return err
		}
	}
	return p.write(w)
}

func foot(p *paper, c Content) {
	y, left, wide := p.y, p.left, p.wide
	p.whole()
	p.y = pageHigh - marginFoot + 5
	p.hairline(rule, 0.2)
	at := p.y + 1.5
	p.placed("**"+noCertificate+"**", p.left, at, textWide-38, sizeCaption, ink, false)
	// The number of pages is put in at the end; two digits are kept free for it.
	p.placed(fmt.Sprintf("Rigatino, page %d of {pages}", p.f.PageNo()), p.left+textWide-p.width(word{text: fmt.Sprintf("Rigatino, page %d of 00", p.f.PageNo())}, sizeCaption), at, 60, sizeCaption, soft, false)
	status := "signed by " + c.SignedBy
	if c.SignedBy == "" {
		status = "DRAFT, not signed"
	}
	p.placed(fmt.Sprintf("%s, hand-over %d, %s. %s", c.Record.Specimen.CatalogueNumber, c.Number, c.Made.Format("2 January 2006"), status), p.left, at+4, textWide-38, sizeCaption, soft, false)
	p.y, p.left, p.wide = y, left, wide
}

// first is the page that answers the three readers.
func first(p *paper, c Content) error {
	sp := c.Record.Specimen
	if _, err := p.picture(assets.Icon(128), marginSide, p.y, 10); err != nil {
		return err
	}
	boxWide := 30.0
	p.column(13, textWide-13-boxWide-4)
	p.text("**"+sp.CatalogueNumber+"**  "+sp.Title, sizeTitle, ink)
	var under []string
	for _, s := range []string{sp.Institution, sp.Taxon, fmt.Sprintf("hand-over %d, %s", c.Number, c.Made.Format("2 January 2006"))} {
		if s != "" {
			under = append(under, s)
		}
	}
	p.text(strings.Join(under, ";  "), sizeCaption, soft)
	end := p.y
	p.whole()
	x, y := marginSide+textWide-boxWide, float64(marginTop)
	if c.SignedBy == "" {
		p.frame(x, y, boxWide, 13, red, 0.8)
		p.placed("**DRAFT**", x+7, y+2, boxWide-8, 14, red, false)
		p.placed("not signed", x+8.5, y+8.4, boxWide-8, sizeCaption, red, false)
	} else {
		p.frame(x, y, boxWide, 13, ink, 0.3)
		p.placed("signed", x+2, y+1.6, boxWide-4, sizeCaption, soft, false)
		p.placed("**"+c.SignedBy+"**", x+2, y+5.4, boxWide-4, sizeText, ink, false)
	}
	p.y = max(end, y+15) + 1
	p.hairline(ink, 0.5)
	p.gap(2.5)
	p.text(lead(c.Sheet), sizeLead, ink)
	p.gap(2)

	if c.Front.Picture != nil {
		top := p.y
		high, err := p.picture(c.Front.Picture, marginSide, top, textWide)
		if err != nil {
			return err
		}
		p.frame(marginSide, top, textWide, high, rule, 0.2)
		p.placed("**Map** "+c.Front.Name, marginSide+2, top+1.5, 100, sizeText, ink, false)
		p.y = top + high + 2
	}

	p.f.Bookmark("What the surface is", 0, p.y)
	top := p.y
	const leftWide, gutter = 106.0, 6.0
	p.column(0, leftWide)
	p.bold("What the surface is", sizeHeading, ink)
	p.gap(1)
	surfaceTable(p, c.Sheet)
	p.gap(4)
	p.box("Before you measure", []string{
		"Fill, reconstruction and what is not examined are no surface of the fossil. A length that ends on them, or crosses a join marked placed, does not stand.",
	}, ink)
	leftEnd, leftPage := p.y, p.f.PageNo()
	if leftPage == 1 {
		p.y = top
	}
	p.column(leftWide+gutter, textWide-leftWide-gutter)
	reckoned(p, c)
	p.whole()
	if leftPage == p.f.PageNo() {
		p.y = max(p.y, leftEnd)
	}
	p.gap(3)
	return nil
}

// lead is the sentence that everybody reads.
func lead(s *tally.Sheet) string {
	r := s.Restored
	switch {
	case r.Low == nil:
		return "**" + sentence(r.WhyAbsent) + "** No share restored can be stated."
	case r.Share == nil:
		return fmt.Sprintf("**Between %s and %s of the surface scanned is restored.** %s", percent(r.Low.Value), percent(r.High.Value), sentence(r.WhyAbsent))
	case r.Share.Value == 0 && r.High.Value == 0:
		return "**No restoration recorded on the surface scanned.** How it was examined stands with each region."
	}
	out := fmt.Sprintf("**Fill and reconstruction cover %s of the surface scanned (range %s to %s).**", r.Share.String(), percent(r.Low.Value), percent(r.High.Value))
	if u, ok := s.Surface.BySubstance["unassigned"]; ok && s.Surface.SpecimenMM2 > 0 && u.Value > 0 {
		out += fmt.Sprintf(" %s has not been examined.", percent(u.Value/s.Surface.SpecimenMM2))
	}
	return out
}

func sentence(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// percent prints a share that has no uncertainty of its own beside it, as the
// end of a range, with one decimal: scans seldom allow more.
func percent(share float64) string {
	return fmt.Sprintf("%.1f\u00a0%%", 100*share)
}

// surfaceTable lists areas with their hatch.
func surfaceTable(p *paper, s *tally.Sheet) {
	cols := []columnSpec{{"", 16, false}, {"", 44, false}, {"area, ± at k = 2", 30, true}, {"of S", 16, true}}
	var rows [][]cell
	row := func(list terms.List, id string, m quantity.Measured, ofS bool) {
		t, ok := terms.Get(list, id)
		label := terms.Label(list, id)
		c := cell{}
		if ok && t.Look != nil {
			if list == terms.Substance {
				c.swatch = terms.Swatch(t.Look, nil, 130, 44, 10, terms.TileMM)
			} else {
				c.swatch = terms.Swatch(nil, t.Look, 130, 44, 10, terms.TileMM)
			}
		}
		share := ""
		if ofS && s.Surface.SpecimenMM2 > 0 {
			share = percent(m.Value / s.Surface.SpecimenMM2)
		}
		rows = append(rows, []cell{c, {text: label}, {text: m.String()}, {text: share}})
	}
	inS := func(id string) bool { return id != "matrix" && id != "support" }
	for _, t := range terms.All(terms.Substance) {
		if m, ok := s.Surface.BySubstance[t.ID]; ok && inS(t.ID) {
			row(terms.Substance, t.ID, m, true)
		}
	}
	if s.Surface.Specimen != nil {
		rows = append(rows, []cell{{}, {text: "**Specimen surface scanned, S**"}, {text: "**" + s.Surface.Specimen.String() + "**"}, {text: "**100\u00a0%**"}})
	}
	for _, id := range []string{"matrix", "support"} {
		if m, ok := s.Surface.BySubstance[id]; ok {
			row(terms.Substance, id, m, false)
		}
	}
	for _, list := range []struct {
		list terms.List
		by   map[string]quantity.Measured
	}{{terms.Applied, s.Surface.ByApplied}, {terms.Condition, s.Surface.ByCondition}} {
		for _, t := range terms.All(list.list) {
			if m, ok := list.by[t.ID]; ok {
				row(list.list, t.ID, m, true)
			}
		}
	}
	p.table(cols, rows)
}

// reckoned is the narrow column beside the table.
func reckoned(p *paper, c Content) {
	s := c.Sheet
	p.bold("How it is reckoned", sizeHeading, ink)
	p.gap(0.5)
	text := "Surface scanned S = whole scan − matrix − support"
	if s.Surface.Specimen != nil {
		text += " = " + s.Surface.Specimen.String()
	}
	p.text(text+". Restored = (fill + reconstruction) / S. The upper end of the range adds uncertain and not examined.", sizeCaption, soft)
	if s.ChangedInLook != nil {
		p.text("Changed in look (fill, reconstruction and retouch together) "+s.ChangedInLook.String()+".", sizeCaption, soft)
	}
	if s.RetouchOverOriginal != nil {
		p.text("Retouch over original "+s.RetouchOverOriginal.String()+".", sizeCaption, soft)
	}
	if s.MatrixLeft != nil && s.MatrixLeft.Value > 0 {
		p.text("Matrix left "+s.MatrixLeft.String()+" of the whole surface scanned.", sizeCaption, soft)
	}
	if s.Surface.Openings > 0 {
		p.text(fmt.Sprintf("The scan has %d openings, about %.1f\u00a0cm² that nobody could map.", s.Surface.Openings, s.Surface.OpeningsMM2/100), sizeCaption, soft)
	}
	for _, j := range s.Joins {
		p.text(fmt.Sprintf("%s: join, %s, %s; a join has a length and no area.", j.ID, strings.ToLower(terms.Label(terms.Fit, j.Fit)), j.Length.String()), sizeCaption, soft)
	}
	if len(s.Volumes) > 0 {
		p.gap(2)
		p.bold("Volumes", sizeHeading, ink)
		p.gap(0.5)
		for _, v := range s.Volumes {
			p.text(volumeLine(v, c.Record), sizeText, ink)
		}
	}
}

// volumeLine says what changed between two stages; what is within its own
// uncertainty is left to the page on changes.
func volumeLine(v tally.Volume, r annotate.Record) string {
	what := stageKind(r, v.From) + " to " + stageKind(r, v.To)
	if v.Piece != "body" && v.Piece != "" {
		what += " (" + v.Piece + ")"
	}
	var parts []string
	measured := false
	for _, m := range []struct {
		word string
		m    *quantity.Measured
	}{{"removed", v.Removed}, {"added", v.Added}} {
		if m.m == nil {
			continue
		}
		measured = true
		if math.Abs(m.m.Value) > m.m.Expanded() {
			parts = append(parts, m.word+" **"+m.m.String()+"**")
		}
	}
	switch {
	case !measured:
		parts = append(parts, "not measured")
	case len(parts) == 0:
		parts = append(parts, "no more than this pair can show")
	}
	return what + ": " + strings.Join(parts, ", ") + "."
}

// stageKind names a stage by its kind alone.
func stageKind(r annotate.Record, id string) string {
	for _, s := range r.Stages {
		if s.ID == id {
			return strings.ToLower(terms.Label(terms.StageKind, s.Kind))
		}
	}
	return id
}

// stageWord names a stage by its kind and date.
func stageWord(r annotate.Record, id string) string {
	for _, s := range r.Stages {
		if s.ID == id {
			return strings.ToLower(terms.Label(terms.StageKind, s.Kind)) + " " + s.Date
		}
	}
	return id
}

// sortedKeys lists the keys of a map in order.
func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
