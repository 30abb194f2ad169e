package render

import "rigatino/mesh"

// A key says what an outline runs between: the kind of key and the body in the
// high bits, then the group of faces or the step of thickness. 0 is nothing.
const (
	keyBody   = 24
	keyKind   = 30
	keyMark   = 1 << keyKind
	keyChange = 2 << keyKind
	keyLow    = 1<<keyBody - 1
)

// shadeMarks lays the look of the sample's face over the scan's own colour.
func (f *Frame) shadeMarks(px *pixel, c [3]float32, strength float32) ([3]float32, uint32) {
	marks := px.p.Marks
	l := px.p.level
	face := px.p.Body.mesh.SourceFace(l.face[px.slot])
	index := uint16(0)
	if int(face) < len(marks.Faces) {
		index = marks.Faces[face]
	}
	if index == Split {
		index = 0
		if marks.At != nil {
			if l.proxy {
				index = marks.At(face, [3]float64{1.0 / 3, 1.0 / 3, 1.0 / 3})
			} else {
				f.findWeights(px)
				w := &px.weights
				index = marks.At(face, [3]float64{float64(w[0]), float64(w[1]), float64(w[2])})
			}
		}
	}
	if int(index) >= len(marks.Looks) {
		return c, 0
	}
	look := &marks.Looks[index]
	c = f.lay(px, c, look, marks.TileMM, strength)
	return c, keyMark | look.Edge&keyLow
}

// lay puts paper and inks over a colour.
func (f *Frame) lay(px *pixel, c [3]float32, look *Look, tileMM float64, strength float32) [3]float32 {
	light := within32(strength, paperDark, paperLight)
	if opaque(look.Paper) && look.Opacity > 0 {
		c = over(c, scaled(rgb32(look.Paper), light), float32(look.Opacity))
	}
	if len(look.Inks) == 0 {
		return c
	}
	u, v := f.boxPlace(px)
	mm := f.view.pixelMM(px.depth)
	for i := range look.Inks {
		ink := &look.Inks[i]
		p := ink.Pattern
		if p == nil {
			continue
		}
		p.prepare()
		tile := float32(p.tileMM)
		if tileMM > 0 {
			tile = float32(tileMM)
		}
		// A step of the pattern is a mm at its own tile. Below three pixels a
		// step it fades, so that paper and outline are left.
		step := tile / float32(p.tileMM) / (mm * float32(f.perPixel()))
		fade := clamp32((step - fadeEnd) / (fadeBegin - fadeEnd))
		if fade == 0 {
			continue
		}
		a, b := p.at(u/tile, v/tile, mm/(tile*max(px.facing, 0.4)))
		if opaque(ink.Halo) {
			c = over(c, scaled(rgb32(ink.Halo), light), b*fade)
		}
		c = over(c, scaled(rgb32(ink.Colour), light), a*fade)
	}
	return c
}

// Pixels a step between which patterns fade to plain paper.
const fadeBegin, fadeEnd = 3.0, 2.5

// boxPlace projects the sample along the axis that its face looks along most,
// on mm of two of the body's axes. The smooth normals of the corners choose the
// axis, for on a rough scan single faces would choose differently from their
// neighbours.
func (f *Frame) boxPlace(px *pixel) (u, v float32) {
	l := px.p.level
	i, j, k := l.places(px.slot)
	var n [3]float32
	for _, c := range [3]int{i, j, k} {
		x, y, z := mesh.UnpackNormal(l.normal[c])
		n[0] += x
		n[1] += y
		n[2] += z
	}
	x, y, z := abs32(n[0]), abs32(n[1]), abs32(n[2])
	switch {
	case z >= x && z >= y:
		return px.point[0], px.point[1]
	case y >= x:
		return px.point[0], px.point[2]
	}
	return px.point[2], px.point[1]
}

// Kinds of place in a picture of change, in a key's low bits above the step.
const (
	changeUndefined = 1 << 20
	changeNone      = 2 << 20
	changeRemoved   = 3 << 20
	changeAdded     = 4 << 20
	changeKinds     = 7 << 20
)

// shadeChange colours a sample by how far the surface moved there.
func (f *Frame) shadeChange(px *pixel, strength float32) ([3]float32, uint32) {
	ch := px.p.Change
	var value float32
	l := px.p.level
	for i, k := range px.corners {
		v := l.vertex[k]
		if int(v) >= len(ch.Values) {
			return f.undefinedChange(px, strength)
		}
		value += px.weights[i] * ch.Values[v]
	}
	if value != value {
		return f.undefinedChange(px, strength)
	}
	size := abs32(value)
	if size < float32(ch.SmallestMM) || value == 0 {
		return scaled(rgb32(ch.Unchanged), strength), keyChange | changeNone
	}
	ramp, kind := ch.Added, uint32(changeAdded)
	if value < 0 {
		ramp, kind = ch.Removed, changeRemoved
	}
	at := float32(255)
	if span := float32(ch.FullMM - ch.SmallestMM); span > 0 {
		at = min(max(255*(size-float32(ch.SmallestMM))/span, 0), 255)
	}
	c := [3]float32{}
	if ramp != nil {
		c = rgb32(ramp[int(at+0.5)])
	}
	if kind == changeRemoved && ch.StepMM > 0 {
		kind |= uint32(min(size/float32(ch.StepMM), 1<<19))
	}
	return scaled(c, within32(strength, rampDark, rampLight)), keyChange | kind
}

// undefinedChange is surface that the other date does not show.
func (f *Frame) undefinedChange(px *pixel, strength float32) ([3]float32, uint32) {
	ch := px.p.Change
	c := scaled(rgb32(ch.Unchanged), strength)
	return f.lay(px, c, &ch.Undefined, ch.TileMM, strength), keyChange | changeUndefined
}
