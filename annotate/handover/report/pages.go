package report

import (
	"fmt"
	"image"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/terms"
	"rigatino/mesh/quantity"
)

// views prints the named views, two in a row.
func views(p *paper, c Content) error {
	if len(c.Views) == 0 {
		return nil
	}
	p.page()
	p.heading("The map from six sides", 0)
	p.text(fmt.Sprintf("Hatching repeats every %g\u00a0mm on the surface, so it is also a scale bar. Names of views follow the specimen's orientation.", c.TileMM), sizeCaption, soft)
	p.gap(1.5)
	const gutter = 4.0
	wide := (textWide - gutter) / 2
	for i := 0; i < len(c.Views); i += 2 {
		high := 0.0
		for k := 0; k < 2 && i+k < len(c.Views); k++ {
			b := c.Views[i+k].Picture.Bounds()
			high = max(high, wide*float64(b.Dy())/float64(b.Dx()))
		}
		p.room(high + 8)
		top := p.y
		for k := 0; k < 2 && i+k < len(c.Views); k++ {
			v := c.Views[i+k]
			x := marginSide + float64(k)*(wide+gutter)
			h, err := p.picture(v.Picture, x, top, wide)
			if err != nil {
				return err
			}
			p.frame(x, top, wide, h, rule, 0.2)
			caption := "**" + v.Name + "**"
			if v.RestoredOfView != nil {
				caption += fmt.Sprintf("  %s of what this view shows is restored", percent(*v.RestoredOfView))
			}
			p.placed(caption, x, top+h+0.8, wide, sizeCaption, ink, false)
		}
		p.y = top + high + 6.5
	}
	legend(p, c)
	return nil
}

// legend names every pattern that the views hold.
func legend(p *paper, c Content) {
	p.room(24)
	p.heading("Legend", 1)
	cols := []columnSpec{{"", 18, false}, {"word", 38, false}, {"what it means", textWide - 56, false}}
	var rows [][]cell
	add := func(list terms.List, id string) {
		t, ok := terms.Get(list, id)
		if !ok || t.Look == nil {
			return
		}
		swatch := terms.Swatch(t.Look, nil, 130, 44, 10, terms.TileMM)
		if list != terms.Substance {
			swatch = terms.Swatch(nil, t.Look, 130, 44, 10, terms.TileMM)
		}
		rows = append(rows, []cell{{swatch: swatch}, {text: t.Label}, {text: t.Definition}})
	}
	for _, t := range terms.All(terms.Substance) {
		if _, ok := c.Sheet.Surface.BySubstance[t.ID]; ok {
			add(terms.Substance, t.ID)
		}
	}
	for _, id := range sortedKeys(c.Sheet.Surface.ByApplied) {
		add(terms.Applied, id)
	}
	for _, id := range sortedKeys(c.Sheet.Surface.ByCondition) {
		add(terms.Condition, id)
	}
	p.table(cols, rows)
	p.gap(2)
}

