package render

import (
	"image/color"
	"math"

	"rigatino/mesh"
)

// Limits within which shading changes paper and ramps: paper stays readable,
// ramps stay recognisable.
const (
	paperDark, paperLight = 0.66, 1.06
	rampDark, rampLight   = 0.40, 1.12
)

// stoneColour is a scan without colours of its own.
var stoneColour = [3]float32{0xE9, 0xE2, 0xD3}

// pixel is what is worked out about one sample before it is coloured.
type pixel struct {
	p       *placed
	depth   float32
	point   [3]float32 // about the mesh's origin
	normal  [3]float32 // unit, towards the eye
	facing  float32    // cosine of the angle between normal and line of sight
	weights [3]float32 // of the corners; only where have is set
	have    bool
	inside  bool // seen from the back

	facet
}

// facet is what is worked out about a triangle; samples beside each other that
// show the same one share it.
type facet struct {
	slot uint32
	some bool       // of the triangle with this slot of the pixel's body
	flat [3]float32 // the triangle's normal, times 511

	known   bool // the rest, but for colours
	corners [3]int
	origin  [3]float32    // first corner
	g1, g2  [3]float32    // the weights of the other two are the products of these with what lies between
	normals [3][3]float32 // of the corners, times 511; only in smooth pictures

	coloured bool // the rest
	unlit    bool
	image    *texture
	factor   [3]float32
	plain    bool // factor is 1
	colours  [3][3]float32
	varied   bool // colours differ from corner to corner, else colours[0] counts
}

// shadeRows colours a block of rows from the one given on, an even one.
func (f *Frame) shadeRows(top int) {
	f.shadeRect(f.room.Min.X, max(top, f.room.Min.Y), f.room.Max.X, min(top+rowBlock, f.room.Max.Y))
}

// shadeRect colours the samples of a rectangle from the depth buffer.
func (f *Frame) shadeRect(left, top, right, end int) {
	if f.blocks {
		f.shadeBlocks(left, top, right, end)
		return
	}
	var px pixel
	f.shadeEach(&px, left, top, right, end)
}

// shadeBlocks colours two by two samples alike where they show one stretch of
// surface. Moving pictures from near by do with it: there triangles are large,
// and a picture in full takes four times as long; outlines against what lies
// behind stay as sharp as ever. Blocks lie on even places, so that it does not
// matter how the picture is cut into parts.
func (f *Frame) shadeBlocks(left, top, right, end int) {
	pix, stride := f.Picture.Pix, f.Picture.Stride
	if f.apart() {
		pix, stride = f.fine, 4*f.vw
	}
	var px pixel
	for y := top; y < end; {
		if y&1 == 1 || y+1 >= end {
			f.shadeEach(&px, left, y, right, y+1)
			y++
			continue
		}
		row, below := f.depth[y*f.vw:(y+1)*f.vw], f.depth[(y+1)*f.vw:(y+2)*f.vw]
		out, outBelow := pix[y*stride:y*stride+4*f.vw], pix[(y+1)*stride:(y+1)*stride+4*f.vw]
		for x := left; x < right; {
			d := row[x]
			id := uint32(d)
			if x&1 == 1 || x+1 >= right {
				f.shadeEach(&px, x, y, x+1, y+2)
				x++
				continue
			}
			if d != 0 && (px.p == nil || id < px.p.base || id >= px.p.end) {
				px.p, px.some = f.bodyOf(id), false
			}
			if d == 0 || px.p.flat || !px.beside(d, row[x+1]) || !px.beside(d, below[x]) || !px.beside(d, below[x+1]) {
				f.shadeEach(&px, x, y, x+2, y+2)
				x += 2
				continue
			}
			c, key := f.shade(&px, id, math.Float32frombits(uint32(d>>32)), x, y)
			r, g, b := code8(c[0]), code8(c[1]), code8(c[2])
			for _, o := range [2][]uint8{out[4*x : 4*x+8 : 4*x+8], outBelow[4*x : 4*x+8 : 4*x+8]} {
				o[0], o[1], o[2], o[3] = r, g, b, 255
				o[4], o[5], o[6], o[7] = r, g, b, 255
			}
			if f.anyEdges {
				i := y*f.vw + x
				f.keys[i], f.keys[i+1], f.keys[i+f.vw], f.keys[i+f.vw+1] = key, key, key, key
			}
			x += 2
		}
		y += 2
	}
}

