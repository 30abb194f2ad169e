package gltf

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"rigatino/mesh"
)

// piece is a primitive of triangles in its place in the scene.
type piece struct {
	part    Part
	prim    *Primitive
	mode    Mode
	world   affine // to the world, times the factor
	group   *group
	indices *array // nil if not indexed
}

// group is a run of vertices: the attributes that one or more pieces share.
type group struct {
	first, count int
	world        affine
	pos          strided
	attributes   map[string]int
	uv           uvRule
	where        string
}

// ribbons are roles of primitives that draw a join and are not surface.
var ribbons = map[string]bool{"join ribbon": true, "joint ribbon": true}

// place sorts the primitives of the scene into surface, aside and lines.
func (r *reader) place(s *Scene, nodes []placed) (surface, aside []*piece, err error) {
	factor := r.opt.Factor
	if factor == 0 {
		factor = 1
	}
	for _, at := range nodes {
		n := &r.doc.Nodes[at.node]
		if n.Mesh == nil {
			continue
		}
		if *n.Mesh < 0 || *n.Mesh >= len(r.doc.Meshes) {
			return nil, nil, damaged(fmt.Sprintf("node %d", at.node), "has mesh %d, which is not one of the %d there are", *n.Mesh, len(r.doc.Meshes))
		}
		world := at.world
		if n.Skin != nil {
			// Specification 3.7.3.3: a skinned mesh ignores its node's place.
			world = identity
			r.warn("skin_ignored", fmt.Sprintf("node %d is a figure with joints, read in the pose in which it was bound", at.node),
				"save the scan in the pose that is meant")
		}
		m := &r.doc.Meshes[*n.Mesh]
		groups := map[string]*group{}
		for i := range m.Primitives {
			p := &piece{prim: &m.Primitives[i], mode: Triangles, world: world.scaled(factor)}
			p.part = Part{Node: at.node, Mesh: *n.Mesh, Primitive: i, Material: -1, World: [16]float64{15: 1}}
			copy(p.part.World[:12], world[:])
			if p.prim.Mode != nil {
				p.mode = *p.prim.Mode
			}
			if err := r.spend(pieceCost); err != nil {
				return nil, nil, err
			}
			if len(p.prim.Targets) > 0 {
				r.morphs(n, m)
			}
			what, err := r.sort(p, groups)
			if err != nil {
				return nil, nil, fmt.Errorf("mesh %d primitive %d: %w", *n.Mesh, i, err)
			}
			switch what {
			case isSurface:
				surface = append(surface, p)
			case isAside:
				aside = append(aside, p)
			case isLine:
				l, err := r.line(p)
				if err != nil {
					return nil, nil, fmt.Errorf("mesh %d primitive %d: %w", *n.Mesh, i, err)
				}
				s.Lines = append(s.Lines, l)
			}
		}
	}
	return surface, aside, nil
}

// morphs says that the shapes a mesh can morph into are left out, and whether it
// is meant to stand part of the way to one.
func (r *reader) morphs(n *Node, m *Mesh) {
	r.once("morph_ignored", "the scan has other shapes to morph into, which were left out", "")
	weights := n.Weights
	if weights == nil {
		weights = m.Weights
	}
	if slices.ContainsFunc(weights, func(w float64) bool { return w != 0 }) {
		r.onceWarn("morph_weights_ignored", "the scan is morphed by default, so other programs show another shape than was read",
			"save the scan in the shape that is meant, without morph targets")
	}
}

// What a primitive is to a scan.
const (
	isNothing = iota
	isSurface
	isAside
	isLine
)

