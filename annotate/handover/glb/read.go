package glb

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/tally"
	"rigatino/mesh"
	"rigatino/mesh/gltf"
	"rigatino/mesh/quantity"
)

// ErrNotAnnotated is returned for a glTF file that holds no map of ours.
var ErrNotAnnotated = errors.New("holds no map of regions")

// Model is an annotated model as read back. Everything in Sheet comes from the
// triangles, ids and tables; only volumes are carried over from the extras,
// marked so. Where the extras state areas, shares or lengths that differ from
// what is there, an open point says so.
type Model struct {
	Stage  string
	Bodies []tally.Body
	Sheet  *tally.Sheet
	Scene  *gltf.Scene
}

// extras is root extras.rigatino.
type extras struct {
	Schema  int             `json:"schema"`
	Unit    string          `json:"unit"`
	Stage   string          `json:"stage"`
	Frame   string          `json:"frame"`
	Offset  [3]float64      `json:"offset_mm"`
	TileMM  float64         `json:"hatch_tile_mm"`
	Scans   []scanOf        `json:"scans"`
	Work    []annotate.Work `json:"work,omitempty"`
	Note    string          `json:"note"`
	Caution []string        `json:"cautions,omitempty"`
	Tally   *tally.Sheet    `json:"tally,omitempty"`
}

// scanOf names the scan behind a piece.
type scanOf struct {
	Use       string              `json:"use"`
	Piece     string              `json:"piece"`
	Scan      string              `json:"scan"`
	Members   []annotate.Member   `json:"members"`
	Scale     annotate.Scale      `json:"scale"`
	Alignment *annotate.Alignment `json:"alignment,omitempty"`
	// MeanEdgeMM is that of the scan, before its faces were cut at outlines.
	MeanEdgeMM float64 `json:"mean_edge_mm"`
}

// Read reads an annotated model and reckons its sheet again. name is for errors.
func Read(name string, data []byte) (*Model, error) {
	scene, err := gltf.Read(name, data, gltf.Options{Factor: 1000})
	if err != nil {
		return nil, err
	}
	m, err := read(scene)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return m, nil
}

func read(scene *gltf.Scene) (*Model, error) {
	regions, overlays, lines := table(scene, tableRegions), table(scene, tableOverlays), table(scene, tableLines)
	if regions == nil {
		return nil, fmt.Errorf("%w: hand over the annotated model again, or open it as a plain scan", ErrNotAnnotated)
	}
	rows, err := regionRows(regions)
	if err != nil {
		return nil, err
	}
	over, err := overlayRows(overlays, len(rows))
	if err != nil {
		return nil, err
	}
	m := &Model{Scene: scene}
	stated := statedExtras(scene)
	if stated != nil {
		m.Stage = stated.Stage
	}
	names, faces := pieces(scene)
	sets := [2][]uint32{}
	for n := range sets {
		ids, mixed := scene.FaceFeatures(n)
		if mixed > 0 {
			return nil, fmt.Errorf("%d triangles carry different ids at their corners in _FEATURE_ID_%d; hand the model over again", mixed, n)
		}
		sets[n] = ids
	}
	in := tally.Input{Stage: m.Stage}
	for _, piece := range names {
		b, err := bodyOf(scene.Mesh, piece, faces[piece], sets, rows, over)
		if err != nil {
			return nil, err
		}
		b.Scale = annotate.Scale{Verdict: "as_stated", Factor: 1}
		if stated != nil {
			for _, s := range stated.Scans {
				if s.Piece == piece {
					b.Use, b.MeanEdgeMM = s.Use, s.MeanEdgeMM
					if s.Scale.RelativeU >= b.Scale.RelativeU { // of several parts the one known worst
						b.Scale = s.Scale
						b.Scale.Factor = 1 // the model is in calibrated metres
					}
				}
			}
		}
		in.Bodies = append(in.Bodies, b)
	}
	if err := joins(scene, lines, in.Bodies); err != nil {
		return nil, err
	}
	if stated != nil && stated.Tally != nil {
		// How much a fill holds does not follow from the surface.
		in.Fills = []tally.Fill{}
		for _, f := range stated.Tally.Fills {
			f.Carried = true
			in.Fills = append(in.Fills, f)
		}
		if v := stated.Tally.RestoredByVolume; v != nil {
			carried := *v
			carried.Carried = true
			in.ByVolume = &carried
		}
		for _, v := range stated.Tally.Volumes {
			v.Carried = true
			in.Volumes = append(in.Volumes, v)
		}
	}
	m.Bodies = in.Bodies
	if m.Sheet, err = tally.Reckon(in); err != nil {
		return nil, err
	}
	if stated != nil && stated.Tally != nil {
		if what := differs(stated.Tally, m.Sheet); what != "" {
			m.Sheet.OpenPoints = append(m.Sheet.OpenPoints, annotate.OpenPoint{
				ID: "extras_differ", Severity: "warning", About: what,
				Reason: "the file's notes state another " + what + " than its triangles and ids give; the values here are those of the triangles",
				WayOut: "ask whoever handed the model over for an unchanged copy",
			})
		}
	}
	return m, nil
}

