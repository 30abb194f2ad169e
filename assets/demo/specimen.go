package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// The stages, in the order of their dates.
const (
	Received    = "received"
	MechCoarse  = "mech_coarse"
	AirAbrasive = "air_abrasive"
	Join        = "join"
	Fill        = "fill"
	Retouch     = "retouch"
)

// Stages lists the scanned stages, oldest first.
var Stages = []string{Received, MechCoarse, AirAbrasive, Join, Fill, Retouch}

// rank is the place of a stage in Stages.
func rank(stage string) int {
	for i, s := range Stages {
		if s == stage {
			return i
		}
	}
	return -1
}

// specimen is TVM 2041. Its own frame: z runs from the head (-) to the far end
// (+), +y is the front, x across; mm.
type specimen struct {
	form
	relief roughness // of the bone
	rock   roughness // of the nodule
	edge   *fracture

	// What the bone is like before anybody works on it.
	lost    *patch // a corner that was lost before the find; a model of it is put there at `fill`
	oldFill *patch // an old fill, a little proud of the bone
	abraded *patch // surface worn before the find
	doubt   *patch // original or added: cannot be said
	chipped *band  // edges lost along the break

	// What work does.
	bare      *patch   // the head, free of rock when received
	window    *patch   // the far end, free of rock when received
	keep      *patch   // rock left on purpose
	rocks     []*patch // rock left at mech_coarse, gone at air_abrasive
	lowered   *patch   // bone lost under the powder jet
	skin      *patch   // rock on the fragment at mech_coarse, gone at air_abrasive
	putty     *band    // the fill along the break
	retouched *band    // the retouch
}

// Depths and thicknesses in mm, each at full thickness.
const (
	lostDepth    = 5.2
	modelled     = 4.9 // thickness of the model in the lost corner
	oldFillProud = 0.6
	halfWidth    = 7.0 // of the chipped edge, across
	chippedDepth = 1.9
	puttyShare   = 0.93 // of the chipped depth
	keepThick    = 3.2
	skinThick    = 5.0
	loweredDepth = 0.55
	noduleX      = 40.0 // half extents of the nodule where it is not widened
	noduleY      = 41.0
	noduleZ      = 117.0
)

// The three places where rock was left at mech_coarse.
var (
	rockThick = []float64{4.8, 5.5, 4.2}
	rockNames = []string{"rock on the back of the far end", "rock on the back of the shaft", "rock on the edge"}
)

// outlineNames are the regions of the last map, in the order they are marked.
var outlineNames = []string{"matrix", "old fill", "putty", "model", "abraded", "uncertain", "retouch", "lowered"}

// lobe is a swelling of the base surface about a direction.
type lobe struct {
	n                r3.Vec
	amount, narrower float64
}

// boneGauge is nearly a ball, |x|/w, where w falls from 1 at the poles and at the
// equator to 0.89 between, changed a little by lobes; with its gradient. The
// form's flare and spread open it into a bone with two wide ends.
func boneGauge(x r3.Vec, lobes []lobe) (g float64, gradient r3.Vec) {
	const low = 0.89
	n := norm(x)
	u := r3.Scale(1/n, x)
	c, q := u.Z, u.Z*u.Z
	pole, equator := q*q*q*q*c, (1-q)*(1-q)*(1-q)*(1-q)*(1-q)
	w := low + (1-low)*(pole*c+equator*(1-q))
	// The gradient of w times n, before the part along u is taken out.
	dw := r3.Vec{Z: (1 - low) * (10*pole - 12*c*equator)}
	for _, l := range lobes {
		e := l.amount * math.Exp(l.narrower*(r3.Dot(l.n, u)-1))
		w += e
		dw = r3.Add(dw, r3.Scale(e*l.narrower, l.n))
	}
	dw = r3.Scale(1/n, r3.Sub(dw, r3.Scale(r3.Dot(dw, u), u)))
	g = n / w
	return g, r3.Scale(1/w, r3.Sub(u, r3.Scale(g, dw)))
}

