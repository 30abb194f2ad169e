package gltf

import (
	"errors"
	"fmt"
	"io/fs"
	"math"

	"rigatino/mesh"
)

// uvRule says which texture coordinates a material uses and how they are
// moved: (u, v) becomes (m[0]u + m[1]v + m[2], m[3]u + m[4]v + m[5]).
type uvRule struct {
	set   int
	moved bool
	m     [6]float64
}

// uvRule finds the rule of a material from its base-colour texture
// (KHR_texture_transform: offset, then rotation, then scale act from the left;
// turning is counter-clockwise in the picture, where v points down).
func (r *reader) uvRule(material int) (uvRule, error) {
	var rule uvRule
	if material < 0 {
		return rule, nil
	}
	look, err := r.lookOf(material)
	if err != nil || look.texture == nil {
		return rule, err
	}
	rule.set = look.texture.TexCoord
	t := struct {
		Offset, Scale [2]float64
		Rotation      float64
		TexCoord      *int
	}{Scale: [2]float64{1, 1}}
	found, err := look.texture.Extensions.get(fmt.Sprintf("material %d", material), extTransform, &t)
	if err != nil || !found {
		return rule, err
	}
	if t.TexCoord != nil {
		rule.set = *t.TexCoord
	}
	s, c := math.Sincos(t.Rotation)
	rule.m = [6]float64{c * t.Scale[0], s * t.Scale[1], t.Offset[0], -s * t.Scale[0], c * t.Scale[1], t.Offset[1]}
	rule.moved = rule.m != [6]float64{1, 0, 0, 0, 1, 0}
	return rule, nil
}

// look is how a material colours a surface.
type look struct {
	factor  [4]float64 // linear
	texture *TextureInfo
	unlit   bool
}

// lookOf finds the colour of a material. Scans of before 2021 may have it in
// KHR_materials_pbrSpecularGlossiness, and some programs let a scan, which is lit
// already, give off its picture by itself.
func (r *reader) lookOf(material int) (look, error) {
	out := look{factor: [4]float64{1, 1, 1, 1}}
	m := &r.doc.Materials[material]
	_, out.unlit = m.Extensions[ExtUnlit]
	if m.PBR != nil {
		if m.PBR.BaseColorFactor != nil {
			out.factor = *m.PBR.BaseColorFactor
		}
		out.texture = m.PBR.BaseColorTexture
	}
	var old struct {
		DiffuseFactor  *[4]float64  `json:"diffuseFactor"`
		DiffuseTexture *TextureInfo `json:"diffuseTexture"`
	}
	found, err := m.Extensions.get(fmt.Sprintf("material %d", material), extGlossiness, &old)
	if err != nil {
		return out, err
	}
	if found && out.texture == nil {
		out.texture = old.DiffuseTexture
		if old.DiffuseFactor != nil {
			out.factor = *old.DiffuseFactor
		}
	}
	if out.texture == nil && m.EmissiveTexture != nil {
		out.texture, out.unlit = m.EmissiveTexture, true
		out.factor[0], out.factor[1], out.factor[2] = 1, 1, 1
		r.once("texture_given_off", "the scan has no colour of its own but gives off a picture, which is shown as its colour", "")
	}
	return out, nil
}

// palette numbers the materials and images that a mesh uses, in order of first
// use.
type palette struct {
	r         *reader
	materials map[int]uint16
	images    map[int]int
	mesh      *mesh.Mesh
}

// material returns the number in the mesh of material i of the document, -1
// being the default material.
func (p *palette) material(i int) (uint16, error) {
	if n, ok := p.materials[i]; ok {
		return n, nil
	}
	if len(p.mesh.Materials) > math.MaxUint16 {
		return 0, flaw{"the scene", "uses more than 65536 materials", "save the scan with fewer materials"}
	}
	out := mesh.Material{BaseColour: [4]float32{1, 1, 1, 1}, Image: -1}
	if i >= 0 {
		m := &p.r.doc.Materials[i]
		out.Name, out.DoubleSided = m.Name, m.DoubleSided
		look, err := p.r.lookOf(i)
		if err != nil {
			return 0, err
		}
		out.Unlit = look.unlit
		for k, x := range look.factor {
			out.BaseColour[k] = float32(min(max(x, 0), 1))
		}
		if look.texture != nil {
			out.Image = p.texture(i, look.texture.Index)
		}
	}
	n := uint16(len(p.mesh.Materials))
	p.materials[i] = n
	p.mesh.Materials = append(p.mesh.Materials, out)
	return n, nil
}

// texture returns the image behind a texture, -1 if it cannot be shown.
func (p *palette) texture(material, texture int) int {
	d := p.r.doc
	where := fmt.Sprintf("material %d", material)
	if texture < 0 || texture >= len(d.Textures) {
		p.r.warn("texture_missing", fmt.Sprintf("%s has texture %d, which does not exist", where, texture), again)
		return -1
	}
	source := d.Textures[texture].Source
	if source == nil {
		p.r.warn("texture_unreadable", where+" has a texture of a kind that is not read; it is shown without",
			"save the scan with PNG or JPEG textures")
		return -1
	}
	if *source < 0 || *source >= len(d.Images) {
		p.r.warn("texture_missing", fmt.Sprintf("texture %d has image %d, which does not exist", texture, *source), again)
		return -1
	}
	if n, ok := p.images[*source]; ok {
		return n
	}
	n := -1
	if image, ok := p.r.image(*source); ok {
		n = len(p.mesh.Images)
		p.mesh.Images = append(p.mesh.Images, image)
	}
	p.images[*source] = n
	return n
}

// image reads image i of the document. A missing file is no failure: the image
// is then without data.
func (r *reader) image(i int) (mesh.Image, bool) {
	m := &r.doc.Images[i]
	where := fmt.Sprintf("image %d", i)
	out := mesh.Image{Name: brief(m.Name)}
	var err error
	if m.BufferView != nil {
		out.Data, _, err = r.view(*m.BufferView)
	} else {
		var name string
		out.Data, name, err = r.fetch(m.URI)
		if name != "" {
			out.Name = name
			where += fmt.Sprintf(" (%s)", name)
		}
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		r.warn("texture_missing", where+" is missing; the scan is shown grey there", "put the image beside the scan")
		return out, true
	case err != nil:
		r.warn("texture_unreadable", fmt.Sprintf("%s could not be read: %v", where, err), "put the image beside the scan, or save the scan as .glb")
		out.Data = nil
		return out, true
	}
	if out.MIME = mesh.ImageType(out.Data); out.MIME == "" {
		r.warn("texture_unreadable", where+" is neither PNG nor JPEG; the scan is shown without it",
			"save the scan with PNG or JPEG textures")
		return out, false
	}
	if m.MimeType != "" && m.MimeType != out.MIME {
		r.note("texture_mislabelled", fmt.Sprintf("%s calls itself %s and is %s", where, brief(m.MimeType), out.MIME), "")
	}
	return out, true
}