// sort reads what a primitive says of itself and finds its vertices.
func (r *reader) sort(p *piece, groups map[string]*group) (what int, err error) {
	if err := r.annotate(&p.part, p.prim); err != nil {
		return isNothing, err
	}
	if p.mode < Points || p.mode > TriangleFan {
		return isNothing, damaged("mode", "is %d, which does not exist", p.mode)
	}
	if m := p.prim.Material; m != nil {
		if *m < 0 || *m >= len(r.doc.Materials) {
			return isNothing, damaged(fmt.Sprintf("material %d", *m), "is not one of the %d there are", len(r.doc.Materials))
		}
		p.part.Material = *m
	}
	position, ok := p.prim.Attributes["POSITION"]
	if !ok {
		if _, draco := p.prim.Extensions[extDraco]; draco {
			return isNothing, needsExtension(extDraco)
		}
		r.note("primitive_without_position", fmt.Sprintf("mesh %d primitive %d has no positions and was left out", p.part.Mesh, p.part.Primitive), "")
		return isNothing, nil
	}
	if p.prim.Indices != nil {
		a, err := r.accessor(*p.prim.Indices, "indices")
		if err != nil {
			return isNothing, err
		}
		if !a.isUnsigned() {
			return isNothing, damaged(a.where, "does not hold whole numbers")
		}
		p.indices = &a
	}
	if p.group, err = r.groupOf(p, position, groups); err != nil {
		return isNothing, err
	}
	corners := p.group.count
	if p.indices != nil {
		corners = p.indices.count
	}
	p.part.Vertices = p.group.count
	switch {
	case p.mode < Triangles:
		return isLine, r.spend(corners)
	case p.mode == Triangles:
		p.part.Faces = corners / 3
		if corners%3 != 0 {
			r.note("odd_corners", fmt.Sprintf("mesh %d primitive %d has %d corners, not a multiple of 3; the last were left out", p.part.Mesh, p.part.Primitive, corners), "")
		}
	default:
		p.part.Faces = max(0, corners-2)
	}
	p.part.Mirrored = p.world.det() < 0
	if err := r.spend(p.part.Faces); err != nil {
		return isNothing, err
	}
	switch {
	case ribbons[p.prim.role()]:
		return isAside, nil
	case r.hidden(p.part.Material):
		r.once("hidden_ignored", "triangles with an invisible material were not taken as surface", "")
		return isAside, nil
	}
	return isSurface, nil
}

// groupOf returns the run of vertices of a piece, shared with an earlier piece
// of the same node if it has the same accessors and is textured the same way.
func (r *reader) groupOf(p *piece, position int, groups map[string]*group) (*group, error) {
	uv, err := r.uvRule(p.part.Material)
	if err != nil {
		return nil, err
	}
	names := make([]string, 0, len(p.prim.Attributes))
	for name, i := range p.prim.Attributes {
		names = append(names, fmt.Sprintf("%s=%d", name, i))
	}
	sort.Strings(names)
	key := fmt.Sprint(strings.Join(names, " "), uv)
	if g := groups[key]; g != nil {
		return g, nil
	}
	a, err := r.accessor(position, "POSITION")
	if err != nil {
		return nil, err
	}
	if a.width != 3 {
		return nil, damaged(a.where, "does not hold points")
	}
	if err := r.spend(a.count); err != nil {
		return nil, err
	}
	g := &group{first: -1, count: a.count, world: p.world, pos: a.floats(3), attributes: p.prim.Attributes, uv: uv, where: a.where}
	r.bounds(g, &r.doc.Accessors[position])
	groups[key] = g
	return g, nil
}

// bounds compares the bounds that a file states for positions with the positions.
// Nothing is computed from stated bounds; wrong ones tell that a program changed
// the positions and not the rest.
func (r *reader) bounds(g *group, a *Accessor) {
	if len(a.Min) != 3 || len(a.Max) != 3 {
		r.once("position_bounds_missing", g.where+" states no min and max; they were computed", "")
		return
	}
	if a.ComponentType != Float32 || g.count == 0 {
		return // whole numbers are stated as stored, before they are scaled
	}
	type box struct{ lo, hi [3]float32 }
	parts := make([]box, blocksOf(g.count))
	_ = mesh.Parallel(context.Background(), len(parts), func(b int) {
		from := g.pos.f[b*block*g.pos.step:]
		box := box{[3]float32(from), [3]float32(from)}
		for i := range min(block, g.count-b*block) {
			p := from[i*g.pos.step : i*g.pos.step+3 : i*g.pos.step+3]
			for k, x := range p {
				if x < box.lo[k] {
					box.lo[k] = x
				}
				if x > box.hi[k] {
					box.hi[k] = x
				}
			}
		}
		parts[b] = box
	})
	whole := parts[0]
	for _, b := range parts[1:] {
		for k := range 3 {
			whole.lo[k], whole.hi[k] = min(whole.lo[k], b.lo[k]), max(whole.hi[k], b.hi[k])
		}
	}
	for k := range 3 {
		lo, hi := float64(whole.lo[k]), float64(whole.hi[k])
		// Writers print seven digits or so.
		near := 1e-5*(hi-lo) + 1e-6*max(math.Abs(lo), math.Abs(hi))
		if math.Abs(a.Min[k]-lo) > near || math.Abs(a.Max[k]-hi) > near {
			r.onceWarn("position_bounds_wrong", fmt.Sprintf("%s states bounds of %g to %g along %s and reaches from %g to %g",
				g.where, a.Min[k], a.Max[k], "xyz"[k:k+1], lo, hi), "look whether the scan is whole; save it again in the program it came from")
			return
		}
	}
}

