package glb

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/tally"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/gltf"
	"rigatino/mesh/solid"
	"rigatino/testdata/interop"
)

// invented is a ball with a fill, a reconstruction, retouch over both fill and
// original, a crack, split faces and a join, and a loose small ball beside it.
func invented(t *testing.T, coloured bool) Input {
	t.Helper()
	ball := solid.Icosphere(5, 30)
	if coloured {
		ball.Colours = make([]uint8, 4*ball.VertexCount())
		for i := range ball.Colours {
			ball.Colours[i] = 180
		}
	}
	regions := []annotate.Region{
		{ID: "R1", Number: 1, Layer: "substance", Kind: "original", Certainty: "seen", ExaminedBy: "raking"},
		{ID: "R2", Number: 2, Layer: "substance", Kind: "fill", Material: "two-part epoxy putty", When: "2026-03-20"},
		{ID: "R3", Number: 3, Layer: "substance", Kind: "reconstruction", Basis: "modelled_guided"},
		{ID: "R4", Number: 4, Layer: "applied", Kind: "retouch"},
		{ID: "R5", Number: 5, Layer: "condition", Kind: "crack"},
	}
	s := facemap.NewSurface(ball)
	labels, err := facemap.New("", ball.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	all := []uint32{}
	for f := range uint32(ball.FaceCount()) {
		if a, b, c := ball.Corners(f); a.Z+b.Z+c.Z > -60 {
			all = append(all, f)
		}
	}
	mark := func(_ facemap.Outcome, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	at := func(x, y, z float64) mesh.SurfacePoint {
		p, _, ok := s.Locate(r3.Vec{X: x, Y: y, Z: z})
		if !ok {
			t.Fatal("nothing there")
		}
		return p
	}
	mark(labels.AssignFaces(all, facemap.Paint{Region: 1}))
	mark(labels.Stroke(s, at(30, 0, 0), facemap.Brush{RadiusMM: 9, Levels: 2}, facemap.Paint{Region: 2}))
	mark(labels.Stroke(s, at(0, 30, 0), facemap.Brush{RadiusMM: 6}, facemap.Paint{Region: 3}))
	mark(labels.Stroke(s, at(28, 9, 0), facemap.Brush{RadiusMM: 7, Levels: 1}, facemap.Paint{Region: 4, Layer: facemap.Applied}))
	mark(labels.Stroke(s, at(20, 20, 0), facemap.Brush{RadiusMM: 4}, facemap.Paint{Region: 5, Layer: facemap.Condition}))
	way, err := tally.Trace(s, [][3]float64{{0, 30, 3}, {10, 26, 5}, {30, 0, 2}})
	if err != nil {
		t.Fatal(err)
	}
	chip := solid.Icosphere(3, 5)
	chipLabels, err := facemap.New("", chip.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	in := Input{
		Record: annotate.Record{
			Specimen: annotate.Specimen{CatalogueNumber: "TVM 2041", Title: "left humerus", Institution: "Tarn Valley Museum", Taxon: "Plesiosauria indet.", Rights: "CC BY 4.0"},
			Stages:   []annotate.Stage{{ID: "fill", Kind: "fill", Date: "2026-03-20"}},
			Lines:    []annotate.Line{{ID: "J1", Kind: "join", Fit: "close", Use: "fill/body/whole"}},
		},
		Stage: "fill", Date: "2026-03-24", TileMM: 1,
		Bodies: []Body{{
			Body: tally.Body{Piece: "body", Use: "fill/body/whole", Surface: s, Map: labels, Regions: regions,
				Joins: []tally.Join{{ID: "J1", Fit: "close", Way: way}}, Scale: annotate.Scale{Verdict: "as_stated", Factor: 1.01}},
			ScanToPiece:     frame.Rotation(r3.Vec{X: 1, Y: 2, Z: 3}, 0.7),
			PieceToSpecimen: frame.Identity(),
		}, {
			Body: tally.Body{Piece: "chip", Use: "fill/chip/whole", Surface: facemap.NewSurface(chip), Map: chipLabels,
				Scale: annotate.Scale{Verdict: "as_stated", Factor: 1}},
			ScanToPiece: frame.Identity(), PieceToSpecimen: frame.Identity(), Loose: true,
		}},
	}
	tin := tally.Input{Stage: "fill"}
	for _, b := range in.Bodies {
		tin.Bodies = append(tin.Bodies, b.Body)
	}
	removed := tally.Volume{From: "received", To: "fill", Piece: "body", Consistent: true}
	tin.Volumes = []tally.Volume{removed}
	if in.Sheet, err = tally.Reckon(tin); err != nil {
		t.Fatal(err)
	}
	return in
}

func write(t *testing.T, in Input) []byte {
	t.Helper()
	var a, b bytes.Buffer
	if err := Write(&a, in); err != nil {
		t.Fatal(err)
	}
	if err := Write(&b, in); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the same model gives other bytes")
	}
	if dir := os.Getenv("RIGATINO_KEEP"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "annotated.glb"), a.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return a.Bytes()
}

// What is read back from triangles and ids is what was reckoned from scan and
// map, to 1e-6.
func TestReadBack(t *testing.T) {
	for _, coloured := range []bool{false, true} {
		in := invented(t, coloured)
		m, err := Read("annotated.glb", write(t, in))
		if err != nil {
			t.Fatal(err)
		}
		got, want := m.Sheet, in.Sheet
		close := func(what string, a, b float64) {
			t.Helper()
			if math.Abs(a-b) > 1e-6*math.Max(1, math.Abs(b)) {
				t.Errorf("%s: %v read back, %v written", what, a, b)
			}
		}
		close("total", got.Surface.TotalMM2, want.Surface.TotalMM2)
		close("specimen", got.Surface.SpecimenMM2, want.Surface.SpecimenMM2)
		for kind, v := range want.Surface.BySubstance {
			close("substance "+kind, got.Surface.BySubstance[kind].Value, v.Value)
		}
		for kind, v := range want.Surface.ByApplied {
			close("applied "+kind, got.Surface.ByApplied[kind].Value, v.Value)
		}
		for kind, v := range want.Surface.ByCondition {
			close("condition "+kind, got.Surface.ByCondition[kind].Value, v.Value)
		}
		if got.Restored.Share == nil || want.Restored.Share == nil {
			t.Fatalf("restored share %+v read back, %+v written", got.Restored, want.Restored)
		}
		close("restored", got.Restored.Share.Value, want.Restored.Share.Value)
		close("retouch over original", got.RetouchOverOriginal.Value, want.RetouchOverOriginal.Value)
		if len(got.Joins) != 1 || got.Joins[0].ID != "J1" || got.Joins[0].Fit != "close" {
			t.Fatalf("joins %+v", got.Joins)
		}
		close("join", got.Joins[0].Length.Value, want.Joins[0].Length.Value)
		if len(got.Pieces) != 2 || got.Pieces[0].Piece != "body" || got.Pieces[1].Piece != "chip" {
			t.Errorf("pieces %+v", got.Pieces)
		}
		if len(got.Volumes) != 1 || !got.Volumes[0].Carried {
			t.Errorf("volumes %+v, wanted one carried over", got.Volumes)
		}
		if len(got.Regions) != len(want.Regions) {
			t.Fatalf("%d regions read back, %d written", len(got.Regions), len(want.Regions))
		}
		// As sure as they were, though their faces were cut finer. The outline is
		// found anew between the finer faces: that moves its length by a per cent or
		// two.
		near := func(what string, got, want float64) {
			t.Helper()
			if math.Abs(got-want) > 0.03*want {
				t.Errorf("%s: %v read back, %v written", what, got, want)
			}
		}
		for i, r := range want.Regions {
			if got.Regions[i].ID != r.ID {
				t.Errorf("region %d is %s, wanted %s", i, got.Regions[i].ID, r.ID)
			}
			near("u of region "+r.ID, got.Regions[i].Area.U, r.Area.U)
			if got.Regions[i].Area.Method != r.Area.Method {
				t.Errorf("region %s: %q, wanted %q", r.ID, got.Regions[i].Area.Method, r.Area.Method)
			}
		}
		for kind, v := range want.Surface.BySubstance {
			near("u of substance "+kind, got.Surface.BySubstance[kind].U, v.U)
		}
		for _, p := range got.OpenPoints {
			if p.ID == "extras_differ" {
				t.Errorf("an unchanged file raises %+v", p)
			}
		}
		if m.Stage != "fill" {
			t.Errorf("stage %q", m.Stage)
		}
	}
}

// A file whose notes were changed by hand is found out, whichever of its figures
// it was: the values come from the triangles, and an open point says so.
func TestFalsifiedExtras(t *testing.T) {
	in := invented(t, false)
	data := write(t, in)
	type object = map[string]any
	for _, row := range []struct {
		about   string
		falsify func(sheet object)
	}{
		{"restored share", func(s object) { s["restored"].(object)["share"].(object)["value"] = 0.001 }},
		{"restored share, low", func(s object) { s["restored"].(object)["low"].(object)["value"] = 0.001 }},
		{"restored share, high", func(s object) { s["restored"].(object)["high"].(object)["value"] = 0.001 }},
		{"restored share", func(s object) { delete(s["restored"].(object), "share") }},
		{"changed in look", func(s object) { s["changed_in_look"].(object)["value"] = 0.001 }},
		{"retouch over original", func(s object) { s["retouch_over_original"].(object)["value"] = 0.001 }},
		{"matrix left", func(s object) {
			s["matrix_left"] = object{"value": 0.5, "u": 0.01, "k": 2, "unit": "1", "method": "invented"}
		}},
		{"total area", func(s object) { s["surface"].(object)["total_mm2"] = 1 }},
		{"chip: specimen surface", func(s object) { s["pieces"].([]any)[1].(object)["surface"].(object)["specimen_mm2"] = 1 }},
		{"area of region " + in.Sheet.Regions[0].ID, func(s object) { s["regions"].([]any)[0].(object)["area"].(object)["value"] = 1 }},
		{"length of join J1", func(s object) { s["joins"].([]any)[0].(object)["length"].(object)["value"] = 1 }},
		{"length of join J9", func(s object) {
			j := maps.Clone(s["joins"].([]any)[0].(object))
			j["id"] = "J9"
			s["joins"] = append(s["joins"].([]any), j)
		}},
	} {
		m, err := Read("false.glb", withExtras(t, data, row.falsify))
		if err != nil {
			t.Fatalf("%s: %v", row.about, err)
		}
		if math.Abs(m.Sheet.Restored.Share.Value-in.Sheet.Restored.Share.Value) > 1e-6 {
			t.Errorf("%s: restored %v, wanted that of the triangles, %v", row.about, m.Sheet.Restored.Share.Value, in.Sheet.Restored.Share.Value)
		}
		if !slices.ContainsFunc(m.Sheet.OpenPoints, func(p annotate.OpenPoint) bool { return p.ID == "extras_differ" && p.About == row.about }) {
			t.Errorf("%s: no open point: %+v", row.about, m.Sheet.OpenPoints)
		}
	}
}

// withExtras is a GLB with the sheet in its notes changed.
func withExtras(t *testing.T, data []byte, change func(sheet map[string]any)) []byte {
	t.Helper()
	length := binary.LittleEndian.Uint32(data[12:])
	var doc map[string]any
	if err := json.Unmarshal(data[20:20+length], &doc); err != nil {
		t.Fatal(err)
	}
	change(doc["extras"].(map[string]any)["rigatino"].(map[string]any)["tally"].(map[string]any))
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	for len(text)%8 != 4 {
		text = append(text, ' ')
	}
	var out bytes.Buffer
	out.Write(data[:8])
	rest := data[20+length:]
	head := binary.LittleEndian.AppendUint32(nil, uint32(20+len(text)+len(rest)))
	head = binary.LittleEndian.AppendUint32(head, uint32(len(text)))
	out.Write(head)
	out.Write(data[16:20])
	out.Write(text)
	out.Write(rest)
	return out.Bytes()
}

// The three variants are mapped on every primitive, hidden ribbons are no
// surface, and nothing is required of a reader.
func TestForm(t *testing.T) {
	in := invented(t, false)
	scene, err := gltf.Read("a.glb", write(t, in), gltf.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(scene.Document.ExtensionsRequired) > 0 {
		t.Errorf("requires %v", scene.Document.ExtensionsRequired)
	}
	if want := []string{"as seen", "map", "map on surface"}; len(scene.Variants) != 3 || scene.Variants[0] != want[0] || scene.Variants[1] != want[1] || scene.Variants[2] != want[2] {
		t.Errorf("variants %v", scene.Variants)
	}
	for _, p := range scene.Parts {
		n := 0
		for _, m := range p.Mappings {
			n += len(m.Variants)
		}
		if n != 3 {
			t.Errorf("a primitive maps %d of 3 variants", n)
		}
	}
	if len(scene.Aside) != 1 || len(scene.Lines) != 1 {
		t.Errorf("%d ribbons and %d lines aside, wanted one each", len(scene.Aside), len(scene.Lines))
	}
	// A tilted ball of radius 30 mm and a scale of 1.01 is 60.6 mm across.
	b := mesh.Bounds(scene.Mesh)
	if h := (b.Max.Y - b.Min.Y) * 1000; math.Abs(h-60.6) > 0.1 {
		t.Errorf("the model is %.2f mm high, wanted 60.6", h)
	}
}

// dressedIn is the invented body with a JPEG picture on it.
func dressedIn(t *testing.T, picture []byte) Input {
	in := invented(t, false)
	skin := in.Bodies[0].Surface.Mesh
	for v := range skin.VertexCount() {
		p := skin.Vertex(uint32(v))
		skin.UVs = append(skin.UVs, float32(p.X/60+0.5), float32(p.Y/60+0.5))
	}
	skin.Images = []mesh.Image{{Name: "skin", MIME: "image/jpeg", Data: picture}}
	skin.Materials = []mesh.Material{{BaseColour: [4]float32{1, 1, 1, 1}}}
	return in
}

// What a picture says besides what it shows goes out only when the record says
// so, and then byte for byte.
func TestNotesOfPicturesAreReleased(t *testing.T) {
	_, noted := jpegWithNotes(t)
	in := dressedIn(t, noted)
	if bytes.Contains(write(t, in), []byte("SECRET")) {
		t.Error("notes go out that nobody released")
	}
	in.Record.Specimen.NotesReleased = true
	if !bytes.Contains(write(t, in), noted) {
		t.Error("the picture does not go out as it was received")
	}
}

// An outside validator finds neither errors nor warnings, and an outside library
// reads the same surface (npm gltf-validator and @gltf-transform): its area, and a
// scan's picture byte for byte but for its notes.
func TestOutsideReaders(t *testing.T) {
	dir := t.TempDir()
	var files []string
	plain, noted := jpegWithNotes(t)
	dressed := dressedIn(t, noted)
	for name, in := range map[string]Input{"plain": invented(t, false), "coloured": invented(t, true), "dressed": dressed} {
		file := filepath.Join(dir, name+".glb")
		if err := os.WriteFile(file, write(t, in), 0o644); err != nil {
			t.Fatal(err)
		}
		files = append(files, file)
	}
	interop.ValidateClean(t, files...)
	clean, _ := withoutNotes(noted)
	for i, got := range interop.Measure(t, files...) {
		data, err := os.ReadFile(files[i])
		if err != nil {
			t.Fatal(err)
		}
		s, err := gltf.Read(files[i], data, gltf.Options{})
		if err != nil {
			t.Fatal(err)
		}
		want, triangles := mesh.Area(s.Mesh), s.Mesh.FaceCount()
		for _, a := range s.Aside {
			want += mesh.Area(a.Mesh)
			triangles += a.Mesh.FaceCount()
		}
		if got.Triangles != triangles || math.Abs(got.Area-want) > 1e-6*want {
			t.Errorf("%s: %d triangles, %.9g m²; want %d, %.9g", filepath.Base(files[i]), got.Triangles, got.Area, triangles, want)
		}
		if !strings.HasPrefix(filepath.Base(files[i]), "dressed") {
			continue
		}
		if !slices.Contains(got.Images, len(clean)) || !bytes.Contains(data, clean) || !bytes.HasSuffix(clean, plain[2:]) || bytes.Contains(data, []byte("SECRET")) {
			t.Errorf("pictures of %v bytes, want one of %d without notes", got.Images, len(clean))
		}
	}
}
