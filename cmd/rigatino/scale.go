package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/project"
	"rigatino/mesh/quantity"
	"rigatino/mesh/scale"
)

type scaleCommand struct {
	Project        string   `arg:"" help:"Folder of the project."`
	Stage          string   `arg:"" help:"Stage whose scan is scaled."`
	Piece          string   `default:"body" help:"Piece."`
	Part           string   `help:"Part of the piece, where there are several."`
	Bar            []string `sep:"none" placeholder:"x,y,z:x,y,z:L:u" help:"A scale bar: its ends in the scan's frame, its stated length and the standard uncertainty of that, mm; or measured:L:u where its length in the scan is known and not its ends. As often as there are bars; they replace those before."`
	HeldOut        []string `sep:"none" placeholder:"x,y,z:x,y,z:L:u" help:"A bar that only checks the others."`
	Picks          string   `help:"File of bars: {\"unit\":\"mm\",\"bars\":[{\"name\",\"from\":[x,y,z],\"to\":[x,y,z],\"length\",\"u\"}]}."`
	EndU           float64  `help:"Standard uncertainty of each picked end, mm of the scan; else a tenth of a millimetre or half an edge of the scan, whichever is more."`
	CommonU        float64  `help:"Standard uncertainty of what the calibrations of all bars have in common, mm."`
	LengthsChecked bool     `help:"The lengths were looked at again: use the factor though it looks like a wrong unit."`
	NoBars         bool     `help:"Take all bars away: the scale is as the scan states it."`
}

// scaleDoc is the document of the command.
type scaleDoc struct {
	Schema     int                  `json:"schema"`
	Project    string               `json:"project"`
	Use        string               `json:"use"`
	Scale      scaleValue           `json:"scale"`
	Bars       []barDoc             `json:"bars"`
	AlignAgain []string             `json:"align_again"`
	OpenPoints []annotate.OpenPoint `json:"open_points"`
}

type scaleValue struct {
	Verdict  string             `json:"verdict"`
	Sentence string             `json:"sentence"`
	Reason   string             `json:"reason"`
	NextStep string             `json:"next_step"`
	Factor   *quantity.Measured `json:"factor,omitempty"`
	// With two bars or more.
	Birge       *float64 `json:"birge_ratio,omitempty"`
	LengthError *float64 `json:"largest_length_error_mm,omitempty"`
	// Set where the factor is not used, because it looks like a wrong unit.
	UnitSlip *float64 `json:"unit_slip,omitempty"`
}

type barDoc struct {
	Name      string      `json:"name"`
	From      *[3]float64 `json:"from_mm,omitempty"`
	To        *[3]float64 `json:"to_mm,omitempty"`
	Length    float64     `json:"length_mm"`
	LengthU   float64     `json:"length_u_mm"`
	Measured  float64     `json:"measured_mm"`
	MeasuredU float64     `json:"measured_u_mm"`
	HeldOut   bool        `json:"held_out"`
	Residual  float64     `json:"residual_mm"`
	// From the other bars, where there are any.
	LengthError   *quantity.Measured `json:"length_error,omitempty"`
	FactorWithout *float64           `json:"factor_without,omitempty"`
}

