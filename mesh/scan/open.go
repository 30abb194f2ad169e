package scan

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/obj"
	"rigatino/mesh/ply"
	"rigatino/mesh/stl"
)

// Finding is something wrong, missing or doubtful about a scan.
type Finding = mesh.Finding

// Scan is a scan as opened.
type Scan struct {
	Path      string   // of the main file
	ID        string   // see ID
	Members   []Member // the main file first
	Format    string   // glb, gltf, obj, ply or stl
	Unit      Unit     // of the file; "" when it has none and none was given
	UnitFixed bool     // the format fixes the unit
	// Mesh is in millimetres, or in the file's own unit where Unit is "".
	Mesh  *mesh.Mesh
	Notes []Finding // what the reader found
}

// Options says how to open.
type Options struct {
	// Unit of a file whose format has none. Given for a format that has one it
	// overrides it, with a finding: some programs write millimetres into
	// formats of metres.
	Unit Unit
	// Read, if not nil, is given the mesh as soon as it is in memory, before Open
	// has done with the file, to look at but not to change: what is told of the scan
	// may still be an error.
	Read func(m *mesh.Mesh)
	// Progress, if not nil, is told how far opening is (0 to 1).
	Progress func(done float64, words string)
}

// Open reads the scan at path.
func Open(ctx context.Context, path string, opt Options) (*Scan, error) {
	s, err := open(ctx, path, opt)
	if err == nil || ctx.Err() != nil {
		return s, err
	}
	name := filepath.Base(path)
	var missing *fs.PathError
	switch {
	case errors.As(err, &missing) && missing.Path == path && errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s: there is no such file; check the path: %w", path, fs.ErrNotExist)
	case strings.HasPrefix(err.Error(), name+": "):
		return nil, err // the codec has named it
	}
	return nil, fmt.Errorf("%s: %w", name, err)
}