func table(scene *gltf.Scene, name string) *gltf.Table {
	for i := range scene.Tables {
		if scene.Tables[i].Name == name {
			return &scene.Tables[i]
		}
	}
	return nil
}

// regionRows gives the region of every row; row 0 is not examined.
func regionRows(t *gltf.Table) ([]annotate.Region, error) {
	id, substance := t.Column("id"), t.Column("substance")
	if id == nil || substance == nil || len(id.Strings) != t.Count || len(substance.Strings) != t.Count || t.Count == 0 || t.Count > math.MaxUint16 {
		return nil, fmt.Errorf("the table of regions lacks ids or substances; hand the model over again")
	}
	out := make([]annotate.Region, t.Count)
	for i := range out {
		out[i] = annotate.Region{ID: id.Strings[i], Number: uint16(i), Layer: facemap.Substance.String(), Kind: substance.Strings[i]}
		for _, c := range []struct {
			name string
			to   *string
		}{{"certainty", &out[i].Certainty}, {"examined_by", &out[i].ExaminedBy}, {"material", &out[i].Material}, {"basis", &out[i].Basis}, {"date", &out[i].When}} {
			if col := t.Column(c.name); col != nil && len(col.Strings) == t.Count {
				*c.to = col.Strings[i]
			}
		}
		if col := t.Column(columnBand); col != nil && len(col.Numbers) == t.Count {
			out[i].BandMM = max(col.Numbers[i], 0)
		}
	}
	return out, nil
}

// overlayRow is the regions of layers B and C that one row stands for.
type overlayRow []annotate.Region

// overlayRows gives every combination its regions, numbered from first on.
func overlayRows(t *gltf.Table, first int) ([]overlayRow, error) {
	if t == nil {
		return []overlayRow{nil}, nil
	}
	out := make([]overlayRow, t.Count)
	number := map[string]uint16{}
	for _, layer := range []facemap.Layer{facemap.Applied, facemap.Condition} {
		col := t.Column(layer.String())
		if col == nil {
			continue
		}
		if len(col.Strings) != t.Count {
			return nil, fmt.Errorf("the table of overlays has %d rows and %d texts; hand the model over again", t.Count, len(col.Strings))
		}
		for i, text := range col.Strings {
			list, err := parseList(text)
			if err != nil {
				return nil, fmt.Errorf("row %d of the table of overlays: %w", i, err)
			}
			for _, l := range list {
				key := layer.String() + "/" + l.id
				if number[key] == 0 {
					if first+len(number) > math.MaxUint16 {
						return nil, fmt.Errorf("the table of overlays names more than %d regions", math.MaxUint16)
					}
					number[key] = uint16(first + len(number))
				}
				out[i] = append(out[i], annotate.Region{ID: l.id, Number: number[key], Layer: layer.String(), Kind: l.kind})
			}
		}
	}
	return out, nil
}

// pieces lists the pieces, which are the names of the nodes that carry surface,
// in order, with their faces.
func pieces(scene *gltf.Scene) ([]string, map[string][]uint32) {
	var names []string
	faces := map[string][]uint32{}
	for _, p := range scene.Parts {
		name := scene.Document.Nodes[p.Node].Name
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
		for f := range p.Faces {
			faces[name] = append(faces[name], uint32(p.FirstFace+f))
		}
	}
	return names, faces
}

// bodyOf makes a piece's own mesh and map out of its faces.
func bodyOf(all *mesh.Mesh, piece string, faces []uint32, sets [2][]uint32, rows []annotate.Region, over []overlayRow) (tally.Body, error) {
	m := &mesh.Mesh{Origin: all.Origin, Positions: all.Positions, Triangles: make([]uint32, 0, 3*len(faces))}
	for _, f := range faces {
		m.Triangles = append(m.Triangles, all.Triangles[3*f:3*f+3]...)
	}
	labels, err := facemap.New("", len(faces))
	if err != nil {
		return tally.Body{}, err
	}
	bySubstance := map[uint16][]uint32{}
	byOverlay := map[uint16][]uint32{}
	layer := map[uint16]annotate.Region{}
	for i, f := range faces {
		row, top := sets[0][f], sets[1][f]
		if row != gltf.NoFeature && int64(row) >= int64(len(rows)) || top != gltf.NoFeature && int64(top) >= int64(len(over)) {
			return tally.Body{}, fmt.Errorf("triangle %d carries an id that no table has; hand the model over again", f)
		}
		if row != gltf.NoFeature && row != 0 {
			bySubstance[uint16(row)] = append(bySubstance[uint16(row)], uint32(i))
		}
		if top == gltf.NoFeature {
			continue
		}
		for _, r := range over[top] {
			byOverlay[r.Number] = append(byOverlay[r.Number], uint32(i))
			layer[r.Number] = r
		}
	}
	b := tally.Body{Piece: piece, Use: piece, Map: labels}
	for n, list := range bySubstance {
		if _, err := labels.AssignFaces(list, facemap.Paint{Region: n}); err != nil {
			return tally.Body{}, err
		}
		b.Regions = append(b.Regions, rows[n])
	}
	for n, list := range byOverlay {
		l, err := facemap.ParseLayer(layer[n].Layer)
		if err != nil {
			return tally.Body{}, err
		}
		if _, err := labels.AssignFaces(list, facemap.Paint{Region: n, Layer: l}); err != nil {
			return tally.Body{}, err
		}
		b.Regions = append(b.Regions, layer[n])
	}
	slices.SortFunc(b.Regions, func(a, c annotate.Region) int { return int(a.Number) - int(c.Number) })
	b.Surface = facemap.NewSurface(m)
	return b, nil
}

