package handover

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"rigatino/annotate"
)

// table writes rows as CSV (RFC 4180, UTF-8, CRLF). A field that a spreadsheet
// would take for a formula gets an apostrophe before it.
func table(w io.Writer, rows [][]string) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true
	for _, row := range rows {
		for i, f := range row {
			if f != "" && strings.ContainsRune("=@+", rune(f[0])) || strings.HasPrefix(f, "-") && !isNumber(f) {
				row[i] = "'" + f
			}
		}
		if err := c.Write(row); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

func isNumber(s string) bool {
	_, err := strconv.ParseFloat(s, 64)
	return err == nil
}

// number prints a value with the digits that its uncertainty leaves meaningful,
// and two more for whoever reckons on.
func number(v float64) string { return strconv.FormatFloat(v, 'g', 8, 64) }

func (m *material) regionsTable(w io.Writer) error {
	rows := [][]string{{"id", "use", "layer", "kind", "area_mm2", "area_u_mm2", "basis", "certainty", "examined_by", "material", "who", "when", "since", "reason", "note"}}
	for _, v := range m.sheet.Regions {
		var r annotate.Region
		for _, x := range m.record.Regions {
			if x.ID == v.ID && x.Use == v.Use {
				r = x
			}
		}
		rows = append(rows, []string{v.ID, v.Use, v.Layer, v.Kind, number(v.Area.Value), number(v.Area.U), r.Basis, r.Certainty, r.ExaminedBy, r.Material, r.Who, r.When, r.Since, r.Reason, r.Note})
	}
	return table(w, rows)
}

func (m *material) joinsTable(w io.Writer) error {
	rows := [][]string{{"id", "length_mm", "length_u_mm", "fit", "pieces", "who", "when", "note"}}
	for _, v := range m.sheet.Joins {
		var l annotate.Line
		for _, x := range m.record.Lines {
			if x.ID == v.ID {
				l = x
			}
		}
		rows = append(rows, []string{v.ID, number(v.Length.Value), number(v.Length.U), v.Fit, strings.Join(l.Pieces, " "), l.Who, l.When, l.Note})
	}
	return table(w, rows)
}

func (m *material) workTable(w io.Writer) error {
	rows := [][]string{{"id", "stage", "when", "who", "what", "tool", "materials", "reason", "authorised", "note"}}
	for _, x := range m.record.Work {
		var with []string
		for _, a := range x.Materials {
			s := a.Name
			if a.ResinG > 0 && a.SolventML > 0 {
				s += fmt.Sprintf(" %g g in %g mL %s", a.ResinG, a.SolventML, a.Solvent)
			}
			if a.AmountG > 0 {
				s += fmt.Sprintf(" %g g", a.AmountG)
			}
			with = append(with, s)
		}
		rows = append(rows, []string{x.ID, x.Stage, x.When, x.Who, x.What, x.Tool, strings.Join(with, "; "), x.Reason, x.Authorised, x.Note})
	}
	return table(w, rows)
}