// pieceCost is what a piece costs beside its vertices and faces.
const pieceCost = 32

// spend counts elements that the scene puts out against the bytes read, so that
// a small file cannot repeat its parts until memory is full.
func (r *reader) spend(elements int) error {
	r.spent += int64(elements)
	if r.spent > 1<<20+r.present || r.spent > math.MaxInt32 {
		return flaw{"the scene", "repeats its parts until they are far larger than the file", "save the scan with every part once"}
	}
	return nil
}

// hidden says whether a material shows nothing.
func (r *reader) hidden(material int) bool {
	if material < 0 {
		return false
	}
	m := &r.doc.Materials[material]
	return m.AlphaMode == "BLEND" && m.PBR != nil && m.PBR.BaseColorFactor != nil && m.PBR.BaseColorFactor[3] == 0
}

// once notes something at most once a file.
func (r *reader) once(id, reason, way string) {
	for i := range r.findings {
		if r.findings[i].ID == id {
			return
		}
	}
	r.note(id, reason, way)
}

// line reads a primitive of points or lines.
func (r *reader) line(p *piece) (Line, error) {
	l := Line{Part: p.part, Mode: p.mode}
	g := p.group
	n := g.count
	var at []uint32
	if p.indices != nil {
		at = p.indices.uint32s()
		n = len(at)
	}
	sets, err := r.featureIDs(g)
	if err != nil {
		return l, err
	}
	l.IDs = make([][]uint32, len(sets))
	l.Points = make([]vec, n)
	for i := range n {
		v := i
		if at != nil {
			v = int(at[i])
		}
		if v >= g.count {
			return l, damaged(p.indices.where, "number %d is %d, past the last of %d vertices", i, v, g.count)
		}
		q := g.pos.f[v*g.pos.step:]
		l.Points[i] = p.world.apply(float64(q[0]), float64(q[1]), float64(q[2]))
		if !finite(l.Points[i]) {
			return l, damaged(g.where, "vertex %d is not a number", v)
		}
		for k, ids := range sets {
			l.IDs[k] = append(l.IDs[k], ids[v])
		}
	}
	return l, nil
}

// asides builds the parts that are not surface.
func (r *reader) asides(pieces []*piece) ([]Aside, error) {
	var out []Aside
	for _, p := range pieces {
		p.group.first = -1
		m, _, err := r.build([]*piece{p})
		if err != nil {
			return nil, err
		}
		out = append(out, Aside{p.part, m})
	}
	return out, nil
}

// assemble fills the scene from the nodes.
func (r *reader) assemble(s *Scene, nodes []placed) error {
	surface, aside, err := r.place(s, nodes)
	if err != nil {
		return err
	}
	if s.Mesh, s.FeatureIDs, err = r.build(surface); err != nil {
		return err
	}
	for _, p := range surface {
		s.Parts = append(s.Parts, p.part)
		if p.part.Mirrored {
			r.onceWarn("mirrored", "a node mirrors its part; its faces were turned so that they look outward",
				"check that the specimen is not left for right")
		}
	}
	s.Aside, err = r.asides(aside)
	return err
}

func (r *reader) onceWarn(id, reason, way string) {
	n := len(r.findings)
	r.once(id, reason, way)
	if len(r.findings) > n {
		r.findings[n].Severity = mesh.Warning
	}
}