// beside says whether two samples show the body in hand at nearly the same depth.
func (px *pixel) beside(a, b uint64) bool {
	if id := uint32(b); id < px.p.base || id >= px.p.end {
		return false
	}
	p, q := math.Float32frombits(uint32(a>>32)), math.Float32frombits(uint32(b>>32))
	return abs32(p-q) < 0.01*abs32(p)
}

// shadeEach colours every sample of a rectangle on its own; px remembers the
// last triangle.
func (f *Frame) shadeEach(px *pixel, left, top, right, end int) {
	pix, stride := f.Picture.Pix, f.Picture.Stride
	if f.apart() {
		pix, stride = f.fine, 4*f.vw
	}
	bg := f.scene.Background
	keys := f.anyEdges
	var flatID uint32
	var flat [3]uint8
	none := true
	for y := top; y < end; y++ {
		row := y * f.vw
		depth := f.depth[row : row+f.vw]
		out := pix[y*stride : y*stride+4*f.vw]
		for x := left; x < right; x++ {
			d := depth[x]
			o := out[4*x : 4*x+4 : 4*x+4]
			if d == 0 {
				o[0], o[1], o[2], o[3] = bg.R, bg.G, bg.B, bg.A
				if keys {
					f.keys[row+x] = 0
				}
				continue
			}
			id := uint32(d)
			if px.p == nil || id < px.p.base || id >= px.p.end {
				px.p, none, px.some = f.bodyOf(id), true, false
			}
			if px.p.flat {
				if none || id != flatID {
					flat, flatID, none = f.shadeFlat(px.p, id, x, y), id, false
				}
				o[0], o[1], o[2], o[3] = flat[0], flat[1], flat[2], 255
				if keys {
					f.keys[row+x] = 0
				}
				continue
			}
			c, key := f.shade(px, id, math.Float32frombits(uint32(d>>32)), x, y)
			o[0], o[1], o[2], o[3] = code8(c[0]), code8(c[1]), code8(c[2]), 255
			if keys {
				f.keys[row+x] = key
			}
		}
	}
}

// shadeFlat colours a whole triangle of a moving picture: one colour, one
// normal.
func (f *Frame) shadeFlat(p *placed, id uint32, x, y int) [3]uint8 {
	slot := id - p.base
	nx, ny, nz := p.level.facet(slot)
	fx, fy := float32(x), float32(y)
	facing := nx*(p.dir[0]+fx*p.dirX[0]+fy*p.dirY[0]) + ny*(p.dir[1]+fx*p.dirX[1]+fy*p.dirY[1]) + nz*(p.dir[2]+fx*p.dirX[2]+fy*p.dirY[2])
	inside := facing > 0
	if inside {
		nx, ny, nz = -nx, -ny, -nz
	}
	light := &f.scene.Light
	strength := float32(light.Ambient)
	const unpacked = 1.0 / 511
	if d := nx*p.light[0] + ny*p.light[1] + nz*p.light[2]; d > 0 {
		strength += float32(light.Key) * unpacked * d
	}
	if d := nx*p.back[0] + ny*p.back[1] + nz*p.back[2]; d > 0 {
		strength += float32(light.Fill) * unpacked * d
	}
	c := stoneColour
	switch {
	case p.Plain.A > 0:
		c = rgb32(p.Plain)
	case p.tint != nil:
		if p.unlit && !light.Raking {
			strength = 1
		}
		t := p.tint[slot]
		c = [3]float32{float32(t & 255), float32(t >> 8 & 255), float32(t >> 16 & 255)}
	}
	c = scaled(c, strength)
	if inside && opaque(f.scene.BackFace) {
		c = f.backTint(c, strength)
	}
	return [3]uint8{code8(c[0]), code8(c[1]), code8(c[2])}
}

