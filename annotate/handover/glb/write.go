package glb

import (
	"bytes"
	"fmt"
	"image/png"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/tally"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/gltf"
)

// Input is what an annotated model is written from. Names of people and the
// place of find have been withheld already, unless released.
type Input struct {
	Record annotate.Record
	Stage  string
	Date   string // of the hand-over, ISO 8601
	Sheet  *tally.Sheet
	Bodies []Body
	TileMM float64 // side of a hatch tile
}

// Body is one use of a scan in its place.
type Body struct {
	tally.Body
	Source          annotate.Use
	Scan            annotate.Scan
	ScanToPiece     frame.Rigid
	PieceToSpecimen frame.Rigid
	// Loose is a piece whose place in the specimen is not known: it is set beside
	// the body in its own frame.
	Loose bool
}

// Half width of the ribbon that shows a join in viewers that leave lines out,
// and how far it is lifted off the surface, mm.
const (
	ribbonHalfMM = 0.4
	ribbonLiftMM = 0.3
)

// gapMM is the space between the body and loose pieces set beside it.
const gapMM = 15

// writer gathers one model.
type writer struct {
	in      Input
	b       *gltf.Builder
	regions []annotate.Region // row by row; row 0 is not examined
	areas   []float64         // mm², of each row
	over    []overlayEntry
	overRow map[string]int
	lines   []annotate.Line

	seen   map[int]int    // scan material → material, of the body in hand
	hatch  map[string]int // substance and top kind → material
	hidden int            // material that shows nothing
	line   int            // material of joins in the map
}

// overlayEntry is one row of the table of overlays.
type overlayEntry struct {
	regions []annotate.Region
	areaMM2 float64
}

// Write writes the annotated model of a stage as GLB.
func Write(out io.Writer, in Input) error {
	w := &writer{in: in, b: gltf.NewBuilder("Rigatino"), overRow: map[string]int{"": 0}, hatch: map[string]int{}}
	w.regions = []annotate.Region{{Kind: annotate.Unassigned}}
	w.over = []overlayEntry{{}}
	w.areas = []float64{0}
	if err := w.b.Variants(variantAsSeen, variantMap, variantMapOnSurface); err != nil {
		return err
	}
	w.lineMaterials()
	root, err := w.bodies()
	if err != nil {
		return err
	}
	w.b.Scene(in.Record.Specimen.CatalogueNumber, root...)
	if err := w.tables(); err != nil {
		return err
	}
	if err := w.b.XMP(w.packet()); err != nil {
		return err
	}
	if err := w.extras(); err != nil {
		return err
	}
	return w.b.WriteGLB(out)
}

// bodies adds a node for each body and one for the joins.
func (w *writer) bodies() ([]int, error) {
	var nodes []int
	main := emptyBox()
	for _, b := range w.in.Bodies {
		if !b.Loose {
			main = main.with(boxOf(b.Surface.Mesh, b.placer(r3.Vec{})))
		}
	}
	if main.empty() && len(w.in.Bodies) > 0 {
		main = boxOf(w.in.Bodies[0].Surface.Mesh, w.in.Bodies[0].placer(r3.Vec{}))
	}
	offset := main.centre()
	beside := main.max.X
	var joinParts []gltf.Geometry
	for _, b := range w.in.Bodies {
		origin, place := offset, offset
		if b.Loose {
			own := boxOf(b.Surface.Mesh, b.placer(r3.Vec{}))
			origin = own.centre()
			place = r3.Vec{X: beside + gapMM + own.size().X/2, Y: offset.Y, Z: offset.Z}
			beside = place.X + own.size().X/2
		}
		at := b.placer(origin)
		w.seen = map[int]int{}
		parts := split(b.Surface.Mesh, b.Map, at, w.in.TileMM, w.rows(b))
		geometry := make([]gltf.Geometry, 0, len(parts))
		for _, p := range parts {
			g, err := w.geometry(b.Surface.Mesh, p)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", b.Use, err)
			}
			geometry = append(geometry, g)
		}
		if len(geometry) == 0 {
			return nil, fmt.Errorf("%s: the scan has no faces to hand over", b.Use)
		}
		meshIndex, err := w.b.Mesh(b.Piece, geometry, nil)
		if err != nil {
			return nil, err
		}
		t := [3]float64{place.X / 1000, place.Y / 1000, place.Z / 1000}
		nodes = append(nodes, w.b.Node(gltf.Node{Name: b.Piece, Mesh: &meshIndex, Translation: &t}))
		for _, j := range b.Joins {
			shift := r3.Sub(place, offset) // joins stand in one node, placed like the body
			joinParts = append(joinParts, w.join(b, j, placer{at.scale, at.scanToSpecimen, r3.Sub(origin, shift)})...)
		}
	}
	if len(joinParts) > 0 {
		meshIndex, err := w.b.Mesh(nodeJoins, joinParts, nil)
		if err != nil {
			return nil, err
		}
		t := [3]float64{offset.X / 1000, offset.Y / 1000, offset.Z / 1000}
		nodes = append(nodes, w.b.Node(gltf.Node{Name: nodeJoins, Mesh: &meshIndex, Translation: &t}))
	}
	return nodes, nil
}

