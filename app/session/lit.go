package session

import (
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/handover/picture"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/render"
)

// Pointed is a set of faces of the use in view that the window points at.
type Pointed struct {
	Faces []uint32
	// Layer and Kind are what they would be marked as, whose pattern they show;
	// without a kind they show Tint.
	Layer, Kind string
	Tint        color.RGBA
	// Bare shows the rest of the surface as the scan has it, but for what is
	// left out; else it shows the map.
	Bare bool
	// Outline draws the line round them alone.
	Outline bool

	marks  *render.Marks
	border [][]r3.Vec
}

// PointAt points at faces; nil at none. It is called again when the map has
// changed.
func (d *Desk) PointAt(p *Pointed) {
	d.pointed = p
	b := d.bodies[d.View]
	if p == nil || b == nil {
		return
	}
	if p.marks = nil; !p.Outline {
		p.marks = p.over(b)
	}
	place := d.Placing(b)
	p.border = nil
	for _, way := range borderOf(b.Surface.Mesh, b.Surface.Weld, b.Surface.Topology, p.Faces) {
		line := make([]r3.Vec, len(way))
		for i, q := range way {
			line[i] = place.Place(q)
		}
		p.border = append(p.border, line)
	}
}

// over lays them over the map of a body, or over the scan alone.
func (p *Pointed) over(b *Body) *render.Marks {
	marks := b.Looks.Only(annotate.Support)
	if !p.Bare && b.Looks.Marks() != nil {
		marks = *b.Looks.Marks()
	}
	marks.Faces = slices.Clone(marks.Faces)
	marks.Looks = append(slices.Clone(marks.Looks), p.look(uint32(len(marks.Looks))+1))
	n := uint16(len(marks.Looks) - 1)
	for _, f := range p.Faces {
		if int(f) < len(marks.Faces) {
			marks.Faces[f] = n
		}
	}
	return &marks
}

// look is how faces pointed at look.
func (p *Pointed) look(edge uint32) render.Look {
	out := render.Look{Paper: p.Tint, Opacity: 0.5, Edge: edge}
	t, ok := terms.Get(terms.List(p.Layer), p.Kind)
	if !ok || t.Look == nil {
		return out
	}
	out.Inks = []render.Ink{picture.InkOf(t.Look)}
	if p.Layer == annotate.LayerSubstance {
		out.Paper, out.Opacity = t.Look.Paper, max(t.Look.Opacity, 0.7)
	}
	return out
}

// PointedAt is what the window points at, nil for nothing.
func (d *Desk) PointedAt() *Pointed { return d.pointed }

// PointedBorder is the line round what the window points at, in the scene.
func (d *Desk) PointedBorder() [][]r3.Vec {
	if d.pointed == nil {
		return nil
	}
	return d.pointed.border
}

// borderOf chains the edges between the faces of a set and the others into lines.
func borderOf(m *mesh.Mesh, w *mesh.Weld, t *mesh.Topology, faces []uint32) [][]r3.Vec {
	in := make([]uint64, (len(t.Component)+63)/64)
	for _, f := range faces {
		if int(f) < len(t.Component) {
			in[f/64] |= 1 << (f % 64)
		}
	}
	next := map[uint32][]uint32{}
	place := map[uint32]r3.Vec{}
	var starts []uint32
	for _, f := range faces {
		if int(f) >= len(t.Component) || t.Component[f] < 0 {
			continue
		}
		for k := range uint32(3) {
			if g := t.Neighbour[3*f+k]; g >= 0 && in[g/64]>>(g%64)&1 == 1 {
				continue
			}
			a, b := m.Triangles[3*f+k], m.Triangles[3*f+(k+1)%3]
			u, v := w.Of[a], w.Of[b]
			place[u], place[v] = m.Vertex(a), m.Vertex(b)
			next[u] = append(next[u], v)
			starts = append(starts, u)
		}
	}
	var out [][]r3.Vec
	for _, s := range starts {
		if len(next[s]) == 0 {
			continue
		}
		way := []r3.Vec{place[s]}
		for at := s; len(next[at]) > 0; {
			to := next[at][0]
			next[at] = next[at][1:]
			way = append(way, place[to])
			at = to
		}
		out = append(out, way)
	}
	return out
}

