package ply

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"rigatino/mesh"
)

// mostTextures bounds the images that a header can name.
const mostTextures = 256

// textures attaches the images that comments name. Which face has which is said
// by its texnumber; without any the first is that of all.
func (r *reader) textures() {
	m := r.file.Mesh
	plain := mesh.Material{BaseColour: [4]float32{1, 1, 1, 1}, Image: -1, DoubleSided: true}
	names := r.head.textures
	switch {
	case m.UVs == nil || len(names) == 0:
		m.Materials = []mesh.Material{plain}
		return
	case r.faces.texture == nil:
		if len(names) > 1 {
			r.note("textures_several", fmt.Sprintf("the file names %d textures, of which the first is shown", len(names)), "")
		}
		names = names[:1]
	case len(names) > mostTextures:
		r.note("textures_several", fmt.Sprintf("the file names %d textures, of which the first %d are shown", len(names), mostTextures), "")
		names = names[:mostTextures]
	}
	for _, name := range names {
		material := plain
		if image, ok := r.image(name); ok {
			material.Image = len(m.Images)
			m.Images = append(m.Images, image)
		}
		m.Materials = append(m.Materials, material)
	}
	if r.faces.texture == nil {
		return
	}
	// A number beyond the textures there are means none.
	none := uint16(len(names))
	for i, x := range r.faces.texture {
		r.faces.texture[i] = min(x, none)
	}
	if slices.Contains(r.faces.texture, none) {
		m.Materials = append(m.Materials, plain)
	}
	if len(m.Materials) > 1 {
		m.MaterialOf = r.faces.texture
	}
}

// image reads a texture. Some programs write the path on their own machine: the
// plain name counts. ok is false where it is none that can be shown.
func (r *reader) image(name string) (image mesh.Image, ok bool) {
	name = strings.ReplaceAll(name, `\`, "/")
	image.Name = name[strings.LastIndex(name, "/")+1:]
	err := error(fs.ErrNotExist)
	if r.opt.Resource != nil {
		image.Data, err = r.opt.Resource(image.Name)
	}
	find := func(id, reason, way string) {
		r.file.Findings = append(r.file.Findings, mesh.Finding{ID: id, Severity: mesh.Warning, Reason: reason, WayOut: way})
	}
	switch {
	case err == nil:
		if image.MIME = mesh.ImageType(image.Data); image.MIME == "" {
			find("texture_unreadable", fmt.Sprintf("the texture %q is neither PNG nor JPEG; the scan is shown without it", image.Name),
				"save the scan with PNG or JPEG textures")
			return image, false
		}
	case errors.Is(err, fs.ErrNotExist):
		find("texture_missing", fmt.Sprintf("the texture %q is missing; the scan is shown grey", image.Name), "put the image beside the scan")
	default:
		find("texture_unreadable", fmt.Sprintf("the texture %q could not be read: %v", image.Name, err), "put the image beside the scan")
	}
	return image, true
}

func (r *reader) note(id, reason, way string) {
	if way == "" {
		way = mesh.NothingToDo
	}
	r.file.Findings = append(r.file.Findings, mesh.Finding{ID: id, Severity: mesh.Note, Reason: reason, WayOut: way})
}