func (b *Body) placer(offset r3.Vec) placer {
	return placer{b.Scale.Calibrated(), b.ScanToPiece.Then(b.PieceToSpecimen), offset}
}

// rows gives the table rows of a triangle's labels, adding rows as they come.
func (w *writer) rows(b Body) func(uint16, []uint16) (uint16, uint16, string, string) {
	known := map[uint16]annotate.Region{}
	for _, r := range b.Regions {
		known[r.Number] = r
	}
	row := map[uint16]uint16{0: 0}
	return func(substance uint16, overlays []uint16) (uint16, uint16, string, string) {
		n, ok := row[substance]
		if !ok {
			n = uint16(len(w.regions))
			w.regions = append(w.regions, known[substance])
			w.areas = append(w.areas, 0)
			row[substance] = n
		}
		word := w.regions[n].Kind
		var list []annotate.Region
		for _, o := range overlays {
			list = append(list, known[o])
		}
		slices.SortFunc(list, func(a, c annotate.Region) int {
			return strings.Compare(a.Layer+" "+a.ID, c.Layer+" "+c.ID)
		})
		key, top, best := "", "", -1
		for _, r := range list {
			key += r.Layer + "/" + r.ID + ";"
			if o := terms.Order(terms.List(r.Layer), r.Kind); o > best {
				best, top = o, r.Kind
			}
		}
		over, ok := w.overRow[key]
		if !ok {
			over = len(w.over)
			w.overRow[key] = over
			w.over = append(w.over, overlayEntry{regions: list})
		}
		return n, uint16(over), word, top
	}
}

// geometry makes a primitive of a part and adds its area to the tables.
func (w *writer) geometry(m *mesh.Mesh, p *part) (gltf.Geometry, error) {
	if len(w.regions) > math.MaxUint16 || len(w.over) > math.MaxUint16 {
		return gltf.Geometry{}, fmt.Errorf("the map has more than %d regions; hand over fewer at a time", math.MaxUint16)
	}
	for i := 0; i < len(p.indices); i += 3 {
		a := triangleArea(p.positions, p.indices[i:i+3]) * 1e6
		w.areas[p.region[p.indices[i]]] += a
		w.over[p.overlay[p.indices[i]]].areaMM2 += a
	}
	asSeen, err := w.asSeen(m, int(p.key.material))
	if err != nil {
		return gltf.Geometry{}, err
	}
	g := gltf.Geometry{
		Mode: gltf.Triangles, Positions: p.positions, Normals: p.normals, Colours: p.colours,
		UVs: [2][]float32{p.uvs, p.hatch}, IDs: [][]uint16{p.region, p.overlay}, Indices: p.indices, Material: asSeen,
		Features: []gltf.FeatureSet{
			{Label: "region", Attribute: new(0), PropertyTable: new(0), FeatureCount: distinct(p.region)},
			{Label: "overlay", Attribute: new(1), PropertyTable: new(1), FeatureCount: distinct(p.overlay)},
		},
	}
	set := 1
	if p.uvs == nil { // glTF knows no second coordinates without first ones
		g.UVs = [2][]float32{p.hatch, nil}
		set = 0
	}
	inMap, err := w.mapMaterial(p.key, set, p.colours != nil)
	if err != nil {
		return g, err
	}
	if p.key.marked() {
		g.Mappings = []gltf.Mapping{{Material: asSeen, Variants: []int{0}}, {Material: inMap, Variants: []int{1, 2}}}
	} else {
		g.Mappings = []gltf.Mapping{{Material: asSeen, Variants: []int{0, 2}}, {Material: inMap, Variants: []int{1}}}
	}
	return g, nil
}

