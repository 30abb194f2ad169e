package demo

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Truth is what is true of the specimen, from the formulas it is made of and
// without any mesh. Every number is a quadrature; Disagreement is the largest
// relative difference that coarser nodes made to any of them.
type Truth struct {
	Schema       int     `json:"schema"`
	Note         string  `json:"note"`
	Disagreement float64 `json:"largest_relative_disagreement"`

	Volumes []TrueVolume `json:"volumes"`
	Stages  []TrueStage  `json:"stages"`
	Joins   []TrueJoin   `json:"joins"`
}

// TrueVolume is what was taken off and put on between two scanned stages of a
// piece. Parts name the places one by one.
type TrueVolume struct {
	From    string     `json:"from"`
	To      string     `json:"to"`
	Piece   string     `json:"piece"`
	Removed float64    `json:"removed_mm3"`
	Added   float64    `json:"added_mm3"`
	Parts   []TruePart `json:"parts"`
}

// TruePart is one place of a change. Area is that of the surface after it, 0
// where it has no outline of its own.
type TruePart struct {
	Name   string  `json:"name"`
	Kind   string  `json:"kind"` // removed, added
	What   string  `json:"what"`
	Volume float64 `json:"volume_mm3"`
	Area   float64 `json:"area_mm2,omitempty"`
}

// TrueStage is the surface of a piece at a stage, and the shares of it that
// the tally prints where there is a map of it.
type TrueStage struct {
	Stage  string  `json:"stage"`
	Piece  string  `json:"piece"`
	Area   float64 `json:"area_mm2"`
	Volume float64 `json:"volume_mm3"`

	Regions       map[string]float64 `json:"regions_mm2,omitempty"` // by the names of Outlines
	Specimen      float64            `json:"specimen_mm2,omitempty"`
	Restored      float64            `json:"restored_share,omitempty"` // R/S
	RestoredHigh  float64            `json:"restored_high,omitempty"`  // (R+U)/S
	ChangedInLook float64            `json:"changed_in_look,omitempty"`
	RetouchOver   float64            `json:"retouch_over_original,omitempty"` // of S
	MatrixLeft    float64            `json:"matrix_left,omitempty"`           // of the whole
}

// TrueJoin is a part of the join line and its length at `retouch`.
type TrueJoin struct {
	Name   string  `json:"name"`
	Fit    string  `json:"fit"`
	Length float64 `json:"length_mm"`
}

// coarse and usual are the nodes of the truth that is written beside the
// scans, and of the check on it.
var (
	coarse = fineness{13, 240}
	usual  = fineness{18, 340}
)

//go:embed truth.json
var truthFile []byte

// Known is the truth as it is kept beside this code; a test integrates it anew.
// Integrating takes half a minute.
func Known() (*Truth, error) {
	t := &Truth{}
	if err := json.Unmarshal(truthFile, t); err != nil {
		return nil, fmt.Errorf("the demo's own truth: %w", err)
	}
	return t, nil
}

// newTruth integrates twice, with usual and with coarse nodes.
func (s *specimen) newTruth(ctx context.Context) (*Truth, error) {
	check, err := s.integrate(ctx, coarse)
	if err != nil {
		return nil, err
	}
	t, err := s.integrate(ctx, usual)
	if err != nil {
		return nil, err
	}
	a, b := check.numbers(), t.numbers()
	for i := range b {
		if b[i] != 0 {
			t.Disagreement = max(t.Disagreement, math.Abs(a[i]/b[i]-1))
		}
	}
	return t, nil
}

// numbers lists every integral.
func (t *Truth) numbers() []float64 {
	var out []float64
	for _, v := range t.Volumes {
		for _, p := range v.Parts {
			out = append(out, p.Volume, p.Area)
		}
	}
	for _, st := range t.Stages {
		out = append(out, st.Area, st.Volume)
	}
	for _, name := range outlineNames {
		for _, st := range t.Stages {
			out = append(out, st.Regions[name])
		}
	}
	for _, j := range t.Joins {
		out = append(out, j.Length)
	}
	return out
}

