package glb

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// partKey says which primitive a triangle goes to.
type partKey struct {
	material  uint16 // of the scan
	substance string // word of layer A, unassigned included
	top       string // topmost applied or condition kind, empty for none
}

func (k partKey) compare(o partKey) int {
	return cmp.Or(cmp.Compare(k.material, o.material), cmp.Compare(k.substance, o.substance), cmp.Compare(k.top, o.top))
}

// marked says whether the part wears a hatch on the map: all but plain original.
func (k partKey) marked() bool { return k.substance != "original" || k.top != "" }

// part is one primitive in the making: vertices of its own, indices local.
type part struct {
	key       partKey
	positions []float32 // metres, recentred
	normals   []float32
	colours   []uint8 // RGBA, sRGB coded as mesh.Mesh has it; nil if the scan had none
	uvs       []float32
	hatch     []float32 // second texture coordinates, only where marked
	region    []uint16
	overlay   []uint16
	indices   []uint32
	source    []uint32 // scan face behind each triangle

	known map[vertexKey]uint32
}

// vertexKey tells vertices apart: a stored vertex, or the coordinates of a cut
// one, with the ids and the side its hatch is projected from.
type vertexKey struct {
	stored          uint32 // 1 + file vertex, 0 for a cut point
	x, y, z         uint32 // bits of a cut point's position
	u, v            uint32 // and of its texture coordinates
	region, overlay uint16
	side            uint8
}

// placer puts scan coordinates where the model has them.
type placer struct {
	scale          float64 // calibration factor
	scanToSpecimen frame.Rigid
	offset         r3.Vec // mm, taken off in the specimen frame
}

// millimetres returns a scan point in the specimen frame, calibrated.
func (p placer) millimetres(v r3.Vec) r3.Vec { return p.scanToSpecimen.Apply(r3.Scale(p.scale, v)) }

// metres returns it recentred, in metres.
func (p placer) metres(v r3.Vec) r3.Vec {
	return r3.Scale(1e-3, r3.Sub(p.millimetres(v), p.offset))
}

// split sorts the surface of one body into primitives. row gives the table rows
// of a triangle's labels and the key they put it under. tile is the hatch tile's
// side in mm.
func split(m *mesh.Mesh, labels *facemap.Map, at placer, tile float64,
	row func(substance uint16, overlays []uint16) (region, overlay uint16, substanceWord, top string)) []*part {

	w := mesh.NewWeld(m)
	var soft []r3.Vec
	if m.Normals == nil {
		soft = mesh.VertexNormals(m, w)
	}
	parts := map[partKey]*part{}
	cut(m, w, labels, func(t triangle) {
		region, overlay, substance, top := row(t.substance, t.overlays)
		key := partKey{substance: substance, top: top}
		if m.MaterialOf != nil {
			key.material = m.MaterialOf[t.source]
		}
		p := parts[key]
		if p == nil {
			p = &part{key: key, known: map[vertexKey]uint32{}}
			parts[key] = p
		}
		side := uint8(0)
		if key.marked() {
			side = dominant(at.scanToSpecimen.Turn(m.AreaVector(t.source)))
		}
		for _, c := range t.corners {
			p.indices = append(p.indices, p.vertex(m, w, soft, t.source, c, region, overlay, side, at, tile))
		}
		p.source = append(p.source, t.source)
	})
	out := make([]*part, 0, len(parts))
	for _, p := range parts {
		p.known = nil
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b *part) int { return a.key.compare(b.key) })
	return out
}

