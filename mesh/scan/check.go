package scan

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/quality"
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
	// Quality is what was seen of the surface itself, with proposals of what is
	// no specimen.
	Quality    *quality.Result
	OpenPoints []Finding
}

// Sizes of a specimen's box diagonal that are believed without asking.
const (
	smallestMM = 1
	largestMM  = 3000
)

// Check looks at an opened scan, and stops with ctx's error when ctx is done.
// Progress, if not nil, is told how far it is (0 to 1).
func Check(ctx context.Context, s *Scan, progress func(done float64, words string)) (Report, error) {
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
	var err error
	r.Quality, err = quality.Inspect(ctx, m, w, t, quality.Options{Millimetres: s.Unit != "", Progress: progress})
	if err != nil {
		return Report{}, err
	}
	r.OpenPoints = append(r.OpenPoints, s.Notes...)
	r.unit(s)
	r.surface(m)
	r.OpenPoints = append(r.OpenPoints, Proposed(r.Quality.Proposals)...)
	return r, nil
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
	} else if d > 0 && (d < smallestMM || d > largestMM) {
		reason := fmt.Sprintf("the specimen would be %s across", length(d))
		if s.UnitFixed {
			reason += "; some programs write other units into a format of metres"
		}
		r.add("unit_doubtful", mesh.Warning, reason, "measure the specimen, and open the scan with the right --unit"+likely(d/s.Unit.Millimetres()))
	}
	if c := r3.Norm(r.Bounds.Centre()); d > 0 && c > 10*d {
		from := length(c)
		if s.Unit == "" {
			from = fmt.Sprintf("%.4g units", c)
		}
		reason, way := fmt.Sprintf("the scan lies %s from the zero of its coordinates, %.0f times its size; it was recentred for reckoning", from, c/d), mesh.NothingToDo
		// Where the file's own numbers are float32, detail is lost before anybody
		// reads them.
		if r.MeanEdge > 0 && c*0x1p-24 > 0.1*r.MeanEdge {
			way = "if the file holds numbers of 32 bits, they are too coarse there: let the scan program move the specimen to zero before it saves"
		}
		r.add("far_from_zero", mesh.Note, reason, way)
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
func (r *Report) surface(m *mesh.Mesh) {
	q := r.Quality
	if n := r.DegenerateFaces; n > 0 {
		r.add("degenerate_faces", mesh.Note, fmt.Sprintf("%d triangles have two corners at one place", n),
			"they keep their numbers and take no part; "+mesh.NothingToDo)
	}
	if n := q.ZeroArea; n > 0 {
		r.add("zero_area_faces", mesh.Note, fmt.Sprintf("%d triangles have three corners on one line and no area", n),
			"they keep their numbers and add nothing; "+mesh.NothingToDo)
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
		reason := fmt.Sprintf("the surface is open: %d edges have a triangle on one side only", r.BorderEdges)
		if n := len(q.Openings); n > 0 {
			sum := 0.0
			for _, o := range q.Openings {
				sum += o.Area
			}
			reason += fmt.Sprintf("; openings: %d, of together about %.3g in area where they are flat, the largest %.3g", n, sum, q.Openings[0].Area)
		}
		r.add("open_surface", mesh.Note, reason, "areas and changes can be measured; a volume of the whole needs a closed surface")
	}
	if r.NonManifoldEdges > 0 {
		r.add("non_manifold_edges", mesh.Warning, fmt.Sprintf("%d edges have three or more triangles", r.NonManifoldEdges),
			"the volume of the whole is not given; clean such edges in the scan program if it is needed")
	}
	if n := q.Orientation.Turned; n > 0 {
		r.add("faces_turned", mesh.Warning, fmt.Sprintf("%d triangles look the other way than those about them", n),
			"nothing to do: in a project they are turned while working, and the file stays as it is")
	}
	if n := q.Orientation.OneSided; n > 0 {
		r.add("one_sided", mesh.Warning, fmt.Sprintf("%d parts of the surface have no outer side: followed all round, it comes back inside out", n),
			"nothing with a sign can be measured there; leave that part out, or let the scan program make the surface anew")
	}
	if n := q.Orientation.InsideOut; n > 0 {
		reason := "all triangles look inward"
		if r.Components > 1 {
			reason = fmt.Sprintf("%d closed parts look inward and lie in no other", n)
		}
		r.add("inside_out", mesh.Warning, reason, "in a project they are turned while working, and the file stays as it is; check whether the scan is mirrored")
	}
	if c := q.Crossing; c.Pairs > 0 {
		least := ""
		if c.AtLeast {
			least = "at least "
		}
		r.add("self_intersection", mesh.Warning, fmt.Sprintf("the surface runs through itself: %s%d pairs of triangles cross or lie on each other, %d triangles of together %.3g in area (%.2g %% of all)", least, c.Pairs, len(c.Faces), c.Area, 100*c.Area/r.Area),
			"a volume counts what is covered twice; keep measured patches off such places, or let the scan program repair them")
	}
}

// Proposed makes open points of what a check proposes.
func Proposed(proposals []quality.Proposal) []Finding {
	var out []Finding
	for _, p := range proposals {
		way := "if that is so, leave it out: accept the proposal for the map, which makes it support; or mark it by hand"
		if p.Kind == quality.ClosedHole {
			way = "if that is so, accept the proposal for the map, which keeps it not examined; it never counts as original"
		}
		out = append(out, Finding{ID: "proposed_" + p.Kind, Severity: mesh.Warning, Reason: p.Reason, WayOut: way})
	}
	return out
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
