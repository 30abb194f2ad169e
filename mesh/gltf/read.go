package gltf

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Options says how to read.
type Options struct {
	// Resource returns the content of a file named by the glTF, beside it or
	// in a folder below; the name has slashes and never leaves the folder. It
	// returns an error wrapping fs.ErrNotExist for a missing file. Without it
	// only files that hold everything themselves can be read.
	Resource func(name string) ([]byte, error)
	// Parts, if not nil, is asked for buffers instead of Resource, so that of a
	// large file only what the glTF uses need be held. It returns the runs asked
	// for, which rise and do not overlap, cut off at the end of the file, and the
	// size of the file.
	Parts func(name string, runs []Run) (data [][]byte, size int64, err error)
	// Own, if not nil, lets the reader write over the bytes it is given where that
	// spares a copy of them. It is called before the first write, and returns when
	// nobody else reads them any more.
	Own func()
	// Factor multiplies all coordinates, before they are rounded to float32:
	// 1000 gives millimetres. 0 means 1, the metres of the file.
	Factor float64
}

// Run is a run of bytes of a file, From to To-1.
type Run struct{ From, To int64 }

// Scene is what the default scene of a file shows.
type Scene struct {
	// Mesh is the surface: all triangles but those kept aside.
	Mesh *mesh.Mesh
	// Parts are the primitives that Mesh was put together from, in order.
	Parts []Part
	// Aside are triangles that are drawing and not surface: the ribbons of
	// joins, and what an invisible material hides.
	Aside []Aside
	// Lines are line strips, lines and points.
	Lines []Line
	// FeatureIDs[n] holds _FEATURE_ID_n of every vertex of Mesh, NoFeature
	// where the primitive has none; it has one entry per set found.
	FeatureIDs [][]uint32
	// Tables are the property tables of EXT_structural_metadata.
	Tables []Table
	// Variants are the names of the material variants.
	Variants []string
	// Document is the JSON as read: extras, extensions and materials.
	Document *Document
	// Findings are what is wrong, missing or left out.
	Findings []mesh.Finding
}

// NoFeature stands in FeatureIDs for vertices without an id.
const NoFeature = math.MaxUint32

// Part is one primitive in its place in the scene.
type Part struct {
	Node, Mesh, Primitive int       // indices in the Document
	FirstFace, Faces      int       // run of faces in Scene.Mesh
	FirstVertex, Vertices int       // run of vertices; parts that share accessors share it
	Material              int       // index in Document.Materials, -1 for none
	Mappings              []Mapping // of material variants
	Features              []FeatureSet
	World                 [16]float64 // row-major, file units to file units
	Mirrored              bool        // World mirrors; faces have been turned
}

// Aside is a part that does not count as surface, as a mesh of its own.
type Aside struct {
	Part
	Mesh *mesh.Mesh
}

// Line is a primitive of points or lines.
type Line struct {
	Part              // Faces is 0
	Mode   Mode       // Points, Lines, LineLoop or LineStrip
	Points []r3.Vec   // in the order in which they are joined, world frame
	IDs    [][]uint32 // _FEATURE_ID_n of each point
}

// Segments is the number of straight pieces.
func (l *Line) Segments() int {
	n := len(l.Points)
	switch {
	case l.Mode == Lines:
		return n / 2
	case l.Mode == LineStrip && n > 1:
		return n - 1
	case l.Mode == LineLoop && n > 1:
		return n
	}
	return 0
}

// reader holds the state of one Read.
type reader struct {
	opt      Options
	doc      *Document
	bin      []byte
	buffers  []*bufferBytes
	runs     [][]Run           // of each buffer, what is used
	files    map[string][]byte // read whole
	held     map[string]int64  // bytes held of files read in parts
	unpacked map[int][]byte    // buffer views that were compressed
	present  int64             // bytes of the files read so far
	spent    int64             // vertices, faces and line points put out so far
	used     map[string]bool
	findings []mesh.Finding
}