// backTint marks surface that is seen from its inside.
func (f *Frame) backTint(c [3]float32, strength float32) [3]float32 {
	t := scaled(rgb32(f.scene.BackFace), within32(strength, paperDark, 1))
	return over(c, t, 0.7)
}

// code8 rounds a coded value to its byte.
func code8(x float32) uint8 {
	if x >= 255 {
		return 255
	}
	if !(x > 0) {
		return 0
	}
	return uint8(x + 0.5)
}

// bodyOf finds the body that a triangle belongs to.
func (f *Frame) bodyOf(id uint32) *placed {
	for i := range f.bodies {
		if id < f.bodies[i].end {
			return &f.bodies[i]
		}
	}
	return &f.bodies[len(f.bodies)-1]
}

// shade colours one sample and says what an outline runs between there.
func (f *Frame) shade(px *pixel, id uint32, q float32, x, y int) (c [3]float32, key uint32) {
	p := px.p
	if slot := id - p.base; !px.some || slot != px.slot {
		px.facet = facet{slot: slot, some: true}
		px.flat[0], px.flat[1], px.flat[2] = p.level.facet(slot)
	}
	px.depth = f.view.depthOf(q)
	fx, fy, z := float32(x), float32(y), px.depth
	var dir [3]float32
	for k := range 3 {
		dir[k] = p.dir[k] + fx*p.dirX[k] + fy*p.dirY[k]
		px.point[k] = p.from[k] + fx*p.fromX[k] + fy*p.fromY[k] + z*dir[k]
	}
	px.have = false
	nx, ny, nz := px.flat[0], px.flat[1], px.flat[2]
	px.inside = nx*dir[0]+ny*dir[1]+nz*dir[2] > 0
	coarse := !f.smooth && p.tint != nil
	if f.smooth || p.Change != nil {
		f.findWeights(px)
	}
	if f.smooth {
		w, c := &px.weights, &px.normals
		sx := w[0]*c[0][0] + w[1]*c[1][0] + w[2]*c[2][0]
		sy := w[0]*c[0][1] + w[1]*c[1][1] + w[2]*c[2][1]
		sz := w[0]*c[0][2] + w[1]*c[1][2] + w[2]*c[2][2]
		// A normal that the file has upside down, or none, is no use.
		if sx*nx+sy*ny+sz*nz > 0 {
			nx, ny, nz = sx, sy, sz
		}
	}
	if l := nx*nx + ny*ny + nz*nz; l > 0 {
		s := 1 / sqrt32(l)
		if px.inside {
			s = -s
		}
		px.normal = [3]float32{nx * s, ny * s, nz * s}
	} else {
		px.normal = p.back
	}
	n := &px.normal
	light := &f.scene.Light
	strength := float32(light.Ambient)
	if d := n[0]*p.light[0] + n[1]*p.light[1] + n[2]*p.light[2]; d > 0 {
		strength += float32(light.Key) * d
	}
	px.facing = 0
	if d := n[0]*p.back[0] + n[1]*p.back[1] + n[2]*p.back[2]; d > 0 {
		px.facing = d
		strength += float32(light.Fill) * d
	}

	switch {
	case p.Change != nil:
		c, key = f.shadeChange(px, strength)
	default:
		c = f.surface(px, strength, coarse)
		if p.Marks != nil {
			c, key = f.shadeMarks(px, c, strength)
		}
	}
	if px.inside && opaque(f.scene.BackFace) {
		c = f.backTint(c, strength)
	}
	if key != 0 {
		key |= uint32(f.indexOf(p)) << keyBody
	}
	return c, key
}

func (f *Frame) indexOf(p *placed) int {
	for i := range f.bodies {
		if &f.bodies[i] == p {
			return i
		}
	}
	return 0
}

