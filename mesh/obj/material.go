package obj

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"rigatino/mesh"
	"rigatino/mesh/numeral"
)

// Bounds on what a file can make others be opened: scans have one or two
// material files and a few dozen pictures.
const (
	mostLibraries = 64
	mostMaterials = math.MaxUint16
	mostFiles     = 1024 // that are kept with the scan
	mostFindings  = 8    // of missing pictures
)

// looks is a material as an MTL file says it.
type looks struct {
	colour [3]float64 // Kd
	alpha  float64    // d
	image  string     // map_Kd as written
	moved  bool       // the picture is shifted or scaled
}

// appearance gives the triangles their materials.
func (r *reader) appearance() error {
	if err := r.uses(); err != nil {
		return err
	}
	known := map[string]*looks{}
	var libraries []string
	for i := range r.blocks {
		for _, line := range r.blocks[i].libraries {
			if !slices.Contains(libraries, line) && len(libraries) < mostLibraries {
				libraries = append(libraries, line)
			}
		}
	}
	for _, line := range libraries {
		r.library(line, known)
	}
	m := r.file.Mesh
	missing, unknown := 0, 0
	for _, name := range r.materials {
		out := mesh.Material{Name: name, BaseColour: [4]float32{1, 1, 1, 1}, Image: -1, DoubleSided: true}
		l := known[name]
		switch {
		case l == nil && name != "" && len(known) > 0:
			unknown++
		case l != nil && l.image != "" && m.UVs != nil:
			out.Image = r.image(l.image, &missing)
			if l.moved {
				r.find("texture_moved", mesh.Note, fmt.Sprintf("the material %q shifts or scales its picture, which is not done", name), "")
			}
		}
		if l != nil {
			out.BaseColour[3] = float32(l.alpha)
			if out.Image < 0 && l.image == "" {
				for k, c := range l.colour {
					out.BaseColour[k] = float32(linear(c))
				}
			}
		}
		m.Materials = append(m.Materials, out)
	}
	if unknown > 0 {
		r.find("materials_unknown", mesh.Warning, fmt.Sprintf("%d materials are used that no material file describes; they are shown grey", unknown), "save the scan again with its material file")
	}
	if missing > mostFindings {
		r.find("texture_missing", mesh.Warning, fmt.Sprintf("%d further pictures are missing", missing-mostFindings), "put the images beside the scan")
	}
	return nil
}