// Spot is where faces lie in the scene and how they are best looked at.
type Spot struct {
	Back   r3.Vec   // towards the eye
	At     r3.Vec   // a place on the faces, near their middle
	Normal r3.Vec   // of the surface there
	Places []r3.Vec // corners of some of them, what a picture of them should hold
	Seen   float64  // share of them that is seen from there, 0 to 1
}

// spotSamples is how many faces are looked at to find from where they are seen.
const spotSamples = 160

// SpotOf finds from where faces of the use in view are seen best: along their
// mean normal, from where the eye is now, or from one of fourteen sides, whichever
// shows most of their surface with nothing before it.
func (d *Desk) SpotOf(faces []uint32, now render.Camera) (Spot, bool) {
	b := d.bodies[d.View]
	if b == nil || len(faces) == 0 {
		return Spot{}, false
	}
	m, place := b.Surface.Mesh, d.Placing(b)
	var sum, middle r3.Vec
	total := 0.0
	for _, f := range faces {
		area := m.AreaVector(f)
		a := r3.Norm(area)
		p, q, r := m.Corners(f)
		sum = r3.Add(sum, area)
		middle = r3.Add(middle, r3.Scale(a/3, r3.Add(p, r3.Add(q, r))))
		total += a
	}
	if !(total > 0) {
		return Spot{}, false
	}
	middle = r3.Scale(1/total, middle)
	step := max(1, len(faces)/spotSamples)
	var sample []uint32
	var out Spot
	near := math.Inf(1)
	for i := 0; i < len(faces); i += step {
		f := faces[i]
		p, q, r := m.Corners(f)
		at := r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r)))
		sample = append(sample, f)
		out.Places = append(out.Places, place.Place(p), place.Place(q), place.Place(r))
		if away := r3.Norm(r3.Sub(at, middle)); away < near {
			near, out.At, out.Normal = away, place.Place(at), place.ToScene.Turn(unitOr(m.AreaVector(f), r3.Vec{Z: 1}))
		}
	}
	back := place.ToScene.Inverse()
	sides := []r3.Vec{unitOr(sum, back.Turn(now.Back)), back.Turn(now.Back)}
	for x := -1.0; x <= 1; x++ {
		for y := -1.0; y <= 1; y++ {
			for z := -1.0; z <= 1; z++ {
				if n := math.Abs(x) + math.Abs(y) + math.Abs(z); n == 1 || n == 3 {
					sides = append(sides, r3.Unit(r3.Vec{X: x, Y: y, Z: z}))
				}
			}
		}
	}
	far := 2 * mesh.Bounds(m).Diagonal()
	best := -1.0
	for i, side := range sides {
		sight := b.Surface.NewSightAlong(r3.Scale(-1, side), far)
		seen, shown, all := 0.0, 0.0, 0.0
		for _, f := range sample {
			area := m.AreaVector(f)
			all += r3.Norm(area)
			if sight.Sees(f) {
				seen += max(0, r3.Dot(area, side))
				shown += r3.Norm(area)
			}
		}
		if i == 0 {
			seen *= 1.1 // straight on where that is about as good
		}
		if seen > best {
			best, out.Back, out.Seen = seen, place.ToScene.Turn(side), shown/max(all, 1e-12)
		}
	}
	return out, true
}

func unitOr(v, other r3.Vec) r3.Vec {
	if n := r3.Norm(v); n > 1e-12 {
		return r3.Scale(1/n, v)
	}
	return other
}

// FacesHeld are those of some faces of the use in view whose middle lies inside a
// line drawn on the picture of a camera and is seen there; holds is asked about
// places of the scan.
func (d *Desk) FacesHeld(faces []uint32, c render.Camera, holds func(p r3.Vec) bool) []uint32 {
	b := d.bodies[d.View]
	if b == nil {
		return nil
	}
	sight := d.sight(b, c)
	out := []uint32{}
	for _, f := range faces {
		p, q, r := b.Surface.Mesh.Corners(f)
		if holds(r3.Scale(1.0/3, r3.Add(p, r3.Add(q, r)))) && (sight == nil || sight.Sees(f)) {
			out = append(out, f)
		}
	}
	return out
}