func open(ctx context.Context, path string, opt Options) (*Scan, error) {
	s := &Scan{Path: path, Unit: opt.Unit}
	name := filepath.Base(path)
	progress := opt.Progress
	if progress == nil {
		progress = func(float64, string) {}
	}
	progress(0, "reading "+name)
	src := &source{ctx: ctx, dir: filepath.Dir(path)}
	data, err := src.main(path, name)
	if err != nil {
		return nil, err
	}
	// The hash must be done before anybody may change what the mesh shares
	// with the file's bytes.
	defer func() { s.Members = src.finish(); s.ID = ID(s.Members) }()
	if isGzip(data) {
		progress(0.1, "unpacking "+name)
		if data, err = unpack(ctx, data); err != nil {
			return nil, err
		}
	}
	progress(0.3, "reading "+name)
	part := func(done float64, words string) { progress(0.3+0.7*done, words) }
	switch format(data) {
	case "glb", "gltf":
		err = s.readGLTF(name, data, src)
	case "ply":
		err = s.readPLY(ctx, name, data, src, part)
	case "obj":
		err = s.readOBJ(ctx, name, data, src, part)
	case "stl":
		err = s.readSTL(ctx, name, data, part)
	default:
		return nil, errors.New(unknown(data))
	}
	if err != nil {
		return nil, err
	}
	if opt.Read != nil && ctx.Err() == nil {
		opt.Read(s.Mesh)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	progress(1, "read "+name)
	return s, nil
}

// format tells the format by the first bytes; "" for none that is read.
func format(data []byte) string {
	switch {
	case gltf.IsGLB(data):
		return "glb"
	case ply.IsPLY(data):
		return "ply"
	}
	head := bytes.TrimLeft(bytes.TrimPrefix(data[:min(len(data), 4096)], []byte("\xef\xbb\xbf")), " \t\r\n")
	switch {
	case len(head) > 0 && head[0] == '{':
		return "gltf"
	case obj.IsOBJ(data):
		return "obj"
	case stl.IsSTL(data): // the last, since its binary form has no mark
		return "stl"
	}
	return ""
}

// unknown says what a file is not, and what it may be.
func unknown(data []byte) string {
	const read = "this is not a scan in a format that is read (GLB, glTF, OBJ, PLY or STL)"
	switch {
	case len(data) == 0:
		return "the file is empty; copy it again"
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return read + " but a ZIP archive; unpack it first"
	case mesh.ImageType(data) != "":
		return read + " but a picture; give the mesh file it belongs to"
	}
	if word, _, _ := bytes.Cut(bytes.TrimLeft(data[:min(len(data), 4096)], " \t\r\n"), []byte(" ")); string(word) == "newmtl" {
		return read + " but a material file; give the OBJ file it belongs to"
	}
	return read + "; save the scan as GLB, OBJ, PLY or STL"
}

// readGLTF reads a GLB or glTF. Its unit is the metre.
func (s *Scan) readGLTF(name string, data []byte, src *source) error {
	s.Format = "gltf"
	if gltf.IsGLB(data) {
		s.Format = "glb"
	}
	s.UnitFixed = s.Unit == "" || s.Unit == Metre
	if !s.UnitFixed {
		s.note("unit_overridden", mesh.Warning, fmt.Sprintf("the format says metres; the scan was opened as %s because that was asked for", s.Unit), "")
	}
	if s.Unit == "" {
		s.Unit = Metre
	}
	scene, err := gltf.Read(name, data, gltf.Options{Resource: src.resource, Parts: src.parts, Own: src.wait, Factor: s.Unit.Millimetres()})
	if err != nil {
		return err
	}
	if scene.Mesh.FaceCount() == 0 {
		return errors.New("the file holds no triangles; save the scan as a mesh of triangles")
	}
	s.Mesh = scene.Mesh
	s.Notes = append(s.Notes, scene.Findings...)
	s.others(scene.Document.Files(), src)
	return nil
}

// others keeps files that belong to the scan though nothing here looks at them.
func (s *Scan) others(files []string, src *source) {
	for _, file := range files {
		if src.has(file) {
			continue
		}
		if _, err := src.resource(file); err != nil && !s.noted("texture_missing", file) {
			s.note("member_missing", mesh.Note, fmt.Sprintf("the file %q that the scan names could not be kept with it: %v", file, err), "put it beside the scan")
		}
	}
}

// noted says whether there is a finding of that kind about that file.
func (s *Scan) noted(id, file string) bool {
	for _, n := range s.Notes {
		if n.ID == id && strings.Contains(n.Reason, file) {
			return true
		}
	}
	return false
}

// readPLY reads a PLY, which has no unit.
func (s *Scan) readPLY(ctx context.Context, name string, data []byte, src *source, progress func(float64, string)) error {
	s.Format = "ply"
	f, err := ply.Read(ctx, name, data, ply.Options{Resource: src.resource, Factor: s.Unit.Millimetres(), Progress: progress})
	if err != nil {
		return err
	}
	s.Mesh = f.Mesh
	s.Notes = append(s.Notes, f.Findings...)
	return nil
}

// readOBJ reads an OBJ with its material files and pictures. It has no unit.
func (s *Scan) readOBJ(ctx context.Context, name string, data []byte, src *source, progress func(float64, string)) error {
	s.Format = "obj"
	f, err := obj.Read(ctx, name, data, obj.Options{Resource: src.resource, Factor: s.Unit.Millimetres(), Progress: progress})
	if err != nil {
		return err
	}
	s.Mesh = f.Mesh
	s.Notes = append(s.Notes, f.Findings...)
	s.others(f.Files, src)
	return nil
}

// readSTL reads an STL, which has no unit.
func (s *Scan) readSTL(ctx context.Context, name string, data []byte, progress func(float64, string)) error {
	s.Format = "stl"
	f, err := stl.Read(ctx, name, data, stl.Options{Factor: s.Unit.Millimetres(), Progress: progress})
	if err != nil {
		return err
	}
	s.Mesh = f.Mesh
	s.Notes = append(s.Notes, f.Findings...)
	return nil
}

func (s *Scan) note(id, severity, reason, way string) {
	if way == "" {
		way = mesh.NothingToDo
	}
	s.Notes = append(s.Notes, Finding{ID: id, Severity: severity, Reason: reason, WayOut: way})
}