func triangleArea(p []float32, i []uint32) float64 {
	at := func(k int) r3.Vec {
		v := 3 * i[k]
		return r3.Vec{X: float64(p[v]), Y: float64(p[v+1]), Z: float64(p[v+2])}
	}
	return r3.Norm(r3.Cross(r3.Sub(at(1), at(0)), r3.Sub(at(2), at(0)))) / 2
}

func distinct(ids []uint16) int {
	sorted := slices.Clone(ids)
	slices.Sort(sorted)
	return len(slices.Compact(sorted))
}

// asSeen is the material that looks as the scan does.
func (w *writer) asSeen(m *mesh.Mesh, i int) (int, error) {
	if k, ok := w.seen[i]; ok {
		return k, nil
	}
	out := gltf.Material{Name: "as seen", DoubleSided: true, PBR: matt(1, 1, 1)}
	if i < len(m.Materials) {
		s := m.Materials[i]
		if s.Name != "" {
			out.Name = s.Name
		}
		if s.BaseColour != [4]float32{} {
			c := s.BaseColour
			out.PBR.BaseColorFactor = &[4]float64{float64(c[0]), float64(c[1]), float64(c[2]), float64(c[3])}
		}
		if s.Unlit {
			out.Extensions = gltf.Unlit()
		}
		if s.Image >= 0 && s.Image < len(m.Images) && m.Images[s.Image].Data != nil && m.UVs != nil {
			coded := m.Images[s.Image].Data
			if clean, ok := withoutNotes(coded); !ok {
				out.Name += " (its picture is broken and was left out)"
			} else {
				if !w.in.Record.Specimen.NotesReleased {
					coded = clean
				}
				picture, err := w.b.Image("scan texture", coded)
				if err != nil {
					return 0, err
				}
				out.PBR.BaseColorTexture = &gltf.TextureInfo{Index: w.b.Texture(picture)}
			}
		}
	}
	w.seen[i] = w.b.Material(out)
	return w.seen[i], nil
}

func matt(r, g, b float64) *gltf.PBRMetallicRoughness {
	return &gltf.PBRMetallicRoughness{BaseColorFactor: &[4]float64{r, g, b, 1}, MetallicFactor: new(0.0), RoughnessFactor: new(1.0)}
}

// tilePixels is the side of a hatch tile's picture.
const tilePixels = 64

// mapMaterial is the hatch of a substance with its topmost kind over it. Vertex
// colours multiply the base colour of every variant; where a scan has them the
// hatch is given off instead, so that it keeps its colours.
func (w *writer) mapMaterial(k partKey, texCoord int, coloured bool) (int, error) {
	key := fmt.Sprintf("%s/%s/%d/%v", k.substance, k.top, texCoord, coloured)
	if i, ok := w.hatch[key]; ok {
		return i, nil
	}
	name := terms.Label(terms.Substance, k.substance)
	var over *terms.Look
	if k.top != "" {
		list := terms.Applied
		if _, ok := terms.Get(terms.Condition, k.top); ok {
			list = terms.Condition
		}
		t, _ := terms.Get(list, k.top)
		over = t.Look
		name += ", " + strings.ToLower(t.Label)
	}
	t, ok := terms.Get(terms.Substance, k.substance)
	if !ok || t.Look == nil {
		return 0, fmt.Errorf("substance %q has no pattern", k.substance)
	}
	m := gltf.Material{Name: name, DoubleSided: true, PBR: matt(1, 1, 1)}
	var texture *gltf.TextureInfo
	if k.marked() {
		var buf bytes.Buffer
		if err := png.Encode(&buf, terms.Swatch(t.Look, over, tilePixels, tilePixels, tilePixels/w.in.TileMM, w.in.TileMM)); err != nil {
			return 0, err
		}
		picture, err := w.b.Image("hatch "+name, buf.Bytes())
		if err != nil {
			return 0, err
		}
		texture = &gltf.TextureInfo{Index: w.b.Texture(picture), TexCoord: texCoord}
	}
	paper := [3]float64{linear(t.Look.Paper.R), linear(t.Look.Paper.G), linear(t.Look.Paper.B)}
	switch {
	case coloured && texture != nil:
		m.PBR = matt(0, 0, 0)
		m.EmissiveTexture, m.EmissiveFactor = texture, &[3]float64{1, 1, 1}
	case coloured:
		m.PBR = matt(0, 0, 0)
		m.EmissiveFactor = &paper
	case texture != nil:
		m.PBR.BaseColorTexture = texture
	default:
		m.PBR = matt(paper[0], paper[1], paper[2])
	}
	w.hatch[key] = w.b.Material(m)
	return w.hatch[key], nil
}