func (s *specimen) integrate(ctx context.Context, fine fineness) (*Truth, error) {
	t := &Truth{Schema: 1, Note: "True of an invented specimen, from its formulas; no mesh was used."}
	for _, step := range []func(*Truth, fineness){s.integrateChanges, s.integrateStages, s.integrateMap, s.integrateFragment} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		step(t, fine)
	}
	for _, j := range s.joins() {
		t.Joins = append(t.Joins, TrueJoin{j.name, j.fit, s.lengthOf(j, rank(Fill), fine.round)})
	}
	return t, nil
}

func (v *TrueVolume) add(name, kind, what string, volume, area float64) {
	v.Parts = append(v.Parts, TruePart{name, kind, what, volume, area})
	if kind == "removed" {
		v.Removed += volume
	} else {
		v.Added += volume
	}
}

// layerVolume is the volume of a layer over a patch, mm thick in its middle.
func (s *specimen) layerVolume(p *patch, mm float64, fine fineness) float64 {
	return s.det() / 3 * p.over(fine, func(d r3.Vec, per float64) float64 {
		_, k := s.ground(d)
		return k * mm * p.layer(d) * per
	})
}

// bandVolume is that of a layer along a band.
func (s *specimen) bandVolume(b *band, mm float64, fine fineness) float64 {
	var sum float64
	for _, p := range b.parts() {
		sum += p.over(fine, func(d r3.Vec) float64 {
			_, k := s.ground(d)
			return k * mm * b.layer(d)
		})
	}
	return s.det() / 3 * sum
}

// bandArea is the area of a band on a surface.
func bandArea(b *band, surface func(r3.Vec) r3.Vec, fine fineness) float64 {
	var sum float64
	for _, p := range b.parts() {
		sum += p.areaOf(surface, fine)
	}
	return sum
}

// at is the body's surface at a stage, as a map of directions.
func (s *specimen) at(stage string) func(r3.Vec) r3.Vec {
	n := rank(stage)
	return func(d r3.Vec) r3.Vec { return s.body(d, n) }
}

// integrateChanges fills in what every pair of stages differs by.
func (s *specimen) integrateChanges(t *Truth, fine fineness) {
	mech := rank(MechCoarse)
	v := TrueVolume{From: Received, To: MechCoarse, Piece: "body"}
	v.add("nodule", "removed", "matrix", s.det()/3*s.sphere(fine, s.crease(MechCoarse), func(d r3.Vec) float64 {
		return s.cubed(d, 0) - s.cubed(d, mech)
	}), 0)
	t.Volumes = append(t.Volumes, v)

	air := s.at(AirAbrasive)
	v = TrueVolume{From: MechCoarse, To: AirAbrasive, Piece: "body"}
	for i, p := range s.rocks {
		v.add(rockNames[i], "removed", "matrix", s.layerVolume(p, rockThick[i], fine), p.areaOf(air, fine))
	}
	v.add("lowered", "removed", "fossil", s.layerVolume(s.lowered, loweredDepth, fine), s.lowered.areaOf(air, fine))
	t.Volumes = append(t.Volumes, v)
	v = TrueVolume{From: MechCoarse, To: AirAbrasive, Piece: "fragment"}
	v.add("skin", "removed", "matrix", s.layerVolume(s.skin, skinThick, fine), s.skin.areaOf(s.outer(AirAbrasive), fine))
	t.Volumes = append(t.Volumes, v)

	v = TrueVolume{From: AirAbrasive, To: Join, Piece: "body"}
	v.add("fragment", "added", "moved_piece", s.cornerVolume(fine), 0)
	t.Volumes = append(t.Volumes, v)

	fill := s.at(Fill)
	v = TrueVolume{From: Join, To: Fill, Piece: "body"}
	v.add("putty", "added", "fill", s.bandVolume(s.putty, puttyShare*chippedDepth, fine), bandArea(s.putty, fill, fine))
	v.add("model", "added", "reconstruction", s.layerVolume(s.lost, modelled, fine), s.lost.areaOf(fill, fine))
	t.Volumes = append(t.Volumes, v, TrueVolume{From: Fill, To: Retouch, Piece: "body"})
}

// cornerVolume is that of the clean fragment.
func (s *specimen) cornerVolume(fine fineness) float64 {
	return s.det() / 3 * s.cornerSum(fine, func(theta, phi float64) float64 {
		d := s.edge.direction(theta, phi)
		r := s.edge.radius(d)
		return (s.whole(s.column(d), rank(AirAbrasive)) - r*r*r) * math.Sin(theta)
	})
}