// newSpecimen builds TVM 2041; it is always the same one.
func newSpecimen() *specimen {
	s := &specimen{form: form{
		Stretch:   r3.Vec{X: 21, Y: 18.5, Z: 265},
		Flare:     84,
		SpreadLow: -0.06, SpreadHigh: 0.50, SpreadAt: 38, SpreadOver: 34,
		BendX: -0.0011, BendY: 0.0005,
	}}
	newLobe := func(x, y, z, amount, narrower float64) lobe {
		d, _ := s.polar(r3.Vec{X: x, Y: y, Z: z})
		return lobe{d, amount, narrower}
	}
	lobes := []lobe{
		newLobe(-62, 5, 80, 0.05, 14),    // the far end's hind corner
		newLobe(50, 5, 85, 0.03, 14),     // its front corner
		newLobe(20, 18, -80, 0.06, 16),   // a knob beside the head
		newLobe(-28, -8, -80, -0.04, 10), // less there
		newLobe(22, 4, 0, -0.05, 14),     // and at the shaft's front edge
	}
	s.Gauge = func(x r3.Vec) (float64, r3.Vec) { return boneGauge(x, lobes) }
	random := &splitmix{2041}
	s.relief = newRoughness(26, 46, 9, 0.8, 0.42, random)
	s.rock = newRoughness(20, 60, 14, 0.8, 0.6, random)

	s.edge = s.newFracture(r3.Vec{X: -37, Y: 2, Z: 80}, r3.Vec{X: -1, Y: 0.1, Z: 0.85},
		newRoughness(9, 26, 9, 0.8, 0.35, random), r3.Vec{X: -50, Y: 4, Z: 86})

	// at makes a patch about the place of the surface under (x, y, z), mm.
	at := func(x, y, z, rx, ry, flat float64, wobble ...float64) *patch {
		d, _ := s.polar(r3.Vec{X: x, Y: y, Z: z})
		along := r3.Vec{Z: 1}
		if math.Abs(z) > 95 { // at an end
			along = r3.Vec{X: 1}
		}
		p := &patch{chart: s.newChart(d, along), rx: rx, ry: ry, flat: flat}
		for i := range p.wobblePh {
			p.wobblePh[i] = 2 * math.Pi * random.uniform()
			if i < len(wobble) {
				p.wobble[i] = wobble[i]
			}
		}
		p.reach()
		return p
	}
	s.lost = at(40, 5, 88, 19, 18, 0.05, 0.06, 0.04)
	s.oldFill = at(4, 22, -77, 17, 14, 0.75, 0.08, 0.05, 0.03)
	s.abraded = at(17, 15, -36, 23, 10, 0.5, 0.06, 0.05, 0.04)
	s.doubt = at(14, 17, 62, 13, 11, 0.5, 0.08, 0.05, 0.03)
	s.bare = at(-8, 7, -106, 230, 210, 0.72, 0.05, 0.04, 0.03)
	s.window = at(5, 5, 110, 27, 15, 0.45, 0.06, 0.05)
	s.keep = at(-8, 16, -22, 22, 12, 0.4, 0.07, 0.05, 0.03)
	s.rocks = []*patch{
		at(4, -10, 62, 27, 20, 0.35, 0.07, 0.05, 0.03),
		at(-3, -18, -22, 27, 14, 0.35, 0.06, 0.05, 0.03),
		at(30, 8, 42, 20, 11, 0.35, 0.06, 0.04, 0.03),
	}
	s.lowered = at(-12, 16, 32, 14, 11, 0.6, 0.06, 0.05)
	s.skin = at(-62, 2, 90, 12, 9.5, 0.35, 0.05, 0.04)

	smooth := *s.edge
	smooth.rough = nil
	base := func(d r3.Vec) float64 { return math.Pow(s.base(d), 3) }
	centre := fitFourier(func(phi float64) float64 { return smooth.crease(base, phi) }, 14)
	half := fitFourier(func(phi float64) float64 {
		on := func(t, f float64) r3.Vec { d := s.edge.direction(t, f); return s.place(d, s.base(d)) }
		const h = 1e-4
		t := centre.at(phi)
		along := r3.Unit(r3.Sub(on(centre.at(phi+h), phi+h), on(centre.at(phi-h), phi-h)))
		perTheta := r3.Scale(1/(2*h), r3.Sub(on(t+h, phi), on(t-h, phi)))
		return halfWidth / r3.Norm(r3.Cross(perTheta, along))
	}, 10)
	strip := func(from, to, wide, flat, flatLong float64) *band {
		return &band{s.edge, centre, half, from, to, wide, flat, flatLong}
	}
	s.chipped = strip(1.0, 3.55, 1, 0.02, 0.6)
	s.putty = strip(1.3, 3.2, 1, 0.02, 0.7)
	s.retouched = strip(1.5, 2.95, 1.3, 0, 0)
	return s
}