// changes prints what each pair of scans shows.
func changes(p *paper, c Content) error {
	if len(c.Changes) == 0 {
		return nil
	}
	p.gap(4)
	p.room(110)
	p.heading("What changed between the scans", 0)
	p.text("Removed is matter in the earlier scan and not in the later, added the reverse. Volumes are closed shells between the two surfaces, with a shared outline; below the smallest change a pair can show nothing is claimed. ± is at k·u as stated.", sizeCaption, soft)
	p.gap(2)
	for _, ch := range c.Changes {
		title := stageWord(c.Record, ch.From) + " to " + stageWord(c.Record, ch.To)
		if ch.Piece != "" && ch.Piece != "body" {
			title += ", " + ch.Piece
		}
		p.room(12 + changeHigh(ch.Picture) + changeHigh(ch.CloseUp))
		p.heading(title, 1)
		if ch.Picture != nil {
			h, err := p.picture(ch.Picture, marginSide, p.y, textWide*0.6)
			if err != nil {
				return err
			}
			p.frame(marginSide, p.y, textWide*0.6, h, rule, 0.2)
			changeScale(p, ch, marginSide+textWide*0.6+5, p.y+2)
			p.y += h + 2
		}
		if ch.CloseUp != nil {
			h, err := p.picture(ch.CloseUp, marginSide, p.y, textWide*0.6)
			if err != nil {
				return err
			}
			p.frame(marginSide, p.y, textWide*0.6, h, rule, 0.2)
			p.placed(fmt.Sprintf("**Close-up of %s**, %s", ch.CloseOn, ch.View), marginSide+textWide*0.6+5, p.y+2, textWide*0.4-6, sizeText, ink, false)
			p.y += h + 2
		}
		line := fmt.Sprintf("Smallest change this pair can show: %.2f\u00a0mm. ", ch.SmallestMM)
		for _, v := range []struct {
			word string
			m    *quantity.Measured
		}{{"Removed", ch.Removed}, {"Added", ch.Added}} {
			if v.m != nil {
				line += fmt.Sprintf("%s **%s** (k = %.1f). ", v.word, v.m.String(), v.m.K)
			}
		}
		p.text(line, sizeText, ink)
		agree := "They agree."
		if !ch.Consistent {
			agree = "**They do not agree; no value is an average of them.**"
		}
		if len(ch.Checks) > 0 {
			p.text("By other ways: "+strings.Join(ch.Checks, "; ")+". "+agree, sizeCaption, soft)
		}
		p.gap(1)
		if len(ch.Areas) > 0 {
			cols := []columnSpec{{"area", 14, false}, {"kind", 20, false}, {"what", 34, false}, {"surface", 34, true}, {"volume", 36, true}, {"mean, most deep", 36, true}}
			var rows [][]cell
			for _, a := range ch.Areas {
				rows = append(rows, []cell{{text: a.Name}, {text: a.Kind}, {text: a.What}, {text: orNot(a.Area)}, {text: orNot(a.Volume)}, {text: fmt.Sprintf("%.2f, %.2f\u00a0mm", a.MeanMM, a.MostMM)}})
			}
			p.table(cols, rows)
			p.gap(2)
		}
		if len(ch.Budget) > 0 {
			cols := []columnSpec{{"what makes the ± of the larger volume", 78, false}, {"u of it", 38, true}, {"its part, mm³", 34, true}, {"shape", 24, false}}
			var rows [][]cell
			for _, t := range ch.Budget {
				rows = append(rows, []cell{{text: t.Name}, {text: fmt.Sprintf("%.3g\u00a0%s", t.U, powers.Replace(t.Unit))}, {text: fmt.Sprintf("%.3g", t.Contribution())}, {text: string(t.Distribution)}})
			}
			p.table(cols, rows)
			p.gap(3)
		}
	}
	return nil
}

// changeHigh is the room that a picture of change takes, 0 for none.
func changeHigh(m image.Image) float64 {
	if m == nil {
		return 0
	}
	b := m.Bounds()
	return textWide*0.6*float64(b.Dy())/float64(b.Dx()) + 4
}

// changeScale prints what the colours and contours of a picture of change mean.
func changeScale(p *paper, ch Change, x, y float64) {
	wide := textWide*0.4 - 6
	y += p.placed("**"+ch.View+"**", x, y, wide, sizeText, ink, false) + 1
	const steps = 64
	for _, row := range []struct {
		word string
		ramp *terms.Ramp
	}{{"removed", terms.RemovedRamp()}, {"added", terms.AddedRamp()}} {
		for i := range steps {
			c := row.ramp[i*255/(steps-1)]
			p.f.SetFillColor(int(c.R), int(c.G), int(c.B))
			p.f.Rect(x+float64(i)*wide/steps, y, wide/steps+0.1, 4, "F")
		}
		p.frame(x, y, wide, 4, ink, 0.2)
		y += 4.4
		p.placed(fmt.Sprintf("%.2f\u00a0mm", ch.SmallestMM), x, y, wide/2, sizeCaption, ink, false)
		p.placed(fmt.Sprintf("%s, %g\u00a0mm", row.word, ch.FullMM), x+wide/2, y, wide/2, sizeCaption, ink, true)
		y += lineHigh(sizeCaption) + 2
	}
	p.placed(fmt.Sprintf("Thin solid lines: every %g\u00a0mm removed. Thick rim: added. Grey: below the smallest change this pair can show. Crosses: not in the other scan.", ch.StepMM), x, y, wide, sizeCaption, soft, false)
}