// findWeights works out where on its triangle a sample lies: the weights of the
// corners of the point, projected into the triangle's plane.
func (f *Frame) findWeights(px *pixel) {
	if px.have {
		return
	}
	if !px.known {
		f.learn(px)
	}
	tx, ty, tz := px.point[0]-px.origin[0], px.point[1]-px.origin[1], px.point[2]-px.origin[2]
	w1 := tx*px.g1[0] + ty*px.g1[1] + tz*px.g1[2]
	w2 := tx*px.g2[0] + ty*px.g2[1] + tz*px.g2[2]
	if px.g1 == ([3]float32{}) && px.g2 == px.g1 { // no triangle, but a line
		w1, w2 = 1.0/3, 1.0/3
	}
	// Rounding may put a point of a needle far outside it.
	w1, w2 = clamp32(w1), clamp32(w2)
	if s := w1 + w2; s > 1 {
		w1, w2 = w1/s, w2/s
	}
	px.weights = [3]float32{1 - w1 - w2, w1, w2}
	px.have = true
}

// learn works out what findWeights asks of a triangle.
func (f *Frame) learn(px *pixel) {
	l := px.p.level
	i, j, k := l.places(px.slot)
	px.corners = [3]int{i, j, k}
	a, b, c := l.xyz[3*i:3*i+3:3*i+3], l.xyz[3*j:3*j+3:3*j+3], l.xyz[3*k:3*k+3:3*k+3]
	e1x, e1y, e1z := b[0]-a[0], b[1]-a[1], b[2]-a[2]
	e2x, e2y, e2z := c[0]-a[0], c[1]-a[1], c[2]-a[2]
	px.origin = [3]float32{a[0], a[1], a[2]}
	d11 := e1x*e1x + e1y*e1y + e1z*e1z
	d12 := e1x*e2x + e1y*e2y + e1z*e2z
	d22 := e2x*e2x + e2y*e2y + e2z*e2z
	if det := d11*d22 - d12*d12; det > 0 {
		m11, m12, m22 := d22/det, -d12/det, d11/det
		px.g1 = [3]float32{m11*e1x + m12*e2x, m11*e1y + m12*e2y, m11*e1z + m12*e2z}
		px.g2 = [3]float32{m12*e1x + m22*e2x, m12*e1y + m22*e2y, m12*e1z + m22*e2z}
	}
	if f.smooth {
		for n, v := range px.corners {
			px.normals[n][0], px.normals[n][1], px.normals[n][2] = mesh.UnpackNormal(l.normal[v])
		}
	}
	px.known = true
}

// surface is the scan itself under the light.
func (f *Frame) surface(px *pixel, strength float32, coarse bool) [3]float32 {
	p := px.p
	if p.Plain.A > 0 {
		c := rgb32(p.Plain)
		return scaled(c, strength)
	}
	if !px.coloured {
		f.learnColours(px, coarse)
	}
	if px.unlit && !f.scene.Light.Raking {
		strength = 1
	}
	c := px.colours[0]
	switch {
	case px.image != nil:
		f.findWeights(px)
		c = f.textured(px, px.image)
	case px.varied:
		f.findWeights(px)
		w, o := &px.weights, &px.colours
		c[0] = w[0]*o[0][0] + w[1]*o[1][0] + w[2]*o[2][0]
		c[1] = w[0]*o[0][1] + w[1]*o[1][1] + w[2]*o[2][1]
		c[2] = w[0]*o[0][2] + w[1]*o[1][2] + w[2]*o[2][2]
	}
	if !px.plain {
		for k := range 3 {
			c[k] *= px.factor[k]
		}
	}
	return scaled(c, strength)
}

