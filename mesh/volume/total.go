package volume

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/change"
	"rigatino/mesh/quantity"
)

// check adds the count along lines and says which checks agree.
func (w *work) check(ctx context.Context, r *Result, progress func(float64)) error {
	counts := make([]lineCount, len(r.Areas))
	if w.lines != nil {
		var err error
		if counts, err = w.lines.count(ctx, w.masks, progress); err != nil {
			return err
		}
	}
	for k := range r.Areas {
		area := &r.Areas[k]
		if area.Volume == nil {
			continue
		}
		if c := counts[k]; c.done {
			v := c.mm3
			if area.Kind == change.Added {
				v = -v
			}
			v += area.terms.lineLevel + area.ChordsMM3
			area.Checks = append(area.Checks, AreaCheck{Method: MethodLines, MM3: v, U: c.u})
		}
		area.agree(&w.change.Options)
	}
	return nil
}

// agree compares the checks with the value: within twice the root sum of
// squares of both standard uncertainties, the check being taken for as
// uncertain as the value besides what its own method adds. The raw volume is
// judged by what the alignment says of itself, and not judged when that is
// unknown.
func (a *Area) agree(opt *change.Options) {
	a.Consistent = true
	for n := range a.Checks {
		c := &a.Checks[n]
		u := math.Hypot(a.Volume.U, c.U)
		if c.Method == MethodRaw {
			u = math.Hypot(a.terms.aligned.uncertainty(opt.RegistrationCovariance), opt.CheckRMSMM*r3.Norm(a.terms.aligned.vector))
			if u == 0 {
				c.Consistent = true
				continue
			}
		}
		c.Consistent = math.Abs(c.MM3-a.Volume.Value) <= 2*math.Hypot(u, a.Volume.U)
		a.Consistent = a.Consistent && c.Consistent
	}
}

// sum makes the totals.
func (w *work) sum(r *Result) {
	r.Consistent = true
	r.Removed, r.Added = r.Total(w.change, change.Removed, nil), r.Total(w.change, change.Added, nil)
	for _, m := range []string{MethodRaw, MethodFarther, MethodFar, MethodLines} {
		c := Check{Method: m}
		for _, a := range r.Areas {
			for _, x := range a.Checks {
				if x.Method != m {
					continue
				}
				c.Areas++
				if a.Kind == change.Removed {
					c.RemovedMM3 += x.MM3
				} else {
					c.AddedMM3 += x.MM3
				}
			}
		}
		if c.Areas > 0 {
			r.Checks = append(r.Checks, c)
		}
	}
	for _, a := range r.Areas {
		if a.Volume != nil && !a.Consistent {
			r.Consistent = false
		}
	}
}

// Total is the sum over the areas of one kind that leaveOut, if not nil, does
// not name, with one budget for all of them: what areas share adds up, what is
// an area's own adds in quadrature. The change is the one that was measured.
func (r *Result) Total(c *change.Change, kind change.Kind, leaveOut func(area int) bool) Total {
	var t Total
	var areas []*Area
	var surface quantity.Budget
	area, value, doubt, declined, why := 0.0, 0.0, 0.0, 0, ""
	method := MethodShell
	for k := range r.Areas {
		a := &r.Areas[k]
		if a.Kind != kind || leaveOut != nil && leaveOut(k) {
			continue
		}
		t.Areas++
		found := &c.Areas[k]
		area += found.Surface.Value
		// All areas share one scale: its part adds up, the rest does not.
		scale := 2 * found.Surface.Value * c.Options.ScaleU
		own := math.Sqrt(math.Max(found.Surface.U*found.Surface.U-scale*scale, 0))
		surface = append(surface, quantity.Term{Name: "area", Unit: found.Surface.Unit, Sensitivity: 1, U: own})
		if a.Volume == nil {
			declined++
			doubt += found.Surface.Value * found.MaxDepthMM
			why = a.Why
			continue
		}
		areas = append(areas, a)
		value += a.Volume.Value
		if a.Volume.Method == MethodWhole {
			method = MethodWhole
		}
	}
	if t.Areas == 0 {
		return Nothing(c)
	}
	if u := c.Options.ScaleU; u > 0 {
		surface = append(surface, quantity.Term{Name: "scale", Value: 1, Unit: quantity.Share, Sensitivity: 2 * area, U: u, Distribution: quantity.Normal})
	}
	t.Surface = surface.Measured(area, quantity.SquareMillim, "surface where the averaged gap passes the limit")
	if declined > 0 {
		t.Why = fmt.Sprintf("%d of %d areas could not be measured: %s", declined, t.Areas, why)
		if doubt > smallDoubt*value {
			return t
		}
	}
	t.Budget = budget(c, areas)
	if doubt > 0 {
		t.Budget = append(t.Budget, quantity.Within("areas that could not be measured", 0, doubt, 1, quantity.CubicMillimetre, quantity.Rectangular))
	}
	v := t.Budget.Measured(value, quantity.CubicMillimetre, method)
	t.Volume = &v
	return t
}

// smallDoubt is the share of a total that areas without a volume may hold, by
// surface times greatest depth, for the total still to be given.
const smallDoubt = 0.01

// Nothing is the total over no area: zero, in mm³, and as uncertain as the
// largest single area that would have gone unseen.
func Nothing(c *change.Change) Total {
	edge := max(c.Before.EdgeMM, c.After.EdgeMM)
	area := change.SmallestAreaMM2(edge)
	b := quantity.Budget{quantity.Within("an area too small or too thin to be seen", 0, area*c.SmallestMM, 1, quantity.CubicMillimetre, quantity.Rectangular)}
	v := b.Measured(0, quantity.CubicMillimetre, MethodShell)
	s := quantity.Budget{quantity.Within("an area too small to be seen", 0, area, 1, quantity.SquareMillim, quantity.Rectangular)}
	return Total{Volume: &v, Budget: b, Surface: s.Measured(0, quantity.SquareMillim, "surface where the averaged gap passes the limit")}
}