// powers prints the units of areas and volumes.
var powers = strings.NewReplacer("mm2", "mm²", "mm3", "mm³")

func orNot(m *quantity.Measured) string {
	if m == nil {
		return "not measured"
	}
	return m.String()
}

// regions prints every region and line of the map.
func regions(p *paper, c Content) error {
	if len(c.Sheet.Regions) == 0 && len(c.Sheet.Joins) == 0 {
		return nil
	}
	p.gap(4)
	p.room(60)
	p.heading("Regions and joins", 0)
	byID := map[string]annotate.Region{}
	for _, r := range c.Record.Regions {
		byID[r.Use+"/"+r.ID] = r
	}
	cols := []columnSpec{{"", 11, false}, {"what", 40, false}, {"area", 30, true}, {"how sure, how examined", 38, false}, {"with, by whom, when, why", textWide - 119, false}}
	var rows [][]cell
	for _, v := range c.Sheet.Regions {
		r := byID[v.Use+"/"+v.ID]
		what := terms.Label(terms.List(v.Layer), v.Kind)
		if r.Basis != "" {
			what += ": " + strings.ToLower(terms.Label(terms.Basis, r.Basis))
		}
		if r.Rest {
			what += " (all the rest)"
		}
		sure := strings.ToLower(terms.Label(terms.Certainty, r.Certainty))
		if r.ExaminedBy != "" {
			sure += "; " + strings.ToLower(terms.Label(terms.Method, r.ExaminedBy))
		}
		var rest []string
		for _, s := range []string{r.Material, initials(c.Record, r.Who), r.When, r.Reason, r.Note} {
			if s != "" {
				rest = append(rest, s)
			}
		}
		rows = append(rows, []cell{{text: "**" + v.ID + "**"}, {text: what}, {text: v.Area.String()}, {text: sure}, {text: strings.Join(rest, "; ")}})
	}
	p.table(cols, rows)
	if len(c.Sheet.Joins) > 0 {
		p.gap(3)
		rows = nil
		for _, j := range c.Sheet.Joins {
			var l annotate.Line
			for _, x := range c.Record.Lines {
				if x.ID == j.ID {
					l = x
				}
			}
			var rest []string
			for _, s := range []string{strings.Join(l.Pieces, " and "), initials(c.Record, l.Who), l.When, l.Note} {
				if s != "" {
					rest = append(rest, s)
				}
			}
			rows = append(rows, []cell{{text: "**" + j.ID + "**"}, {text: "Join"}, {text: j.Length.String()}, {text: terms.Label(terms.Fit, j.Fit)}, {text: strings.Join(rest, "; ")}})
		}
		cols[2].head, cols[3].head, cols[4].head = "length", "fit", "between, by whom, when"
		p.table(cols, rows)
	}
	fills(p, c)
	return nil
}

// fills prints the volume of filler, region by region.
func fills(p *paper, c Content) {
	if len(c.Sheet.Fills) == 0 {
		return
	}
	p.gap(3)
	cols := []columnSpec{{"fill", 28, false}, {"volume", 36, true}, {"mass", 30, true}, {"how it was found", textWide - 94, false}}
	var rows [][]cell
	for _, f := range c.Sheet.Fills {
		how, mass := f.WhyAbsent, ""
		if f.Volume != nil {
			how = f.Volume.Method
		}
		if f.Mass != nil {
			mass = f.Mass.String()
		}
		rows = append(rows, []cell{{text: "**" + strings.Join(f.Regions, ", ") + "**"}, {text: orNot(f.Volume)}, {text: mass}, {text: how}})
	}
	p.table(cols, rows)
	if v := c.Sheet.RestoredByVolume; v != nil {
		p.gap(1)
		words := "Restored by volume is not stated: " + v.WhyAbsent + "."
		if v.Low != nil {
			words = "Restored by volume: at least " + v.Low.String() + "; " + v.Low.Method + "."
		}
		p.text(words, sizeCaption, soft)
	}
}