// joins gives the first body the lines of kind join: their lengths are sums over
// the drawn points.
func joins(scene *gltf.Scene, t *gltf.Table, bodies []tally.Body) error {
	if t == nil || len(bodies) == 0 {
		return nil
	}
	id, kind, fit := t.Column("id"), t.Column("kind"), t.Column("fit")
	if id == nil || kind == nil || len(id.Strings) != t.Count || len(kind.Strings) != t.Count {
		return fmt.Errorf("the table of lines lacks ids or kinds; hand the model over again")
	}
	for _, l := range scene.Lines {
		if l.Mode != gltf.LineStrip || len(l.IDs) == 0 || len(l.IDs[0]) == 0 {
			continue
		}
		row := l.IDs[0][0]
		if int64(row) >= int64(t.Count) {
			return fmt.Errorf("a line carries the id %d, which its table does not have; hand the model over again", row)
		}
		if kind.Strings[row] != "join" {
			continue
		}
		j := tally.Join{ID: id.Strings[row], Way: l.Points}
		if fit != nil && len(fit.Strings) == t.Count {
			j.Fit = fit.Strings[row]
		}
		bodies[0].Joins = append(bodies[0].Joins, j)
	}
	return nil
}

// statedExtras reads the notes of the file, nil if there are none to read.
func statedExtras(scene *gltf.Scene) *extras {
	var root struct {
		Rigatino *extras `json:"rigatino"`
	}
	if scene.Document.Extras == nil || json.Unmarshal(scene.Document.Extras, &root) != nil {
		return nil
	}
	return root.Rigatino
}

// agreement is how closely stated and reckoned values must agree: coordinates
// are float32, so sums over a region agree to about this.
const agreement = 1e-5

// differs names the first value that the notes state otherwise than the
// triangles give, empty if all agree. A value that only one of them has counts
// as different.
func differs(stated, found *tally.Sheet) string {
	a, b := figures(stated), figures(found)
	all := map[string]bool{}
	for name := range a {
		all[name] = true
	}
	for name := range b {
		all[name] = true
	}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		x, hasX := a[name]
		y, hasY := b[name]
		if hasX != hasY || math.Abs(x-y) > agreement*math.Max(1, math.Max(math.Abs(x), math.Abs(y))) {
			return name
		}
	}
	return ""
}

// figures names every value of a sheet that follows from the triangles, the
// tables and the lines: areas in mm², lengths in mm, shares.
func figures(s *tally.Sheet) map[string]float64 {
	out := map[string]float64{}
	put := func(name string, m *quantity.Measured) {
		if m != nil {
			out[name] = m.Value
		}
	}
	surface := func(of string, f tally.Surface, r tally.Restored) {
		out[of+"total area"] = f.TotalMM2
		out[of+"specimen surface"] = f.SpecimenMM2
		for _, by := range []map[string]quantity.Measured{f.BySubstance, f.ByApplied, f.ByCondition} {
			for kind, m := range by {
				out[of+"area of "+kind] = m.Value
			}
		}
		put(of+"restored share", r.Share)
		put(of+"restored share, low", r.Low)
		put(of+"restored share, high", r.High)
	}
	surface("", s.Surface, s.Restored)
	for _, p := range s.Pieces {
		surface(p.Piece+": ", p.Surface, p.Restored)
	}
	put("changed in look", s.ChangedInLook)
	put("retouch over original", s.RetouchOverOriginal)
	put("matrix left", s.MatrixLeft)
	for _, r := range s.Regions {
		out["area of region "+r.ID] += r.Area.Value
	}
	for _, j := range s.Joins {
		out["length of join "+j.ID] += j.Length.Value
	}
	return out
}
