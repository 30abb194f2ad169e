package render

import (
	"context"
	"image/color"

	"rigatino/mesh"
)

// tintLevels gives the level that moving pictures take one colour a triangle,
// from the pictures or the vertex colours of the scan.
func (b *Body) tintLevels(textures []*texture) {
	l := b.full
	if b.proxy != nil {
		l = b.proxy
	}
	m := b.mesh
	if len(m.Colours) == 0 && len(textures) == 0 || len(textures) == 0 && l.tint.Load() != nil {
		return
	}
	tint := make([]uint32, len(l.face))
	_ = mesh.Parallel(context.Background(), (len(tint)+sortBlock-1)/sortBlock, func(block int) {
		for s := block * sortBlock; s < min(len(tint), (block+1)*sortBlock); s++ {
			tint[s] = b.tintOf(l.face[s], textures)
		}
	})
	l.tint.Store(&tint)
}

// FaceColour is the colour of the scan in the middle of a face of its mesh; ok is
// false where the scan has no colours, or its pictures are not loaded.
func (b *Body) FaceColour(face uint32) (c color.RGBA, ok bool) {
	var textures []*texture
	if t := b.textures.Load(); t != nil {
		textures = *t
	}
	if (len(textures) == 0 && len(b.mesh.Colours) == 0) || int(face) >= b.mesh.FaceCount() {
		return color.RGBA{}, false
	}
	t := b.tintOf(face, textures)
	return color.RGBA{uint8(t), uint8(t >> 8), uint8(t >> 16), 255}, true
}

// tintOf is the colour in the middle of a face.
func (b *Body) tintOf(face uint32, textures []*texture) uint32 {
	m := b.mesh
	mat := &b.materials[0]
	if m.MaterialOf != nil {
		if i := int(m.MaterialOf[face]); i < len(b.materials) {
			mat = &b.materials[i]
		}
	}
	c := stoneColour
	tri := m.Triangles[3*face : 3*face+3 : 3*face+3]
	switch {
	case mat.image >= 0 && mat.image < len(textures) && textures[mat.image] != nil:
		var u, v float32
		for _, k := range tri {
			u += m.UVs[2*k] / 3
			v += m.UVs[2*k+1] / 3
		}
		c[0], c[1], c[2] = textures[mat.image].at(u, v, 4)
	case len(m.Colours) > 0:
		c = [3]float32{}
		for _, k := range tri {
			o := m.Colours[4*k : 4*k+4 : 4*k+4]
			for i := range 3 {
				c[i] += float32(o[i]) / 3
			}
		}
	case !mat.plain:
		c = [3]float32{255, 255, 255}
	}
	if !mat.plain {
		for k := range 3 {
			c[k] *= mat.factor[k]
		}
	}
	return uint32(code8(c[0])) | uint32(code8(c[1]))<<8 | uint32(code8(c[2]))<<16
}
