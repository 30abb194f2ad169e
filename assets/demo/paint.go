package demo

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// rgb is a colour, sRGB coded, 0 to 255.
type rgb [3]float64

// The specimen's colours. Shading is left to the viewer; only the materials'
// own colours are here.
var (
	boneColour    = rgb{118, 84, 58}
	boneDark      = rgb{86, 60, 42}
	boneLight     = rgb{152, 114, 82}
	wornColour    = rgb{158, 128, 98}
	loweredColour = rgb{150, 122, 96}
	freshBreak    = rgb{170, 132, 96}
	rockColour    = rgb{176, 171, 158}
	rockDark      = rgb{138, 134, 122}
	puttyColour   = rgb{172, 186, 164} // pale grey-green, as mixed
	modelColour   = rgb{182, 190, 170}
	plasterColour = rgb{160, 136, 98} // old plaster, once painted brown
	doubtColour   = rgb{132, 112, 90}
	retouchColour = rgb{128, 94, 66} // near the bone, one tone lighter and even
	glueColour    = rgb{58, 46, 36}
)

func mix(a, b rgb, t float64) rgb {
	t = max(0, min(1, t))
	for i := range a {
		a[i] += t * (b[i] - a[i])
	}
	return a
}

// painter knows the colour of every place at every stage.
type painter struct {
	*specimen
	blotches, grain roughness
	loose           *loose
}

func (s *specimen) newPainter() *painter {
	random := &splitmix{1932}
	return &painter{s,
		newRoughness(14, 60, 12, 0.5, 0.5, random),
		newRoughness(18, 11, 2.5, 0.2, 0.5, random),
		s.newLoose()}
}

// colour is that of the surface in direction d at a stage. broken says that
// the surface there is the break.
func (p *painter) colour(d r3.Vec, stage int, loose, broken bool, speck float64) rgb {
	c := p.column(d)
	blotch, grain := p.blotches.at(c.foot), p.grain.at(c.foot)
	rock := mix(rockColour, rockDark, 0.3+0.4*blotch+0.35*grain+0.10*speck)
	if broken {
		return mix(freshBreak, boneColour, 0.35+0.3*grain+0.15*speck)
	}
	bone := mix(mix(boneColour, boneDark, 0.5*blotch+0.25*grain), boneLight, -0.45*blotch-0.2*grain+0.06*speck)
	on := bone
	soften := func(pl *patch) float64 { // 1 inside, fading over the last tenth
		w := pl.where(d)
		return max(0, min(1, (1-w)/0.04))
	}
	on = mix(on, mix(wornColour, boneLight, 0.4*grain), 0.85*soften(p.abraded))
	on = mix(on, mix(doubtColour, bone, 0.3+0.2*grain), 0.8*soften(p.doubt))
	on = mix(on, mix(plasterColour, bone, 0.15+0.2*blotch), soften(p.oldFill))
	if stage >= rank(AirAbrasive) {
		on = mix(on, mix(loweredColour, bone, 0.2*grain), 0.8*soften(p.lowered))
	}
	if stage >= rank(Fill) {
		on = mix(on, mix(modelColour, puttyColour, grain), soften(p.lost))
	} else if p.lost.inside(d) {
		on = mix(on, boneLight, 0.5*p.lost.layer(d))
	}
	if p.chipped.inside(d) {
		on = mix(on, mix(freshBreak, bone, 0.4+0.3*grain), 0.8*p.chipped.layer(d))
	}
	if stage >= rank(Join) && p.onGlue(d) {
		on = mix(on, glueColour, 0.85)
	}
	if stage >= rank(Fill) && p.putty.inside(d) {
		on = mix(puttyColour, modelColour, grain)
	}
	if stage >= rank(Retouch) && p.retouched.inside(d) {
		on = mix(retouchColour, boneColour, 0.3*grain)
	}
	thick := p.rockOn(d, stage)
	if loose && stage <= rank(MechCoarse) {
		thick += skinThick * p.skin.layer(d)
	}
	if stage == rank(Received) {
		if cover := 1 - p.bare.layer(d) - p.window.layer(d); cover > 0 {
			thick += (p.nodule(c) - p.whole(c, stage)) / c.factor * cover
		}
	}
	return mix(on, rock, thick/0.5)
}

// onGlue says whether d lies on the join, 0.6 mm wide on a flat place.
func (p *painter) onGlue(d r3.Vec) bool {
	if r3.Dot(p.edge.axis, d) < 0.3 {
		return false
	}
	theta, phi := p.edge.polar(d)
	off := theta - p.loose.rimAt(phi)
	if math.Abs(off) > 0.1 {
		return false
	}
	return math.Abs(off)/p.chipped.half.at(phi)*halfWidth < 0.3
}