// linear decodes an sRGB component (IEC 61966-2-1).
func linear(v uint8) float64 {
	x := float64(v) / 255
	if x <= 0.04045 {
		return x / 12.92
	}
	return math.Pow((x+0.055)/1.055, 2.4)
}

// lineMaterials adds the material that hides joins as seen and the one that
// shows them in the map. A line that is masked out is still drawn by viewers; a
// blended one with alpha 0 is not.
func (w *writer) lineMaterials() {
	clear := gltf.PBRMetallicRoughness{BaseColorFactor: &[4]float64{}}
	w.hidden = w.b.Material(gltf.Material{Name: "hidden until variant", AlphaMode: "BLEND", DoubleSided: true, PBR: &clear, Extensions: gltf.Unlit()})
	ink := terms.JoinLook("close").Ink
	shown := gltf.PBRMetallicRoughness{BaseColorFactor: &[4]float64{linear(ink.R), linear(ink.G), linear(ink.B), 1}}
	w.line = w.b.Material(gltf.Material{Name: "join", DoubleSided: true, PBR: &shown, Extensions: gltf.Unlit()})
}

// join makes the line strip of a join and the ribbon that stands for it where
// viewers give lines no variants.
func (w *writer) join(b Body, j tally.Join, at placer) []gltf.Geometry {
	row := uint16(len(w.lines))
	line := annotate.Line{ID: j.ID, Kind: annotate.LineJoin, Fit: j.Fit}
	for _, l := range w.in.Record.Lines {
		if l.ID == j.ID {
			line = l
		}
	}
	w.lines = append(w.lines, line)
	mappings := []gltf.Mapping{{Material: w.hidden, Variants: []int{0}}, {Material: w.line, Variants: []int{1, 2}}}
	strip := gltf.Geometry{
		Mode: gltf.LineStrip, Material: w.hidden, Mappings: mappings, Extras: map[string]string{"role": "join line", "id": j.ID},
		Features: []gltf.FeatureSet{{Label: "line", Attribute: new(0), PropertyTable: new(2), FeatureCount: 1}},
	}
	ribbon := gltf.Geometry{Mode: gltf.Triangles, Material: w.hidden, Mappings: mappings, Extras: map[string]string{"role": roleRibbon, "id": j.ID}}
	ids := make([]uint16, len(j.Way))
	for i, p := range j.Way {
		ids[i] = row
		q := at.metres(p)
		strip.Positions = append(strip.Positions, float32(q.X), float32(q.Y), float32(q.Z))
		ahead := r3.Sub(j.Way[min(i+1, len(j.Way)-1)], j.Way[max(i-1, 0)])
		normal := r3.Vec{Z: 1}
		if place, _, ok := b.Surface.Locate(p); ok {
			if n := b.Surface.Mesh.AreaVector(place.Face); r3.Norm(n) > 0 {
				normal = r3.Unit(n)
			}
		}
		side := r3.Cross(normal, ahead)
		if r3.Norm(side) == 0 {
			side = r3.Vec{X: 1}
		}
		side = r3.Scale(ribbonHalfMM/r3.Norm(side), side)
		lifted := r3.Add(p, r3.Scale(ribbonLiftMM, normal))
		n := at.scanToSpecimen.Turn(normal)
		for _, e := range []r3.Vec{r3.Add(lifted, side), r3.Sub(lifted, side)} {
			q := at.metres(e)
			ribbon.Positions = append(ribbon.Positions, float32(q.X), float32(q.Y), float32(q.Z))
			ribbon.Normals = append(ribbon.Normals, float32(n.X), float32(n.Y), float32(n.Z))
		}
		if i > 0 {
			k := uint32(2 * i)
			ribbon.Indices = append(ribbon.Indices, k-2, k-1, k+1, k-2, k+1, k)
		}
	}
	strip.IDs = [][]uint16{ids}
	return []gltf.Geometry{strip, ribbon}
}
