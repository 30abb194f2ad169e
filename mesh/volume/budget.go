package volume

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/change"
	"rigatino/mesh/quantity"
)

// registration is how a volume answers to a motion of the scan after: by
// vector·t for a translation t, moment·w for a small rotation w about the
// centre.
type registration struct{ vector, moment r3.Vec }

func (g registration) add(h registration) registration {
	return registration{r3.Add(g.vector, h.vector), r3.Add(g.moment, h.moment)}
}

// uncertainty is √(gᵀCg), C being the covariance of rotation and translation.
func (g registration) uncertainty(c [36]float64) float64 {
	v := [6]float64{g.moment.X, g.moment.Y, g.moment.Z, g.vector.X, g.vector.Y, g.vector.Z}
	sum := 0.0
	for i := range 6 {
		for j := range 6 {
			sum += v[i] * c[6*i+j] * v[j]
		}
	}
	return math.Sqrt(max(0, sum))
}

// terms are the inputs of one area's budget, in mm³ unless said. Signed ones
// are errors with a direction, which add up over areas; the others are
// independent.
type terms struct {
	whole        float64 // the value
	noise        float64
	level        float64
	levelDof     float64
	localZero    float64 // signed, half-width
	outline      float64 // signed
	tessellation float64 // signed
	rim          float64
	caps         float64
	shifted      float64      // half-width
	lineLevel    float64      // signed, what the level adds inside the outline of the count along lines
	cone         float64      // signed: ∫ (x-middle)·n dA over the scan after
	motion       registration // what an error of the alignment does to the value
	aligned      registration // what it does to the raw volume
}

// terms are those of an area with the shell given; cutOff is what the faces of
// the scan before cut off inside its outline less what those of the scan after
// do, mm³.
func (w *work) terms(s *shell, a *Area, sign, cutOff float64) terms {
	c := w.change
	surface := (s.before.area + s.after.area) / 2
	t := terms{
		cone:    sign * s.after.cone,
		rim:     s.slant,
		shifted: s.shifted,
		caps:    s.capDepth + s.capArea*c.LimitMM/limitSigmas,
		aligned: registration{r3.Scale(sign, s.after.areaVector), r3.Scale(sign, s.after.moment)},
	}
	t.motion = t.aligned
	t.tessellation = sign * cutOff
	if !a.LocalZero.Flat {
		a.ChordsMM3 = t.tessellation
	}
	t.whole = a.RawMM3 + a.ChordsMM3
	// Every vertex moves the volume by its noise times a third of the faces
	// round it, which are six: twice the mean face.
	own := func(s *change.Side, p *patch) float64 {
		if p.faces == 0 {
			return 0 // a loose piece that only one scan has
		}
		return s.NoiseMM * math.Sqrt(2*p.area*p.area/float64(p.faces))
	}
	t.noise = math.Hypot(own(c.Before, s.before), own(c.After, s.after))
	z := &a.LocalZero
	if !z.Clean {
		t.level = max(c.Before.SpreadMM, c.After.SpreadMM) * surface
		if !slices.ContainsFunc(z.MeansMM, func(m float64) bool { return !math.IsNaN(m) }) {
			// Nothing unchanged lies round it, and where little or nothing is
			// unchanged at all the spread says nothing: what the limit assumes holds.
			t.level = c.LimitMM / limitSigmas * surface
		}
		// The outermost ring says what the level may be off.
		for _, m := range z.MeansMM {
			if !math.IsNaN(m) {
				t.localZero = sign * m * surface
			}
		}
		return t
	}
	t.whole = a.LevelledMM3 + a.ChordsMM3
	t.localZero = z.TailMM * surface
	t.level, t.levelDof = w.levelUncertainty(s, z.FromMM-a.OutlineMM, z.ToMM-a.OutlineMM)
	// Noise from vertex to vertex has a term of its own; where the unchanged
	// surface shows less of both together than the noise alone should do, what
	// is shown holds.
	if t.level < t.noise && t.levelDof > 0 {
		t.noise = 0
	}
	t.level = math.Sqrt(max(0, t.level*t.level-t.noise*t.noise))
	// The ring has taken a shift out, whatever its cause. What is left of a
	// turn or a difference of scale is what it does about the area's middle.
	lever := r3.Sub(s.after.middle(), c.Options.Centre)
	t.motion.moment = r3.Sub(t.motion.moment, r3.Cross(lever, t.motion.vector))
	t.cone -= r3.Dot(lever, t.motion.vector)
	t.motion.vector = r3.Vec{}
	return t
}

