package annotate

import (
	"errors"
	"fmt"

	"rigatino/annotate/terms"
)

// Check says what makes a region impossible: words that do not exist or do not
// go together. What is merely missing is an open point.
func (g Region) Check() error {
	switch g.Layer {
	case LayerSubstance, LayerApplied, LayerCondition:
	default:
		return fmt.Errorf("layer %q does not exist: use substance, applied or condition", g.Layer)
	}
	if err := CheckWord(terms.List(g.Layer), g.Kind); err != nil {
		return err
	}
	if err := checkWords(listed{terms.Certainty, g.Certainty}, listed{terms.Method, g.ExaminedBy}, listed{terms.Basis, g.Basis}); err != nil {
		return err
	}
	if g.Basis != "" && g.Kind != Reconstruction {
		return fmt.Errorf("only a reconstruction has a basis, %s has none", g.Kind)
	}
	if g.Rest && (g.Layer != LayerSubstance || g.ExaminedBy == "" || g.Certainty == "") {
		return errors.New("all the rest needs a substance, how it was examined and how certain that is")
	}
	if g.Rest && g.Kind == Unassigned {
		return errors.New("all the rest is unassigned already")
	}
	if err := g.checkMatter(); err != nil {
		return err
	}
	if _, err := ParseDate(g.When); err != nil {
		return err
	}
	return nil
}

// checkMatter says what is wrong with the thickness and the density of a region.
func (g Region) checkMatter() error {
	if g.ThicknessMM == nil && g.Density == nil {
		return nil
	}
	if g.Layer != LayerSubstance || !IsRestored(g.Kind) {
		return fmt.Errorf("only a fill or a reconstruction has a thickness and a density, %s has none", g.Kind)
	}
	if t := g.ThicknessMM; t != nil && !(t[0] >= 0 && t[0] <= t[1] && t[1] <= t[2] && t[2] > 0 && t[2] < 1000) {
		return fmt.Errorf("a thickness of %g, %g, %g mm is not least, likeliest and most: give three numbers in rising order", t[0], t[1], t[2])
	}
	if d := g.Density; d != nil && !(d.GramsPerCM3 > 0 && d.GramsPerCM3 < 30 && d.U >= 0 && d.U <= d.GramsPerCM3) {
		return fmt.Errorf("a density of %g ± %g g/cm³ is none: give grams per cubic centimetre and a standard uncertainty", d.GramsPerCM3, d.U)
	}
	return nil
}

// Supersede ends a region at a stage: from there on another one holds. A region
// is never deleted from the past.
func (r *Record) Supersede(id, stage string) error {
	at := r.StageIndex(stage)
	if at < 0 {
		return fmt.Errorf("stage %q does not exist", stage)
	}
	for i := range r.Regions {
		g := &r.Regions[i]
		if g.ID != id {
			continue
		}
		if since := r.StageIndex(g.Since); since >= at {
			return fmt.Errorf("region %s began at stage %s and cannot end at %s", id, g.Since, stage)
		}
		g.Until = stage
		return nil
	}
	return fmt.Errorf("region %q does not exist", id)
}

// HoldsAt says whether a region holds at a stage: from Since on, before Until.
func (r *Record) HoldsAt(g Region, stage string) bool {
	at := r.StageIndex(stage)
	since, until := r.StageIndex(g.Since), r.StageIndex(g.Until)
	return (g.Since == "" || since <= at) && (g.Until == "" || until < 0 || at < until)
}

// Check says what makes a line impossible.
func (l Line) Check() error {
	if err := CheckWord(terms.Line, l.Kind); err != nil {
		return err
	}
	if err := checkWords(listed{terms.Fit, l.Fit}); err != nil {
		return err
	}
	if l.Fit != "" && l.Kind != LineJoin {
		return fmt.Errorf("only a join has a fit, %s has none", l.Kind)
	}
	if len(l.Points) < 2 {
		return fmt.Errorf("a line needs at least two points, not %d", len(l.Points))
	}
	if _, err := ParseDate(l.When); err != nil {
		return err
	}
	return nil
}

// check says what makes the answer to a change area impossible.
func (c Change) check() error {
	switch c.Kind {
	case "removed":
		return CheckWord(terms.WhatRemoved, c.What)
	case "added":
		return CheckWord(terms.WhatAdded, c.What)
	default:
		return fmt.Errorf("a change area is removed or added, not %q", c.Kind)
	}
}