func initials(r annotate.Record, id string) string {
	for _, x := range r.People {
		if x.ID == id {
			if x.Released && x.Name != "" {
				return x.Name
			}
			return x.Initials
		}
	}
	return id
}

// workDone prints the actions in the order of their dates.
func workDone(p *paper, c Content) error {
	if len(c.Record.Work) == 0 {
		return nil
	}
	p.gap(4)
	p.heading("Work done", 0)
	cols := []columnSpec{{"when", 28, false}, {"what", 44, false}, {"with", textWide - 28 - 44 - 18, false}, {"who", 18, false}}
	var rows [][]cell
	for _, w := range c.Record.Work {
		var with []string
		if w.Tool != "" {
			with = append(with, w.Tool)
		}
		for _, m := range w.Materials {
			with = append(with, materialWords(m))
		}
		for _, s := range []string{w.Reason, w.Note} {
			if s != "" {
				with = append(with, s)
			}
		}
		rows = append(rows, []cell{{text: w.When}, {text: w.What}, {text: strings.Join(with, "; ")}, {text: initials(c.Record, w.Who)}})
	}
	p.table(cols, rows)
	return nil
}

// materialWords says amounts as they were measured out, never a bare per cent.
func materialWords(m annotate.Material) string {
	out := m.Name
	if m.ResinG > 0 && m.SolventML > 0 {
		out += fmt.Sprintf(", %g\u00a0g in %g\u00a0mL %s", m.ResinG, m.SolventML, m.Solvent)
	}
	if m.AmountG > 0 {
		out += fmt.Sprintf(", %g\u00a0g", m.AmountG)
	}
	if m.Note != "" {
		out += " (" + m.Note + ")"
	}
	return out
}

// care prints the cautions of the specimen and of the work that was done.
func care(p *paper, c Content) error {
	var lines []string
	for _, s := range c.Record.Specimen.Cautions {
		if hazard, ok := terms.CautionFor(s); ok {
			lines = append(lines, hazard.Line())
		} else {
			lines = append(lines, s)
		}
	}
	seen := map[string]bool{}
	for _, s := range c.Record.Stages {
		for _, caution := range terms.CautionsForStage(s.Kind) {
			if !seen[caution.Hazard] {
				seen[caution.Hazard] = true
				lines = append(lines, caution.Line())
			}
		}
	}
	if len(lines) == 0 {
		return nil
	}
	p.gap(4)
	p.heading("Care", 0)
	for _, s := range lines {
		p.text(s, sizeText, ink)
		p.gap(0.8)
	}
	return nil
}

// openPoints prints what is wrong, missing or doubtful and was not settled.
func openPoints(p *paper, c Content) error {
	p.gap(4)
	p.heading("Open points", 0)
	if len(c.Sheet.OpenPoints) == 0 {
		p.text("None.", sizeText, ink)
		return nil
	}
	cols := []columnSpec{{"", 20, false}, {"about", 34, false}, {"what", 68, false}, {"way out", textWide - 122, false}}
	var rows [][]cell
	for i := 0; i < len(c.Sheet.OpenPoints); {
		o := c.Sheet.OpenPoints[i]
		n := alike(c.Sheet.OpenPoints[i:])
		about, reason := o.About, o.Reason
		if n > 2 {
			about = fmt.Sprintf("%s and %d more", o.About, n-1)
			reason += fmt.Sprintf("; the same of %d more", n-1)
		} else {
			n = 1
		}
		rows = append(rows, []cell{{text: "**" + terms.Label(terms.Severity, o.Severity) + "**"}, {text: about}, {text: reason}, {text: o.WayOut}})
		i += n
	}
	p.table(cols, rows)
	return nil
}

