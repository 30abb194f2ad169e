package project

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/history"
	"rigatino/mesh"
	"rigatino/mesh/scale"
)

// Scaling says what is known of the size of a scan.
type Scaling struct {
	// Bars are all that count: they stand in the place of those before. Without
	// any, the scale is as the scan states it. A bar without uncertainty of its
	// length in the scan gets one; see BarEndU.
	Bars []annotate.ScaleBar
	// CommonU is the standard uncertainty of what their calibrations have in
	// common, mm.
	CommonU float64
	// LengthsChecked says that a person looked at the lengths again, so that a
	// factor that looks like a wrong unit is used.
	LengthsChecked bool
	Progress       func(done float64, words string)
}

// Scaled is what came of it.
type Scaled struct {
	Scale       annotate.Scale
	Calibration *scale.Calibration
	// Notes are about the bars themselves: what would make them better, and ends
	// that do not lie on the surface.
	Notes []mesh.Finding
	// Stale are the uses whose alignment is out of date by it.
	Stale []annotate.UseKey
}

// SetScale finds the scale of a use from bars and stores both, as one action.
// Alignments that rest on the size of this scan are carried along; those between
// scans whose sizes now differ from before are marked to be found again, and
// nothing is measured with them until then.
func (p *Project) SetScale(ctx context.Context, key annotate.UseKey, s Scaling) (*Scaled, error) {
	loaded, err := p.LoadUse(ctx, key, s.Progress)
	if err != nil {
		return nil, err
	}
	entry := annotate.Scale{Bars: named(s.Bars), CommonU: s.CommonU, LengthsChecked: s.LengthsChecked}
	for i := range entry.Bars {
		b := &entry.Bars[i]
		if (b.From == nil) != (b.To == nil) {
			return nil, fmt.Errorf("bar %s has one end only: give both, or its length in the scan", b.Name)
		}
		if b.MeasuredU == 0 && b.MeasuredMM() > 0 && b.Length > 0 {
			b.MeasuredU = math.Sqrt2 * BarEndU(loaded.Surface, b.Length/b.MeasuredMM())
		}
	}
	found, err := calibration(entry)
	if err != nil {
		return nil, fmt.Errorf("scale of %v: %w", key, err)
	}
	entry.Verdict, entry.Factor = found.Verdict, 1
	if found.Verdict != scale.AsStated {
		entry.Factor, entry.RelativeU = found.Factor, found.RelativeU()
	}
	out := &Scaled{Scale: entry, Calibration: found, Notes: p.barNotes(loaded, entry)}
	_, err = p.do(fmt.Sprintf("scale bars of %v changed", key), func(d *history.Draft) error {
		u := d.Record.Use(key)
		if u == nil {
			return fmt.Errorf("use %v was taken away meanwhile", key)
		}
		grown := entry.Factor / u.Scale.Calibrated()
		entry.Newer = u.Scale.Newer
		u.Scale = entry
		out.Stale = rescaled(&d.Record, key, grown)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// Calibration fits the bars of a use again and gives what the record does not
// hold: residuals, length errors and the reason for the verdict. It loads no
// scan.
func (p *Project) Calibration(key annotate.UseKey) (*scale.Calibration, error) {
	record := p.Record()
	u := record.Use(key)
	if u == nil {
		return nil, fmt.Errorf("use %v does not exist: add its scan first", key)
	}
	found, err := calibration(u.Scale)
	if err != nil {
		return nil, fmt.Errorf("scale of %v: %w", key, err)
	}
	return found, nil
}

// BarNotes says what would make the bars of a use better witnesses.
func (p *Project) BarNotes(loaded *Loaded) []mesh.Finding {
	return p.barNotes(loaded, loaded.Use.Scale)
}

// Limits of how well the end of a bar is found, in mm on the specimen and in mean
// edges of the scan (our own figures, no source).
const (
	barEndMM    = 0.1
	barEndEdges = 0.5
)

// BarEndU is the standard uncertainty of one end of a bar picked on a surface, in
// mm of the scan; factor is what the scan's lengths are multiplied by, about.
func BarEndU(s *facemap.Surface, factor float64) float64 {
	return math.Max(barEndMM/factor, barEndEdges*s.MeanEdge())
}

// named copies bars and names those without a name.
func named(bars []annotate.ScaleBar) []annotate.ScaleBar {
	out := append([]annotate.ScaleBar(nil), bars...)
	for i := range out {
		if out[i].Name == "" {
			out[i].Name = annotate.NextID("B", out, func(b annotate.ScaleBar) string { return b.Name })
		}
	}
	return out
}

// barsOf gives the bars of a record to the fit.
func barsOf(s annotate.Scale) []scale.Bar {
	var out []scale.Bar
	for _, b := range s.Bars {
		bar := scale.Bar{Name: b.Name, LengthMM: b.Length, LengthUMM: b.U, MeasuredMM: b.MeasuredMM(), MeasuredUMM: b.MeasuredU, HeldOut: b.HeldOut}
		if b.From != nil && b.To != nil {
			bar.Along = r3.Sub(vec(*b.To), vec(*b.From))
		}
		out = append(out, bar)
	}
	return out
}

func calibration(s annotate.Scale) (*scale.Calibration, error) {
	return scale.Fit(barsOf(s), scale.Options{CommonUMM: s.CommonU, LengthsChecked: s.LengthsChecked})
}

// barNotes adds to the advice what only the surface shows.
func (p *Project) barNotes(loaded *Loaded, s annotate.Scale) []mesh.Finding {
	out := scale.Advice(barsOf(s), mesh.Bounds(loaded.Surface.Mesh).Diagonal())
	for _, b := range s.Bars {
		if b.From == nil || b.To == nil {
			continue
		}
		for _, end := range []*[3]float64{b.From, b.To} {
			if _, away, ok := loaded.Surface.Locate(vec(*end)); ok && away > offSurface*loaded.Surface.MeanEdge() {
				out = append(out, mesh.Finding{
					ID: "bar_end_off_surface", Severity: mesh.Note,
					Reason: fmt.Sprintf("an end of bar %s lies %.3g\u00a0mm off the surface: nobody can check it on the scan", b.Name, away),
					WayOut: "look whether its places are in this scan's frame and in mm",
				})
				break
			}
		}
	}
	return out
}