// cornerSum integrates over the corner's directions in polar coordinates, cut
// at the seams of the chipped edge so that f is smooth between.
func (s *specimen) cornerSum(fine fineness, f func(theta, phi float64) float64) float64 {
	crease := s.crease(AirAbrasive)
	turns := s.chipped.seams()
	turns = append(turns, turns[0]+2*math.Pi)
	var sum float64
	for i := 1; i < len(turns); i++ {
		chipped := i < len(turns)-1
		sum += rays(turns[i-1], turns[i], fine, func(phi float64) []float64 {
			c := crease(phi)
			out := []float64{0, c / 2, c}
			if chipped {
				for _, e := range s.chipped.edges(phi) {
					if e < c {
						out = append(out, e)
					}
				}
			}
			slices.Sort(out)
			return out
		}, f)
	}
	return sum
}

// integrateStages fills in the body's area and volume at each stage.
func (s *specimen) integrateStages(t *Truth, fine fineness) {
	third := s.det() / 3
	// The whole bone without anything of limited extent, which is analytic
	// everywhere, and what each such thing adds in its own coordinates.
	plain := func(d r3.Vec) r3.Vec {
		c := s.column(d)
		return s.place(d, math.Cbrt(c.cube+c.factor*s.relief.at(c.foot)))
	}
	plainArea := s.edge.polarArea(plain, 0, 2*math.Pi, fineness{fine.across, 2 * fine.round}, func(float64) []float64 { return pieces(0.6) })
	whole := func(stage string) float64 {
		n := rank(stage)
		surface := func(d r3.Vec) r3.Vec { return s.place(d, math.Cbrt(s.whole(s.column(d), n))) }
		area := plainArea
		patches := []*patch{s.lost, s.oldFill, s.keep}
		if n >= rank(AirAbrasive) {
			patches = append(patches, s.lowered)
		} else {
			patches = append(patches, s.rocks...)
		}
		for _, p := range patches {
			area += p.areaOf(surface, fine) - p.areaOf(plain, fine)
		}
		cuts := s.chipped.parts()
		if n >= rank(Fill) {
			cuts = s.chippedAndPutty()
		}
		for _, p := range cuts {
			area += p.areaOf(surface, fine) - p.areaOf(plain, fine)
		}
		return area
	}
	for i, name := range Stages[:rank(Retouch)] {
		crease := s.crease(MechCoarse)
		if i >= rank(AirAbrasive) {
			crease = s.crease(AirAbrasive)
		}
		st := TrueStage{Stage: name, Piece: "body",
			Volume: third * s.sphere(fine, crease, func(d r3.Vec) float64 { return s.cubed(d, i) })}
		switch name {
		case Received:
			// The nodule all round, and what the two bare places change of it.
			nodule := func(d r3.Vec) r3.Vec { return s.place(d, math.Cbrt(s.nodule(s.column(d)))) }
			st.Area = s.edge.polarArea(nodule, 0, 2*math.Pi, fine, func(float64) []float64 { return pieces(0.6) })
			for _, p := range []*patch{s.bare, s.window} {
				st.Area += p.areaOf(s.at(name), fine) - p.areaOf(nodule, fine)
			}
		case MechCoarse, AirAbrasive:
			// Without the corner: its outer side gone, the break laid bare.
			st.Area = whole(name) - s.cornerArea(s.at(Join), fine) + s.breakArea(fine)
		default:
			st.Area = whole(name)
		}
		t.Stages = append(t.Stages, st)
	}
}

// chippedAndPutty cuts the chipped edge where either its own depth or that of
// the putty in it is not analytic. Both have the same width.
func (s *specimen) chippedAndPutty() []strip {
	turns := append(s.chipped.seams(), s.putty.seams()...)
	slices.Sort(turns)
	var out []strip
	for i := 1; i < len(turns); i++ {
		for _, p := range s.chipped.parts()[:3] {
			p.from, p.to = turns[i-1], turns[i]
			out = append(out, p)
		}
	}
	return out
}