// alike counts the points at the head of a list that say the same of one thing
// after another.
func alike(points []annotate.OpenPoint) int {
	what := func(p annotate.OpenPoint) string {
		id, _, _ := strings.Cut(p.ID, ":")
		return id + "\x00" + p.Severity + "\x00" + p.WayOut
	}
	n := 1
	for n < len(points) && what(points[n]) == what(points[0]) {
		n++
	}
	return n
}

// definitions prints the formulas in full.
func definitions(p *paper, c Content) error {
	p.gap(4)
	p.heading("Definitions of the values", 0)
	for _, s := range []string{
		"**Surface.** S = total − matrix − support: the specimen's surface as scanned. Areas are sums of triangles at the scan's own resolution; roughness finer than that is not in them, noise adds a little.",
		"**Restored by area.** R = fill + reconstruction, U = uncertain + not examined. Restored = R/S with the range R/S to (R + U)/S. Above U/S = 20\u00a0% only the range is stated. No published formula for the restored share of a fossil is known to us; this one is ours and is therefore printed.",
		"**Changed in look** is the union of fill, reconstruction and retouch, never their sum. **Retouch over original** has a line of its own. **Matrix left** is a share of the whole surface scanned.",
		"**A join** has a length along the surface and no area. **Openings** are what the scan did not reach or a program closed.",
		"**Volumes** are divergence integrals over the closed shell of the earlier surface, a ribbon and the later surface; never a difference of two open scans, never area times distance. What the flat triangles cut off round surface is estimated and added, unless the surface round a change shows that they fit as they are. Their uncertainty is a budget after JCGM 100.",
		"**Fit residual** of an alignment is not accuracy: accuracy comes from places that took no part in the fit.",
		"**Restored is not complete.** How much of the bone or the animal is there is another quantity and is not stated here.",
	} {
		p.text(s, sizeText, ink)
		p.gap(1)
	}
	return nil
}

// scansBehind prints what the figures rest on.
func scansBehind(p *paper, c Content) error {
	if len(c.Scans) == 0 {
		return nil
	}
	p.gap(3)
	const firstRow = 34 // head of the table and a scan whose alignment takes four lines, mm
	p.room(firstRow)
	p.heading("The scans behind this report", 0)
	cols := []columnSpec{{"stage/piece/part", 40, false}, {"triangles, mean edge", 34, false}, {"scale", 34, false}, {"alignment", 40, false}, {"SHA-256", textWide - 148, false}}
	var rows [][]cell
	for _, s := range c.Scans {
		hash := s.SHA256
		if len(hash) > 16 {
			hash = hash[:16] + "…"
		}
		size := thousands(s.Triangles)
		if s.MeanEdgeMM > 0 {
			size += fmt.Sprintf(", %.2g\u00a0mm", s.MeanEdgeMM)
		}
		rows = append(rows, []cell{{text: s.Use}, {text: size}, {text: s.Scale}, {text: s.Alignment}, {text: hash}})
	}
	p.table(cols, rows)
	scales(p, c.Scans)
	return nil
}

// scales says what the scale of the scans is worth, each sentence once.
func scales(p *paper, scans []Scan) {
	var said []string
	of := map[string][]string{}
	for _, s := range scans {
		if s.ScaleWorth == "" {
			continue
		}
		if of[s.ScaleWorth] == nil {
			said = append(said, s.ScaleWorth)
		}
		of[s.ScaleWorth] = append(of[s.ScaleWorth], s.Use)
	}
	for _, words := range said {
		who := strings.Join(of[words], ", ")
		if len(said) == 1 && len(scans) > 1 {
			who = "all scans"
		}
		p.text("Scale of "+who+": "+words+".", sizeCaption, soft)
	}
}

// thousands groups digits with thin spaces, as ISO 80000-1 does.
func thousands(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "\u00a0" + s[i:]
	}
	return s
}