// levelUncertainty is the standard uncertainty, mm³, of a shell's level taken
// from a ring between two distances outside its outline, with its degrees of
// freedom (0: many).
func (w *work) levelUncertainty(s *shell, from, to float64) (u, dof float64) {
	surface := (s.before.area + s.after.area) / 2
	radius := math.Sqrt(s.after.area / math.Pi)
	// A large area has no unchanged place of its size: smaller ones are tried,
	// and the error grows at least as the distance from the ring.
	for tried := radius; tried > radius/10; tried *= 0.75 {
		if rms, dof, ok := w.unchanged.levelError(tried, max(0, from), to); ok {
			return rms * radius / tried * surface, dof
		}
	}
	return max(w.change.Before.SpreadMM, w.change.After.SpreadMM) * surface, 0
}

// limitSigmas is the limit of a core in standard deviations of the gap.
const limitSigmas = 3

// budget makes the budget of the sum of areas.
func budget(c *change.Change, areas []*Area) quantity.Budget {
	var sum, squares terms
	fourths := 0.0 // of the levels' uncertainties, over their degrees of freedom
	for _, a := range areas {
		t := &a.terms
		sum.motion = sum.motion.add(t.motion)
		sum.whole += t.whole
		sum.cone += t.cone
		sum.localZero += t.localZero
		sum.outline += t.outline
		sum.tessellation += t.tessellation
		if t.levelDof > 0 {
			fourths += math.Pow(t.level, 4) / t.levelDof
		}
		squares.noise += t.noise * t.noise
		squares.level += t.level * t.level
		squares.localZero += t.localZero * t.localZero
		squares.outline += t.outline * t.outline
		squares.rim += t.rim * t.rim
		squares.caps += t.caps * t.caps
		sum.shifted += t.shifted
	}
	// What several areas' levels are worth together (GUM G.4.1); 0 is many.
	levelDof := 0.0
	if fourths > 0 {
		levelDof = squares.level * squares.level / fourths
	}
	const mm3 = quantity.CubicMillimetre
	normal := func(name string, square, dof float64) quantity.Term {
		return quantity.Term{Name: name, Unit: mm3, Sensitivity: 1, U: math.Sqrt(square), Dof: dof, Distribution: quantity.Normal}
	}
	// Errors that several areas may share add up, those of their own add in
	// quadrature: the larger of the two.
	within := func(name string, sum, square float64) quantity.Term {
		return quantity.Within(name, sum, max(math.Abs(sum), math.Sqrt(square)), 1, mm3, quantity.Rectangular)
	}
	opt := &c.Options
	b := quantity.Budget{
		normal("noise of the scans", squares.noise, 0),
		normal("level of the unchanged surface", squares.level, levelDof),
		within("outline", sum.outline, squares.outline),
		within("tessellation", sum.tessellation*chordsKnown, 0),
	}
	if squares.localZero > 0 {
		b = append(b, within("change too thin to see in the ring", sum.localZero, squares.localZero))
	}
	if u := sum.motion.uncertainty(opt.RegistrationCovariance); u > 0 {
		b = append(b, normal("alignment", u*u, 0))
	}
	if squares.rim > 0 {
		b = append(b, within("open rim", 0, squares.rim))
	}
	if squares.caps > 0 {
		b = append(b, within("closed holes", 0, squares.caps))
	}
	if sum.shifted > closedMM3 {
		b = append(b, within("closing of the shell", sum.shifted, 0))
	}
	if opt.ScaleU > 0 {
		b = append(b, quantity.Term{Name: "scale", Value: 1, Unit: "1", Sensitivity: 3 * sum.whole, U: opt.ScaleU, Distribution: quantity.Normal})
	}
	if opt.RelativeScaleU > 0 {
		b = append(b, quantity.Term{Name: "scale between the scans", Value: 1, Unit: "1", Sensitivity: sum.cone, U: opt.RelativeScaleU, Distribution: quantity.Normal})
	}
	return b
}