// column is what all surfaces over one direction share.
type column struct {
	d      r3.Vec
	foot   r3.Vec  // the place on the base surface, mm
	cube   float64 // r³ of the base surface
	factor float64 // r³ per mm
}

func (s *specimen) column(d r3.Vec) column {
	r, k := s.ground(d)
	return column{d, s.place(d, r), r * r * r, k}
}

// bone is r³ of the bone at a stage, the broken corner with it, without rock.
func (s *specimen) bone(c column, stage int) float64 {
	t := s.relief.at(c.foot)
	lost, chipped := lostDepth, chippedDepth
	if stage >= rank(Fill) {
		lost -= modelled
		t += puttyShare * chippedDepth * s.putty.layer(c.d)
	}
	t -= lost * s.lost.layer(c.d)
	t -= chipped * s.chipped.layer(c.d)
	t += oldFillProud * s.oldFill.layer(c.d)
	if stage >= rank(AirAbrasive) {
		t -= loweredDepth * s.lowered.layer(c.d)
	}
	return c.cube + c.factor*t
}

// rockOn is the thickness in mm of the rock that mechanical work left.
func (s *specimen) rockOn(d r3.Vec, stage int) float64 {
	t := keepThick * s.keep.layer(d)
	if stage <= rank(MechCoarse) {
		for i, p := range s.rocks {
			t += rockThick[i] * p.layer(d)
		}
	}
	return t
}

// nodule is r³ of the whole nodule: a lens-like block of rounded section that
// widens with the bone, roughened.
func (s *specimen) nodule(c column) float64 {
	// Newton from outside, where the fourth powers fall steadily.
	rho := 1.6
	for range 60 {
		p, ray := s.place(c.d, rho), s.ray(c.d, rho)
		w, dw := s.spread(p.Z)
		x, y, z := (p.X-s.BendX*p.Z*p.Z)/(noduleX*w), (p.Y-s.BendY*p.Z*p.Z)*w/noduleY, p.Z/noduleZ
		dx := (ray.X-2*s.BendX*p.Z*ray.Z)/(noduleX*w) - x*dw/w*ray.Z
		dy := (ray.Y-2*s.BendY*p.Z*ray.Z)*w/noduleY + y*dw/w*ray.Z
		q := x*x + y*y
		step := (q*q + z*z*z*z - 1) / (4*q*(x*dx+y*dy) + 4*z*z*z*ray.Z/noduleZ)
		rho -= max(-0.4*rho, min(0.4*rho, step))
		if math.Abs(step) < 1e-13*rho {
			break
		}
	}
	return rho*rho*rho + c.factor*s.rock.at(c.foot)
}

// cubed is r³ of the body in direction d at a stage (its place in Stages).
func (s *specimen) cubed(d r3.Vec, stage int) float64 {
	c := s.column(d)
	cover := 0.0
	if stage == rank(Received) {
		cover = 1 - s.bare.layer(d) - s.window.layer(d)
		if cover == 1 {
			return s.nodule(c)
		}
	}
	v := s.whole(c, stage)
	if stage < rank(Join) {
		v = s.edge.below(d, v)
	}
	if cover > 0 {
		v += cover * (s.nodule(c) - v)
	}
	return v
}

// whole is r³ of bone and the rock that mechanical work left, the broken
// corner with it.
func (s *specimen) whole(c column, stage int) float64 {
	return s.bone(c, stage) + c.factor*s.rockOn(c.d, stage)
}

// body is the place of the body's surface in direction d at a stage, mm.
func (s *specimen) body(d r3.Vec, stage int) r3.Vec {
	return s.place(d, math.Cbrt(s.cubed(d, stage)))
}

// corner is r³ of the fragment's outer surface at a stage before the join.
func (s *specimen) corner(d r3.Vec, stage int) float64 {
	c := s.column(d)
	v := s.bone(c, stage)
	if stage <= rank(MechCoarse) {
		v += c.factor * skinThick * s.skin.layer(d)
	}
	return v
}
