package scan

import (
	"encoding/json"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Report is what a scan holds and what is wrong with it. Lengths, areas and
// volumes are in mm, mm² and mm³, or in the file's own unit where Unit is "".
type Report struct {
	File      string
	Members   []Member
	SHA256    string // the scan's id
	Format    string
	Unit      Unit
	Triangles int
	Vertices  int // as stored
	Welded    int // vertices at different places
	// Components are parts connected over edges. Border edges have one face,
	// non-manifold edges three or more; a face that is stored twice counts
	// twice here. Degenerate faces have two corners at one place.
	Components, BorderEdges, NonManifoldEdges int
	DegenerateFaces, DuplicateFaces           int
	Closed                                    bool
	Bounds                                    mesh.Box
	Area                                      float64
	Volume                                    *float64 // nil unless closed and all faces look the same way
	MeanEdge                                  float64
	Textures                                  int // images that are there
	OpenPoints                                []Finding
}

// MarshalJSON writes the report as the command check prints it: with the unit
// in the keys of measures, or without where the unit is not known.
func (r Report) MarshalJSON() ([]byte, error) {
	type box struct {
		Min [3]float64 `json:"min"`
		Max [3]float64 `json:"max"`
	}
	type plain struct {
		File             string   `json:"file"`
		Members          []Member `json:"members"`
		SHA256           string   `json:"sha256"`
		Format           string   `json:"format"`
		Unit             Unit     `json:"unit"`
		Triangles        int      `json:"triangles"`
		Vertices         int      `json:"vertices"`
		Welded           int      `json:"welded_vertices"`
		Components       int      `json:"components"`
		BorderEdges      int      `json:"border_edges"`
		NonManifoldEdges int      `json:"non_manifold_edges"`
		DegenerateFaces  int      `json:"degenerate_faces"`
		DuplicateFaces   int      `json:"duplicate_faces"`
		Closed           bool     `json:"closed"`
	}
	type end struct {
		Textures   int       `json:"textures"`
		OpenPoints []Finding `json:"open_points"`
	}
	p := plain{r.File, r.Members, r.SHA256, r.Format, r.Unit, r.Triangles, r.Vertices, r.Welded, r.Components,
		r.BorderEdges, r.NonManifoldEdges, r.DegenerateFaces, r.DuplicateFaces, r.Closed}
	b := box{
		[3]float64{r.Bounds.Min.X, r.Bounds.Min.Y, r.Bounds.Min.Z},
		[3]float64{r.Bounds.Max.X, r.Bounds.Max.Y, r.Bounds.Max.Z},
	}
	e := end{r.Textures, r.OpenPoints}
	if e.OpenPoints == nil {
		e.OpenPoints = []Finding{}
	}
	if r.Unit == "" {
		return json.Marshal(struct {
			plain
			Bounds   box      `json:"bounds"`
			Area     float64  `json:"area"`
			Volume   *float64 `json:"volume,omitempty"`
			MeanEdge float64  `json:"mean_edge"`
			end
		}{p, b, r.Area, r.Volume, r.MeanEdge, e})
	}
	return json.Marshal(struct {
		plain
		Bounds   box      `json:"bounds_mm"`
		Area     float64  `json:"area_mm2"`
		Volume   *float64 `json:"volume_mm3,omitempty"`
		MeanEdge float64  `json:"mean_edge_mm"`
		end
	}{p, b, r.Area, r.Volume, r.MeanEdge, e})
}

// Sizes of a specimen's box diagonal that are believed without asking.
const (
	smallestMM = 1
	largestMM  = 3000
)

// Check looks at an opened scan. It does not look for self-intersection,
// noise, or surfaces that a scan program closed.
func Check(s *Scan) Report {
	m := s.Mesh
	w := mesh.NewWeld(m)
	t := mesh.NewTopology(m, w)
	r := Report{
		File: s.Path, Members: s.Members, SHA256: s.ID, Format: s.Format, Unit: s.Unit,
		Triangles: m.FaceCount(), Vertices: m.VertexCount(), Welded: w.Count,
		Components: t.Components, BorderEdges: t.Border, NonManifoldEdges: t.NonManifold,
		DegenerateFaces: t.Degenerate, DuplicateFaces: t.Duplicate,
		Closed: t.Closed(), Bounds: mesh.Bounds(m), Area: mesh.Area(m), MeanEdge: mesh.MeanEdge(m),
	}
	border, several := repeatedEdges(m, w, t)
	r.BorderEdges += border
	r.NonManifoldEdges += several
	r.Closed = r.Closed && several == 0
	for i := range m.Images {
		if m.Images[i].Data != nil {
			r.Textures++
		}
	}
	if r.Closed && t.Oriented() {
		v := mesh.Volume(m)
		r.Volume = &v
	}
	r.OpenPoints = append(r.OpenPoints, s.Notes...)
	r.unit(s)
	r.surface(m, t)
	return r
}

// repeatedEdges returns by how much the counts of border and non-manifold
// edges change when faces that are stored twice are counted twice.
func repeatedEdges(m *mesh.Mesh, w *mesh.Weld, t *mesh.Topology) (border, several int) {
	if t.Duplicate == 0 {
		return 0, 0
	}
	type edge [2]uint32
	type uses struct{ kept, all int }
	edges := map[edge]*uses{}
	each := func(f int, visit func(e edge)) {
		a, b, c := w.Face(m, uint32(f))
		if a == b || b == c || c == a {
			return
		}
		for _, e := range [3]edge{{a, b}, {b, c}, {c, a}} {
			if e[0] > e[1] {
				e[0], e[1] = e[1], e[0]
			}
			visit(e)
		}
	}
	for f, part := range t.Component {
		if part < 0 {
			each(f, func(e edge) { edges[e] = &uses{} })
		}
	}
	for f, part := range t.Component {
		each(f, func(e edge) {
			if u := edges[e]; u != nil {
				u.all++
				if part >= 0 {
					u.kept++
				}
			}
		})
	}
	for _, u := range edges {
		if u.kept == 1 && u.all > 1 {
			border--
		}
		if u.kept < 3 && u.all >= 3 {
			several++
		}
	}
	return border, several
}

func (r *Report) add(id, severity, reason, way string) {
	r.OpenPoints = append(r.OpenPoints, Finding{ID: id, Severity: severity, Reason: reason, WayOut: way})
}

// unit asks for a missing unit and doubts an unlikely one.
func (r *Report) unit(s *Scan) {
	d := r.Bounds.Diagonal()
	if s.Unit == "" {
		r.add("unit_missing", mesh.Warning,
			fmt.Sprintf("the format has no unit: the scan is %.4g across and nobody has said of what", d),
			"say the unit with --unit mm, cm, m or in, or choose it in the window"+likely(d))
		return
	}
	if d > 0 && (d < smallestMM || d > largestMM) {
		reason := fmt.Sprintf("the specimen would be %s across", length(d))
		if s.UnitFixed {
			reason += "; some programs write other units into a format of metres"
		}
		r.add("unit_doubtful", mesh.Warning, reason, "measure the specimen, and open the scan with the right --unit"+likely(d/s.Unit.Millimetres()))
	}
	if c := r3.Norm(r.Bounds.Centre()); d > 0 && c > 10*d {
		r.add("far_from_zero", mesh.Note,
			fmt.Sprintf("the scan lies %s from the zero of its coordinates, %.0f times its size; it was recentred for reckoning", length(c), c/d),
			mesh.NothingToDo)
	}
}

// likely names the units in which a diagonal of d would be a believable size.
func likely(d float64) string {
	text := ""
	for _, u := range Units {
		if mm := d * u.Millimetres(); mm >= smallestMM && mm <= largestMM {
			if text != "" {
				text += ", "
			}
			text += fmt.Sprintf("%s makes it %s", u, length(mm))
		}
	}
	if text == "" {
		return ""
	}
	return " (" + text + ")"
}

// length writes millimetres for reading.
func length(mm float64) string {
	switch {
	case mm >= 1e6:
		return fmt.Sprintf("%.3g km", mm/1e6)
	case mm >= 1e4:
		return fmt.Sprintf("%.3g m", mm/1e3)
	case mm < 1:
		return fmt.Sprintf("%.2g mm", mm)
	}
	return fmt.Sprintf("%.4g mm", mm)
}

// surface says what is wrong with the surface.
func (r *Report) surface(m *mesh.Mesh, t *mesh.Topology) {
	if n := r.DegenerateFaces; n > 0 {
		r.add("degenerate_faces", mesh.Note, fmt.Sprintf("%d triangles have two corners at one place", n),
			"they keep their numbers and take no part; "+mesh.NothingToDo)
	}
	if n := r.DuplicateFaces; n > 0 {
		r.add("duplicate_faces", mesh.Warning, fmt.Sprintf("%d triangles are stored twice and their area is counted twice", n),
			"clean repeated faces in the scan program if the area matters")
	}
	if n := stray(m); n > 0 {
		r.add("stray_vertices", mesh.Note, fmt.Sprintf("%d vertices belong to no triangle and were left out of bounds", n), mesh.NothingToDo)
	}
	if r.Components > 1 {
		r.add("several_parts", mesh.Note, fmt.Sprintf("the surface is in %d unconnected parts", r.Components),
			"look whether a bed, a mount or a scale bar is among them, and leave those out")
	}
	if r.BorderEdges > 0 {
		r.add("open_surface", mesh.Note, fmt.Sprintf("the surface is open: %d edges have a triangle on one side only", r.BorderEdges),
			"areas and changes can be measured; a volume of the whole needs a closed surface")
	}
	if r.NonManifoldEdges > 0 {
		r.add("non_manifold_edges", mesh.Warning, fmt.Sprintf("%d edges have three or more triangles", r.NonManifoldEdges),
			"the volume of the whole is not given; clean such edges in the scan program if it is needed")
	}
	if t.Turned > 0 {
		r.add("faces_turned", mesh.Warning, fmt.Sprintf("%d edges lie between triangles that look opposite ways", t.Turned),
			"let the scan program make all faces look outward")
	} else if r.Volume != nil && *r.Volume < 0 {
		r.add("inside_out", mesh.Warning, "all triangles look inward", "let the scan program turn the faces, or check whether the scan is mirrored")
	}
}

// stray counts vertices that no triangle uses.
func stray(m *mesh.Mesh) int {
	used := make([]bool, m.VertexCount())
	for _, v := range m.Triangles {
		used[v] = true
	}
	n := 0
	for _, u := range used {
		if !u {
			n++
		}
	}
	return n
}