// learnColours works out what surface asks of a triangle.
func (f *Frame) learnColours(px *pixel, coarse bool) {
	px.coloured = true
	p := px.p
	b := p.Body
	m := b.mesh
	mat := &b.materials[0]
	if m.MaterialOf != nil {
		if i := int(m.MaterialOf[p.level.face[px.slot]]); i < len(b.materials) {
			mat = &b.materials[i]
		}
	}
	px.unlit, px.plain, px.factor = mat.unlit, mat.plain, mat.factor
	px.colours[0] = stoneColour
	switch {
	case coarse: // the tint has the factor in it
		t := p.tint[px.slot]
		px.colours[0], px.plain = [3]float32{float32(t & 255), float32(t >> 8 & 255), float32(t >> 16 & 255)}, true
	case mat.image >= 0 && mat.image < len(p.textures) && p.textures[mat.image] != nil:
		px.image = p.textures[mat.image]
	case len(m.Colours) > 0:
		i, j, k := p.level.places(px.slot)
		for n, v := range [3]int{i, j, k} {
			o := m.Colours[4*p.level.vertex[v]:]
			px.colours[n] = [3]float32{float32(o[0]), float32(o[1]), float32(o[2])}
		}
		px.varied = true
	case !mat.plain:
		px.colours[0] = [3]float32{255, 255, 255}
	}
}

func scaled(c [3]float32, s float32) [3]float32 { return [3]float32{c[0] * s, c[1] * s, c[2] * s} }

// textured looks a sample up in a picture, at the resolution at which the
// sample covers about a texel.
func (f *Frame) textured(px *pixel, t *texture) [3]float32 {
	p := px.p
	l, uvs := p.level, p.Body.mesh.UVs
	var uv [3][2]float32
	if l.proxy {
		// Corners of a proxy may belong to different charts of the picture: the
		// scan face it stands for has its own.
		tri := p.Body.mesh.Triangles[3*l.face[px.slot]:]
		for i := range 3 {
			uv[i] = [2]float32{uvs[2*tri[i]], uvs[2*tri[i]+1]}
		}
		u, v := (uv[0][0]+uv[1][0]+uv[2][0])/3, (uv[0][1]+uv[1][1]+uv[2][1])/3
		r, g, b := t.at(u, v, 4)
		return [3]float32{r, g, b}
	}
	var a [3][]float32
	for i, k := range px.corners {
		v := l.vertex[k]
		uv[i] = [2]float32{uvs[2*v], uvs[2*v+1]}
		a[i] = l.xyz[3*k : 3*k+3 : 3*k+3]
	}
	w := &px.weights
	u := w[0]*uv[0][0] + w[1]*uv[1][0] + w[2]*uv[2][0]
	v := w[0]*uv[0][1] + w[1]*uv[1][1] + w[2]*uv[2][1]
	// Texels a mm: the root of the ratio of areas in the picture and in space.
	du1, dv1, du2, dv2 := uv[1][0]-uv[0][0], uv[1][1]-uv[0][1], uv[2][0]-uv[0][0], uv[2][1]-uv[0][1]
	inPicture := abs32(du1*dv2-du2*dv1) * float32(t.levels[0].w) * float32(t.levels[0].h)
	x1, y1, z1 := a[1][0]-a[0][0], a[1][1]-a[0][1], a[1][2]-a[0][2]
	x2, y2, z2 := a[2][0]-a[0][0], a[2][1]-a[0][1], a[2][2]-a[0][2]
	cx, cy, cz := y1*z2-z1*y2, z1*x2-x1*z2, x1*y2-y1*x2
	texels := float32(0)
	if area := sqrt32(cx*cx + cy*cy + cz*cz); area > 0 {
		texels = sqrt32(inPicture/area) * f.view.pixelMM(px.depth)
	}
	r, g, b := t.at(u, v, texels)
	return [3]float32{r, g, b}
}

// over lays a colour over another with a share.
func over(c [3]float32, top [3]float32, share float32) [3]float32 {
	return [3]float32{
		c[0] + share*(top[0]-c[0]),
		c[1] + share*(top[1]-c[1]),
		c[2] + share*(top[2]-c[2]),
	}
}

func opaque(c color.RGBA) bool { return c.A > 0 }