// Read reads the GLB or glTF in data, which the scene keeps: do not change it
// afterwards. file is the name for errors. Coordinates are in metres times
// opt.Factor.
func Read(file string, data []byte, opt Options) (*Scene, error) {
	r := &reader{opt: opt, present: int64(len(data))}
	s, err := r.read(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return s, nil
}

func (r *reader) read(data []byte) (*Scene, error) {
	text := data
	if IsGLB(data) {
		c, err := openGLB(data)
		if err != nil {
			return nil, err
		}
		text, r.bin, r.findings = c.json, c.bin, c.findings
	}
	if err := r.parse(text); err != nil {
		return nil, err
	}
	if err := r.checkExtensions(); err != nil {
		return nil, err
	}
	nodes, err := r.walk()
	if err != nil {
		return nil, err
	}
	s := &Scene{Document: r.doc}
	if err := r.assemble(s, nodes); err != nil {
		return nil, err
	}
	if s.Variants, err = r.variants(); err != nil {
		return nil, err
	}
	if s.Tables, err = r.tables(); err != nil {
		return nil, err
	}
	r.ignored()
	s.Findings = r.findings
	return s, nil
}

// maxCommas bounds the JSON: every value of an array or object but the first
// has a comma before it, and each can cost some hundred bytes once decoded.
const maxCommas = 1 << 20

// parse reads the JSON.
func (r *reader) parse(text []byte) error {
	if rest, ok := bytes.CutPrefix(text, []byte("\xef\xbb\xbf")); ok {
		text = rest
		r.note("json_bom", "the JSON begins with a byte order mark", "")
	}
	if rest := bytes.TrimRight(text, "\x00"); len(rest) < len(text) {
		text = rest
		r.note("json_padding", "the JSON is padded with zeros instead of spaces", "")
	}
	if n := bytes.Count(text, []byte(",")); n > maxCommas {
		return flaw{"the JSON", fmt.Sprintf("has %d values, more than the %d that are read", n, maxCommas),
			"save the scan again without animations and instances"}
	}
	r.doc = new(Document)
	if err := json.Unmarshal(text, r.doc); err != nil {
		where := "the JSON"
		var syntax *json.SyntaxError
		var kind *json.UnmarshalTypeError
		switch {
		case errors.As(err, &syntax):
			where = fmt.Sprintf("the JSON at byte %d", syntax.Offset)
		case errors.As(err, &kind):
			where = fmt.Sprintf("the JSON at byte %d (%s)", kind.Offset, brief(kind.Field))
		}
		return damaged(where, "cannot be read: %s", brief(err.Error()))
	}
	if v := r.doc.Asset.Version; v == "" {
		return damaged("the JSON", "has no asset.version and is not glTF")
	} else if !strings.HasPrefix(v, "2.") {
		return flaw{"the JSON", fmt.Sprintf("is glTF version %q", brief(v)), "save the scan as glTF 2.0"}
	}
	if v := r.doc.Asset.MinVersion; v != "" && v != "2.0" {
		return flaw{"the JSON", fmt.Sprintf("needs a reader of glTF %q", brief(v)), "save the scan as glTF 2.0"}
	}
	return nil
}

// canRead are the extensions that a file may require.
var canRead = []string{
	extQuantization, extTransform, extMeshopt, extGlossiness, ExtUnlit, ExtVariants, ExtXMP, ExtFeatures, ExtMetadata,
}

// looks are extensions of materials and lights: required or not, the surface
// can be read without them.
func looks(name string) bool {
	return strings.HasPrefix(name, "KHR_materials_") || name == "KHR_lights_punctual" ||
		name == "KHR_texture_basisu" || name == "EXT_texture_webp" || name == "EXT_texture_avif" ||
		name == "KHR_animation_pointer" || name == "KHR_node_visibility"
}

// checkExtensions refuses files that cannot be understood without an extension
// that is not read.
func (r *reader) checkExtensions() error {
	r.used = map[string]bool{}
	for _, name := range r.doc.ExtensionsUsed {
		r.used[name] = true
	}
	for _, name := range r.doc.ExtensionsRequired {
		r.used[name] = true
		if !slices.Contains(canRead, name) && !looks(name) {
			return needsExtension(name)
		}
	}
	for _, name := range r.doc.ExtensionsUsed {
		switch {
		case slices.Contains(canRead, name):
		case name == "EXT_mesh_gpu_instancing":
			r.warn("extension_ignored", "the scan repeats parts by "+name+", of which only one each was read",
				"save the scan with the copies made real")
		default:
			r.note("extension_ignored", "the extension "+brief(name)+" is not read", "")
		}
	}
	return nil
}

// needsExtension is the refusal of a file that needs an extension.
func needsExtension(name string) error {
	way := "save the scan again without it"
	switch {
	case strings.Contains(name, "draco"), strings.Contains(name, "meshopt"):
		way = "save the scan again with mesh compression switched off"
	}
	return flaw{"the file", "needs the extension " + brief(name) + ", which is not read", way}
}

// ignored notes what a scan is not expected to have.
func (r *reader) ignored() {
	d := r.doc
	if n := len(d.Animations); n > 0 {
		r.note("animation_ignored", fmt.Sprintf("%d animations were left out", n), "")
	}
	if n := len(d.Cameras); n > 0 {
		r.note("cameras_ignored", fmt.Sprintf("%d cameras were left out", n), "")
	}
}

func (r *reader) note(id, reason, way string) {
	if way == "" {
		way = mesh.NothingToDo
	}
	r.findings = append(r.findings, mesh.Finding{ID: id, Severity: mesh.Note, Reason: reason, WayOut: way})
}

func (r *reader) warn(id, reason, way string) {
	if way == "" {
		way = mesh.NothingToDo
	}
	r.findings = append(r.findings, mesh.Finding{ID: id, Severity: mesh.Warning, Reason: reason, WayOut: way})
}