// linear decodes a number of sRGB (IEC 61966-2-1), clamped to 0 … 1.
func linear(c float64) float64 {
	switch {
	case !(c > 0):
		return 0
	case c >= 1:
		return 1
	case c <= 0.04045:
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

// uses numbers the materials in order of use and lays out which triangle has
// which. Faces before any usemtl have a material without name.
func (r *reader) uses() error {
	number := map[string]int{}
	current := -1
	var of []uint16
	m := r.file.Mesh
	set := func(name string) error {
		n, ok := number[name]
		if !ok {
			n = len(r.materials)
			if n > mostMaterials {
				return fmt.Errorf("the file has more than the %d materials that are read; save the scan in parts", mostMaterials)
			}
			number[name] = n
			r.materials = append(r.materials, name)
		}
		current = n
		return nil
	}
	// fill gives all triangles before number to, that have none yet, the current
	// material.
	fill := func(to int) error {
		if to == len(of) {
			return nil
		}
		if current < 0 {
			if err := set(""); err != nil {
				return err
			}
		}
		for len(of) < to {
			of = append(of, uint16(current))
		}
		return nil
	}
	of = make([]uint16, 0, m.FaceCount())
	for i := range r.blocks {
		b := &r.blocks[i]
		others, more := b.others, 0
		for _, u := range b.materials {
			for len(others) > 0 && others[0].face < u.face {
				more += others[0].corners - 3
				others = others[1:]
			}
			if err := fill(r.base[i].triangles + u.face + more); err != nil {
				return err
			}
			if err := set(u.name); err != nil {
				return err
			}
		}
	}
	if err := fill(m.FaceCount()); err != nil {
		return err
	}
	r.only(of)
	return nil
}

// only keeps the materials that a triangle has.
func (r *reader) only(of []uint16) {
	used := make([]bool, len(r.materials))
	for _, x := range of {
		used[x] = true
	}
	names := r.materials
	r.materials = nil
	to := make([]uint16, len(names))
	for i, name := range names {
		if used[i] {
			to[i] = uint16(len(r.materials))
			r.materials = append(r.materials, name)
		}
	}
	if len(r.materials) == 1 {
		return
	}
	for i, x := range of {
		of[i] = to[x]
	}
	r.file.Mesh.MaterialOf = of
}

// local brings a file name of an OBJ or MTL to one inside the file's own
// folder, with slashes. What leads elsewhere (an absolute path on the machine
// of the program that wrote it, "..", a web address) is taken by its plain name;
// ok is false if nothing is left.
func local(name string) (string, bool) {
	name = strings.ReplaceAll(strings.Trim(name, `"`), `\`, "/")
	if strings.ContainsRune(name, 0) || name == "" {
		return "", false
	}
	if strings.ContainsRune(name, ':') || slices.Contains(strings.Split(name, "/"), "..") || !filepath.IsLocal(filepath.FromSlash(path.Clean(name))) {
		name = name[strings.LastIndexAny(name, "/:")+1:]
	}
	name = path.Clean(name)
	return name, name != "." && name != ".." && filepath.IsLocal(filepath.FromSlash(name))
}

// resource reads a file beside the OBJ and keeps its name.
func (r *reader) resource(name string) ([]byte, error) {
	if r.opt.Resource == nil {
		return nil, fs.ErrNotExist
	}
	return r.opt.Resource(name)
}

func (r *reader) keep(name string) {
	if !slices.Contains(r.file.Files, name) && len(r.file.Files) < mostFiles {
		r.file.Files = append(r.file.Files, name)
	}
}

// library reads the material files of one mtllib line: one whose name may have
// blanks, or several.
func (r *reader) library(line string, known map[string]*looks) {
	names := []string{line}
	if name, ok := local(line); ok {
		data, err := r.resource(name)
		if err == nil {
			r.keep(name)
			r.describe(data, known)
			return
		}
	}
	if words := strings.Fields(line); len(words) > 1 {
		names = words[:min(len(words), mostLibraries)]
	}
	for _, name := range names {
		plain, ok := local(name)
		var data []byte
		err := error(fs.ErrNotExist)
		if ok {
			data, err = r.resource(plain)
		}
		switch {
		case err == nil:
			r.keep(plain)
			r.describe(data, known)
		case errors.Is(err, fs.ErrNotExist):
			r.find("materials_missing", mesh.Warning, fmt.Sprintf("the material file %q is missing; the scan is shown grey", clip([]byte(name))), "put it beside the scan")
		default:
			r.find("materials_missing", mesh.Warning, fmt.Sprintf("the material file %q could not be read: %v", clip([]byte(name)), err), "put it beside the scan")
		}
	}
}

// enter begins the description of a material; the first of a name counts.
func enter(known map[string]*looks, name string) *looks {
	l := &looks{colour: [3]float64{1, 1, 1}, alpha: 1}
	if known[name] == nil && len(known) < mostMaterials {
		known[name] = l
	}
	return l
}

// describe reads an MTL file. What is not known is passed over.
func (r *reader) describe(data []byte, known map[string]*looks) {
	data = joined(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))
	l := &looks{}
	for at := 0; at < len(data); {
		at = numeral.Skip(data, at)
		end := numeral.Word(data, at)
		stop := endOfLine(data, end)
		rest := bytes.TrimSpace(data[end:stop])
		word := strings.ToLower(string(data[at:min(end, at+16)]))
		switch {
		case word == "newmtl":
			l = enter(known, string(rest))
		case word == "kd":
			var c [3]float64
			if n := numbers(rest, c[:]); n == 3 {
				l.colour = c
			} else if n == 1 {
				l.colour = [3]float64{c[0], c[0], c[0]}
			}
		case word == "d":
			var d [1]float64
			if numbers(rest, d[:]) == 1 && d[0] >= 0 {
				l.alpha = min(d[0], 1)
			}
		case word == "map_kd":
			l.image, l.moved = picture(rest)
			if name, ok := local(l.image); ok {
				r.keep(name)
			}
		case strings.HasPrefix(word, "map_"), word == "bump", word == "norm", word == "disp", word == "decal", word == "refl":
			name, _ := picture(rest)
			if name, ok := local(name); ok {
				r.keep(name)
			}
		}
		at = stop
	}
}

// numbers reads as many numbers as there are, up to len(to).
func numbers(text []byte, to []float64) int {
	n := 0
	for at := 0; n < len(to); n++ {
		at = blanks(text, at)
		x, end, ok := numeral.Float(text, at)
		if !ok {
			break
		}
		to[n], at = x, end
	}
	return n
}

// options of a picture in an MTL file, with how many words follow; those with
// three may have fewer, which must be numbers.
var options = map[string]int{
	"-blendu": 1, "-blendv": 1, "-boost": 1, "-bm": 1, "-cc": 1, "-clamp": 1, "-imfchan": 1, "-texres": 1, "-type": 1, "-mm": 2, "-o": 3, "-s": 3, "-t": 3,
}

// picture takes the file name, which may have blanks, from what follows map_Kd.
func picture(rest []byte) (name string, moved bool) {
	for len(rest) > 0 && rest[0] == '-' {
		end := numeral.Word(rest, 0)
		n, ok := options[string(rest[:end])]
		if !ok {
			break
		}
		for range n {
			at := numeral.Skip(rest, end)
			if _, _, number := numeral.Float(rest, at); n == 3 && !number {
				break
			}
			end = numeral.Word(rest, at)
		}
		moved = moved || n == 3
		rest = rest[numeral.Skip(rest, end):]
	}
	return string(rest), moved
}

// image returns the place of a picture among the mesh's images.
func (r *reader) image(written string, missing *int) int {
	m := r.file.Mesh
	name, ok := local(written)
	if !ok {
		name = clip([]byte(written))
	}
	if i, ok := r.images[name]; ok {
		return i
	}
	image := mesh.Image{Name: name}
	err := error(fs.ErrNotExist)
	if ok {
		image.Data, err = r.resource(name)
	}
	if err == nil {
		if image.MIME = mesh.ImageType(image.Data); image.MIME == "" {
			err = errors.New("it is neither PNG nor JPEG")
			image.Data = nil
		}
	}
	if err != nil {
		if *missing++; *missing <= mostFindings {
			if errors.Is(err, fs.ErrNotExist) {
				r.find("texture_missing", mesh.Warning, fmt.Sprintf("the texture %q is missing; the scan is shown grey", name), "put the image beside the scan")
			} else {
				r.find("texture_unreadable", mesh.Warning, fmt.Sprintf("the texture %q could not be read: %v", name, err), "put it beside the scan as PNG or JPEG")
			}
		}
	}
	m.Images = append(m.Images, image)
	if r.images == nil {
		r.images = map[string]int{}
	}
	r.images[name] = len(m.Images) - 1
	return r.images[name]
}
