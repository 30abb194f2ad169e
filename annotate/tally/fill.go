package tally

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"rigatino/annotate"
	"rigatino/mesh"
	"rigatino/mesh/quantity"
)

// FillScan is the volume that scans before and after a fill gave, for one or
// several regions whose matter was put on together.
type FillScan struct {
	Regions []string // ids
	Volume  quantity.Measured
}

// Fill is how much matter a fill or reconstruction is.
type Fill struct {
	Regions []string           `json:"regions"`
	Volume  *quantity.Measured `json:"volume,omitempty"`
	// Estimate says that the volume comes from a thickness somebody stated and
	// not from scans.
	Estimate  bool               `json:"estimate,omitempty"`
	Mass      *quantity.Measured `json:"mass,omitempty"`
	WhyAbsent string             `json:"why_absent,omitempty"`
	Carried   bool               `json:"carried,omitempty"` // taken over from a file
}

// ByVolume is the restored share by volume, as a lower bound: what lies inside,
// pins and filled voids were not examined.
type ByVolume struct {
	Low       *quantity.Measured `json:"low,omitempty"`
	WhyAbsent string             `json:"why_absent,omitempty"`
	Carried   bool               `json:"carried,omitempty"`
}

// Words that stand beside the values.
const (
	methodFillScans = "scans before and after the fill: "
	methodThickness = "estimate, no scan before the fill: area times a thickness stated as least, likeliest and most (triangular)"
	methodMass      = "volume times density; an estimate of what the filler weighs where it lies"
	methodByVolume  = "measured fills / closed volume of the scan: a lower bound, interior, pins and filled voids not examined; u of the closed volume is 0.03 mm times its surface (our own figure)"
)

// closedLevelMM is what a closed scan's surface may lie off as a whole, the
// standard uncertainty (our own figure, of the size that scan methods differ by).
const closedLevelMM = 0.03

// fills lists the volumes of fills and reconstructions and forms the restored
// share by volume where it may be stated.
func (s *Sheet) fills(in Input, t *sums) error {
	s.Fills = []Fill{}
	restored := map[string]annotate.Region{}
	area := map[string]quantity.Measured{}
	var order []string
	for _, b := range in.Bodies {
		for _, g := range inOrder(b.Regions) {
			if g.Layer != annotate.LayerSubstance || !annotate.IsRestored(g.Kind) {
				continue
			}
			i := slices.IndexFunc(s.Regions, func(r Region) bool { return r.ID == g.ID })
			if i < 0 {
				continue // nothing of it is left
			}
			restored[g.ID], area[g.ID] = g, s.Regions[i].Area
			order = append(order, g.ID)
		}
	}
	done := map[string]bool{}
	for _, scan := range in.FillScans {
		ids := slices.DeleteFunc(slices.Clone(scan.Regions), func(id string) bool { _, there := restored[id]; return !there || done[id] })
		if len(ids) == 0 || len(ids) < len(scan.Regions) {
			continue
		}
		v := scan.Volume
		v.Method = methodFillScans + v.Method
		f := Fill{Regions: ids, Volume: &v}
		f.weigh(restored)
		s.Fills = append(s.Fills, f)
		for _, id := range ids {
			done[id] = true
		}
	}
	for _, id := range order {
		if done[id] {
			continue
		}
		f := Fill{Regions: []string{id}}
		if g := restored[id]; g.ThicknessMM != nil {
			v, err := byThickness(area[id], *g.ThicknessMM)
			if err != nil {
				return err
			}
			f.Volume, f.Estimate = &v, true
			f.weigh(restored)
		} else {
			f.WhyAbsent = "no scan from just before it, and no thickness is stated"
		}
		s.Fills = append(s.Fills, f)
	}
	if len(order) > 0 {
		s.byVolume(in, t)
	}
	return nil
}

// trials and seed of the simulation that gives k for a triangular thickness.
const (
	trials = 100_000
	seed   = 1932
)