// Run sets the scale from bars, or says what it is where none are given.
func (c *scaleCommand) Run(j *job) error {
	bars, err := c.bars()
	if err != nil {
		return err
	}
	switch {
	case c.NoBars && len(bars) > 0:
		return usagef("give bars or --no-bars, not both")
	case c.EndU < 0 || c.CommonU < 0:
		return usagef("an uncertainty is 0 or more, in mm")
	case len(bars) == 0 && (c.LengthsChecked || c.CommonU > 0 || c.EndU > 0):
		return usagef("--lengths-checked, --common-u and --end-u go with bars: give them again with --bar or --picks")
	}
	doc := scaleDoc{Schema: 1, Project: c.Project, AlignAgain: []string{}, OpenPoints: []annotate.OpenPoint{}}
	work := func(p *project.Project) error {
		record := p.Record()
		use, err := record.FindUse(c.Stage, c.Piece, c.Part)
		if err != nil {
			return err
		}
		doc.Use = use.Key().String()
		if len(bars) == 0 && !c.NoBars {
			found, err := p.Calibration(use.Key())
			if err != nil {
				return err
			}
			doc.fill(use.Scale, found)
			doc.points(p.OpenPoints())
			return nil
		}
		out, err := p.SetScale(j.ctx, use.Key(), project.Scaling{Bars: bars, CommonU: c.CommonU, LengthsChecked: c.LengthsChecked, Progress: j.progress})
		if err != nil {
			return err
		}
		doc.fill(out.Scale, out.Calibration)
		for _, key := range out.Stale {
			doc.AlignAgain = append(doc.AlignAgain, key.String())
		}
		doc.points(p.OpenPoints())
		doc.OpenPoints = append(doc.OpenPoints, findings(doc.Use, out.Notes)...)
		return nil
	}
	if len(bars) == 0 && !c.NoBars {
		err = j.look(c.Project, work)
	} else {
		err = j.open(c.Project, work)
	}
	if err != nil {
		return err
	}
	if err := j.print(doc, doc.print); err != nil {
		return err
	}
	if doc.Scale.UnitSlip != nil {
		return refusedf("%s: %s; %s (--lengths-checked)", doc.Use, doc.Scale.Reason, doc.Scale.NextStep)
	}
	return nil
}

// bars gathers the bars of the command line and of the file.
func (c *scaleCommand) bars() ([]annotate.ScaleBar, error) {
	var out []annotate.ScaleBar
	for _, list := range []struct {
		flag string
		bars []string
		held bool
	}{{"--bar", c.Bar, false}, {"--held-out", c.HeldOut, true}} {
		for _, text := range list.bars {
			b, err := parseBar(text)
			if err != nil {
				return nil, usagef("%s %s: %w", list.flag, text, err)
			}
			b.HeldOut = list.held
			out = append(out, b)
		}
	}
	if c.Picks != "" {
		more, err := readBars(c.Picks)
		if err != nil {
			return nil, err
		}
		out = append(out, more...)
	}
	for i := range out {
		if out[i].MeasuredU == 0 && out[i].From != nil {
			out[i].MeasuredU = math.Sqrt2 * c.EndU // two ends, independent
		}
	}
	return out, nil
}

// parseBar reads x,y,z:x,y,z:L:u or measured:L:u.
func parseBar(text string) (annotate.ScaleBar, error) {
	var b annotate.ScaleBar
	parts := strings.Split(text, ":")
	number := func(text string) (float64, error) {
		v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil {
			return 0, fmt.Errorf("%q is no number", text)
		}
		return v, nil
	}
	end := func(text string) (*[3]float64, error) {
		c := strings.Split(text, ",")
		if len(c) != 3 {
			return nil, fmt.Errorf("%q is no place: write x,y,z in mm", text)
		}
		var at [3]float64
		for i := range at {
			var err error
			if at[i], err = number(c[i]); err != nil {
				return nil, err
			}
		}
		return &at, nil
	}
	var err error
	switch n := len(parts); {
	case n == 3 && !strings.Contains(parts[0], ","):
		b.Measured, err = number(parts[0])
	case n == 4:
		if b.From, err = end(parts[0]); err == nil {
			b.To, err = end(parts[1])
		}
		parts = parts[1:]
	default:
		return b, fmt.Errorf("a bar is written x,y,z:x,y,z:L:u or measured:L:u")
	}
	if err == nil {
		b.Length, err = number(parts[1])
	}
	if err == nil {
		b.U, err = number(parts[2])
	}
	return b, err
}