// cornerArea is the area of the corner's outer side on a surface.
func (s *specimen) cornerArea(surface func(r3.Vec) r3.Vec, fine fineness) float64 {
	return s.cornerSum(fine, s.edge.element(surface))
}

// breakArea is the area of the break.
func (s *specimen) breakArea(fine fineness) float64 {
	return s.cornerArea(func(d r3.Vec) r3.Vec { return s.place(d, s.edge.radius(d)) }, fine)
}

// integrateMap fills in the last stage, whose shape is that of `fill`, and the
// areas of its regions.
func (s *specimen) integrateMap(t *Truth, fine fineness) {
	st := t.Stages[rank(Fill)]
	st.Stage = Retouch
	surface := s.at(Retouch)
	// The colour lies over the putty and beyond it on both sides.
	between := func(inner, outer float64) float64 {
		return strip{s.putty, s.retouched.from, s.retouched.to, inner, outer}.areaOf(surface, fine)
	}
	onBone := between(-s.retouched.wide, -1) + between(1, s.retouched.wide)
	onPutty := between(-1, -s.putty.flat) + between(-s.putty.flat, s.putty.flat) + between(s.putty.flat, 1)
	r := map[string]float64{
		"matrix": s.keep.areaOf(surface, fine), "old fill": s.oldFill.areaOf(surface, fine),
		"putty": bandArea(s.putty, surface, fine), "model": s.lost.areaOf(surface, fine),
		"abraded": s.abraded.areaOf(surface, fine), "uncertain": s.doubt.areaOf(surface, fine),
		"retouch": onPutty + onBone, "lowered": s.lowered.areaOf(surface, fine),
	}
	restored := r["putty"] + r["old fill"] + r["model"]
	st.Regions = r
	st.Specimen = st.Area - r["matrix"]
	st.Restored = restored / st.Specimen
	st.RestoredHigh = (restored + r["uncertain"]) / st.Specimen
	st.ChangedInLook = (restored + onBone) / st.Specimen
	st.RetouchOver = onBone / st.Specimen
	st.MatrixLeft = r["matrix"] / st.Area
	t.Stages = append(t.Stages, st)
}

// integrateFragment fills in the loose fragment: its outer side and its side
// of the break.
func (s *specimen) integrateFragment(t *Truth, fine fineness) {
	clean := s.cornerArea(s.outer(AirAbrasive), fine) + s.breakArea(fine)
	skin := s.skin.areaOf(s.outer(MechCoarse), fine) - s.skin.areaOf(s.outer(AirAbrasive), fine)
	volume := s.cornerVolume(fine)
	t.Stages = append(t.Stages,
		TrueStage{Stage: MechCoarse, Piece: "fragment", Area: clean + skin, Volume: volume + s.layerVolume(s.skin, skinThick, fine)},
		TrueStage{Stage: AirAbrasive, Piece: "fragment", Area: clean, Volume: volume})
}

// outer is the fragment's outer surface at a stage.
func (s *specimen) outer(stage string) func(r3.Vec) r3.Vec {
	n := rank(stage)
	return func(d r3.Vec) r3.Vec { return s.place(d, math.Cbrt(s.corner(d, n))) }
}

// sphere integrates f over all directions, in polar coordinates about the
// corner's axis, with a break at the crease.
func (s *specimen) sphere(fine fineness, crease func(phi float64) float64, f func(d r3.Vec) float64) float64 {
	breaks := func(phi float64) []float64 { return pieces(crease(phi)) }
	return rays(0, 2*math.Pi, fine, breaks, func(theta, phi float64) float64 {
		return f(s.edge.direction(theta, phi)) * math.Sin(theta)
	})
}

// pieces cuts [0, π] at an angle and then evenly, so that Gauss nodes stay
// dense everywhere.
func pieces(at float64) []float64 {
	out := []float64{0, at / 2, at}
	const n = 8
	for i := 1; i <= n; i++ {
		out = append(out, at+(math.Pi-at)*float64(i)/n)
	}
	return out
}

// crease is where the break meets the surface of the whole bone at a stage, as
// an angle from the corner's axis.
func (s *specimen) crease(stage string) func(phi float64) float64 {
	n := rank(stage)
	return func(phi float64) float64 {
		return s.edge.crease(func(d r3.Vec) float64 { return s.whole(s.column(d), n) }, phi)
	}
}