// byThickness is the volume of an area times a thickness between t[0] and t[2],
// likeliest t[1]: mean and variance of the triangular distribution, the area's
// own uncertainty, and k from drawing both (JCGM 101), since the thickness rules
// and is not normal.
func byThickness(area quantity.Measured, t [3]float64) (quantity.Measured, error) {
	mean := (t[0] + t[1] + t[2]) / 3
	uT := math.Sqrt(max(0, t[0]*t[0]+t[1]*t[1]+t[2]*t[2]-t[0]*t[1]-t[0]*t[2]-t[1]*t[2]) / 18)
	b := quantity.Budget{
		{Name: "area", Value: area.Value, Unit: quantity.SquareMillim, Sensitivity: mean, U: area.U, Distribution: quantity.Normal},
		{Name: "thickness", Value: mean, Unit: quantity.Millimetre, Sensitivity: area.Value, U: uT, Distribution: quantity.Triangular},
	}
	out := b.Measured(area.Value*mean, quantity.CubicMillimetre, methodThickness)
	if t[2] == t[0] {
		return out, nil
	}
	inputs := []quantity.Term{b[0], quantity.Within("share", 0.5, 0.5, 1, quantity.Share, quantity.Rectangular)}
	drawn, err := quantity.Simulate(context.Background(), inputs, trials, seed, func(x []float64) float64 { return x[0] * triangular(t, x[1]) })
	if err != nil {
		return out, err
	}
	out.K = drawn.Measured(out.Unit, out.Method).K
	return out, nil
}

// triangular is the thickness below which a share of the triangular distribution
// lies.
func triangular(t [3]float64, share float64) float64 {
	share = min(max(share, 0), 1)
	if at := (t[1] - t[0]) / (t[2] - t[0]); share < at {
		return t[0] + math.Sqrt(share*(t[2]-t[0])*(t[1]-t[0]))
	}
	return t[2] - math.Sqrt((1-share)*(t[2]-t[0])*(t[2]-t[1]))
}

// weigh gives a fill its mass where the densities of all its regions are one.
func (f *Fill) weigh(regions map[string]annotate.Region) {
	d := regions[f.Regions[0]].Density
	if d == nil {
		return
	}
	for _, id := range f.Regions[1:] {
		if o := regions[id].Density; o == nil || o.GramsPerCM3 != d.GramsPerCM3 || o.U != d.U {
			return
		}
	}
	m := massOf(*f.Volume, *d)
	f.Mass = &m
}

// massOf is a volume in mm³ times a density, in grams.
func massOf(v quantity.Measured, d annotate.Density) quantity.Measured {
	const cm3 = 1e-3
	b := quantity.Budget{
		{Name: "volume", Value: v.Value, Unit: v.Unit, Sensitivity: d.GramsPerCM3 * cm3, U: v.U, Distribution: quantity.Normal},
		{Name: "density", Value: d.GramsPerCM3, Unit: "g/cm3", Sensitivity: v.Value * cm3, U: d.U, Distribution: quantity.Normal},
	}
	out := b.Measured(v.Value*d.GramsPerCM3*cm3, quantity.Gram, methodMass)
	out.K = max(out.K, v.K) // the volume may have few degrees of freedom
	return out
}

// byVolume states the restored share by volume where everything it rests on was
// measured, and says what is missing elsewhere.
func (s *Sheet) byVolume(in Input, t *sums) {
	out := &ByVolume{}
	s.RestoredByVolume = out
	var missing []string
	restored := quantity.Measured{}
	for _, f := range s.Fills {
		if f.Volume == nil || f.Estimate {
			missing = append(missing, f.Regions...)
			continue
		}
		restored.Value += f.Volume.Value
		restored.U += f.Volume.U
		restored.K = max(restored.K, f.Volume.K)
	}
	whole, surface := 0.0, 0.0
	for _, b := range in.Bodies {
		factor := b.Scale.Calibrated()
		if !b.Surface.Topology.Closed() || !b.Surface.Topology.Oriented() {
			out.WhyAbsent = fmt.Sprintf("the scan %s is open: it has no volume", b.Use)
			return
		}
		whole += mesh.Volume(b.Surface.Mesh) * factor * factor * factor
		surface += mesh.Area(b.Surface.Mesh) * factor * factor
	}
	switch {
	case len(missing) > 0:
		out.WhyAbsent = fmt.Sprintf("no volume was measured of %s", strings.Join(missing, ", "))
		return
	case t.area[matrix] > 0 || t.area[support] > 0:
		out.WhyAbsent = "matrix or support is still in the scan, and its volume was not measured"
		return
	case !(whole > 0):
		out.WhyAbsent = "the scan has no volume"
		return
	}
	// Both volumes rest on one scale, which the share does not.
	own := func(v, u float64) float64 { return math.Sqrt(max(0, u*u-math.Pow(3*v*t.relativeU, 2))) }
	both := quantity.Sharing([]float64{restored.Value, whole}, []float64{own(restored.Value, restored.U), closedLevelMM * surface}, []float64{3, 3}, t.relativeU)
	low := both.Through(func(x []float64) []float64 { return []float64{x[0] / x[1]} }).Measured(0, quantity.Share, methodByVolume)
	low.K = max(low.K, restored.K)
	out.Low = &low
}