// vertex returns the index of a vertex of the part, made when first asked for.
func (p *part) vertex(m *mesh.Mesh, w *mesh.Weld, soft []r3.Vec, face uint32, c corner, region, overlay uint16, side uint8, at placer, tile float64) uint32 {
	local := position(m, face, c)
	key := vertexKey{region: region, overlay: overlay, side: side}
	k, stored := c.vertex()
	if stored {
		key.stored = m.Triangles[3*face+uint32(k)] + 1
	} else {
		key.x = math.Float32bits(float32(local[0]))
		key.y = math.Float32bits(float32(local[1]))
		key.z = math.Float32bits(float32(local[2]))
		if m.UVs != nil {
			uv := blend2(m.UVs, m, face, c)
			key.u, key.v = math.Float32bits(uv[0]), math.Float32bits(uv[1])
		}
	}
	if i, ok := p.known[key]; ok {
		return i
	}
	i := uint32(len(p.region))
	p.known[key] = i

	world := r3.Add(m.Origin, r3.Vec{X: local[0], Y: local[1], Z: local[2]})
	q := at.metres(world)
	p.positions = append(p.positions, float32(q.X), float32(q.Y), float32(q.Z))
	n := at.scanToSpecimen.Turn(normalAt(m, w, soft, face, c))
	if length := r3.Norm(n); length > 0 {
		n = r3.Scale(1/length, n)
	} else {
		n = r3.Vec{Z: 1}
	}
	p.normals = append(p.normals, float32(n.X), float32(n.Y), float32(n.Z))
	if m.Colours != nil {
		p.colours = append(p.colours, blendColour(m, face, c)...)
	}
	if m.UVs != nil {
		uv := blend2(m.UVs, m, face, c)
		p.uvs = append(p.uvs, uv[0], uv[1])
	}
	if p.key.marked() {
		mm := r3.Sub(at.millimetres(world), at.offset)
		u, v := project(mm, side)
		p.hatch = append(p.hatch, float32(u/tile), float32(v/tile))
	}
	p.region = append(p.region, region)
	p.overlay = append(p.overlay, overlay)
	return i
}

// dominant returns the axis (0 x, 1 y, 2 z) that a face looks along most.
func dominant(n r3.Vec) uint8 {
	x, y, z := math.Abs(n.X), math.Abs(n.Y), math.Abs(n.Z)
	switch {
	case x >= y && x >= z:
		return 0
	case y >= z:
		return 1
	}
	return 2
}

// project lays a place (mm) on the plane across an axis.
func project(p r3.Vec, side uint8) (u, v float64) {
	switch side {
	case 0:
		return p.Z, p.Y
	case 1:
		return p.X, p.Z
	}
	return p.X, p.Y
}

func normalAt(m *mesh.Mesh, w *mesh.Weld, soft []r3.Vec, face uint32, c corner) r3.Vec {
	var n r3.Vec
	for k := range 3 {
		v := m.Triangles[3*face+uint32(k)]
		if m.Normals != nil {
			n = r3.Add(n, r3.Scale(c.weights[k], r3.Vec{X: float64(m.Normals[3*v]), Y: float64(m.Normals[3*v+1]), Z: float64(m.Normals[3*v+2])}))
		} else {
			n = r3.Add(n, r3.Scale(c.weights[k], soft[w.Of[v]]))
		}
	}
	return n
}

func blend2(values []float32, m *mesh.Mesh, face uint32, c corner) (out [2]float32) {
	var sum [2]float64
	for k := range 3 {
		v := m.Triangles[3*face+uint32(k)]
		sum[0] += c.weights[k] * float64(values[2*v])
		sum[1] += c.weights[k] * float64(values[2*v+1])
	}
	return [2]float32{float32(sum[0]), float32(sum[1])}
}

func blendColour(m *mesh.Mesh, face uint32, c corner) []uint8 {
	var sum [4]float64
	for k := range 3 {
		v := m.Triangles[3*face+uint32(k)]
		for j := range 4 {
			sum[j] += c.weights[k] * float64(m.Colours[4*v+uint32(j)])
		}
	}
	return []uint8{uint8(sum[0] + 0.5), uint8(sum[1] + 0.5), uint8(sum[2] + 0.5), uint8(sum[3] + 0.5)}
}