// readBars reads a file of bars, mm in the scan's frame.
func readBars(path string) ([]annotate.ScaleBar, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the bars: %w", err)
	}
	var file struct {
		Unit string `json:"unit"`
		Bars []struct {
			Name      string      `json:"name"`
			From      *[3]float64 `json:"from"`
			To        *[3]float64 `json:"to"`
			Measured  float64     `json:"measured"`
			MeasuredU float64     `json:"measured_u"`
			Length    float64     `json:"length"`
			U         float64     `json:"u"`
			HeldOut   bool        `json:"held_out"`
		} `json:"bars"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		return nil, fmt.Errorf("%s is not a file of bars: %w", path, err)
	}
	if file.Unit != "mm" {
		return nil, fmt.Errorf("%s: unit is %q: give places and lengths in mm and say \"unit\":\"mm\"", path, file.Unit)
	}
	if len(file.Bars) == 0 {
		return nil, fmt.Errorf("%s holds no bars: list them under \"bars\"", path)
	}
	var out []annotate.ScaleBar
	for _, b := range file.Bars {
		out = append(out, annotate.ScaleBar{Name: b.Name, From: b.From, To: b.To, Measured: b.Measured, MeasuredU: b.MeasuredU, Length: b.Length, U: b.U, HeldOut: b.HeldOut})
	}
	return out, nil
}

// fill says what is on record and what the fit makes of it.
func (d *scaleDoc) fill(s annotate.Scale, found *scale.Calibration) {
	d.Scale = scaleValue{Verdict: s.Verdict, Sentence: s.Words(), Reason: found.Reason, NextStep: found.NextStep}
	d.Bars = []barDoc{}
	if len(s.Bars) == 0 {
		if s.Verdict != annotate.ScaleAsStated {
			d.Scale.Reason, d.Scale.NextStep = "the scale was found by laying the scan on another one", "measure scale bars in the scan"
			d.Scale.Factor = &quantity.Measured{Value: s.Calibrated(), U: s.Calibrated() * s.RelativeU, K: 2, Unit: quantity.Share, Method: "similarity fit to another scan"}
		}
		return
	}
	d.Scale.Factor = &quantity.Measured{Value: found.Factor, U: found.U, K: 2, Unit: quantity.Share, Method: "weighted fit to scale bars"}
	if found.Slip != nil {
		d.Scale.UnitSlip = &found.Slip.Ratio
	}
	if found.External > 0 {
		d.Scale.Birge = &found.Birge
	}
	if largest, ok := found.LargestLengthErrorMM(); ok {
		d.Scale.LengthError = &largest
	}
	for i, b := range s.Bars {
		r := found.Readings[i]
		bar := barDoc{Name: b.Name, From: b.From, To: b.To, Length: b.Length, LengthU: b.U, Measured: b.MeasuredMM(), MeasuredU: b.MeasuredU, HeldOut: b.HeldOut, Residual: r.ResidualMM}
		if r.Predicted {
			bar.LengthError = &quantity.Measured{Value: r.LengthErrorMM, U: r.LengthErrorUMM, K: 2, Unit: quantity.Millimetre, Method: "stated length less the one that the other bars give"}
			bar.FactorWithout = &r.FactorWithout
		}
		d.Bars = append(d.Bars, bar)
	}
}

// points keeps the open points that are about this use.
func (d *scaleDoc) points(all []annotate.OpenPoint) {
	for _, p := range all {
		if p.About == d.Use || strings.HasPrefix(p.ID, "not_aligned:") {
			d.OpenPoints = append(d.OpenPoints, p)
		}
	}
}

func (d scaleDoc) print(w io.Writer) {
	s := d.Scale
	fmt.Fprintf(w, "Scale of %s: %s.\n", d.Use, s.Sentence)
	if s.Factor != nil {
		fmt.Fprintf(w, "  factor %.8g, standard uncertainty %.2g; %s\n", s.Factor.Value, s.Factor.U, s.Reason)
	}
	for _, b := range d.Bars {
		held := ""
		if b.HeldOut {
			held = ", held out"
		}
		fmt.Fprintf(w, "  %-8s stated %.8g ± %.2g mm, in the scan %.8g ± %.2g mm (standard uncertainties), residual %+.4f mm%s", b.Name, b.Length, b.LengthU, b.Measured, b.MeasuredU, b.Residual, held)
		if e := b.LengthError; e != nil {
			fmt.Fprintf(w, "; from the other bars %+.4f ± %.2g mm", e.Value, e.U)
		}
		fmt.Fprintln(w)
	}
	if s.NextStep != "" {
		fmt.Fprintf(w, "  next: %s\n", s.NextStep)
	}
	if len(d.AlignAgain) > 0 {
		fmt.Fprintf(w, "  align again, since their sizes differ now: %s\n", strings.Join(d.AlignAgain, ", "))
	}
	printPoints(w, d.OpenPoints)
}
