package facemap

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Outline is a closed line on the surface.
type Outline struct {
	// Points of the line in order, mm, in the mesh's frame; the last joins the
	// first. They are laid on to the surface, from at most WithinMM away (0
	// means five mean edges).
	Points   []r3.Vec
	WithinMM float64
	// Inside is a place in the patch meant. Without it the patch lies to the
	// left as one follows the points, seen from outside the specimen.
	Inside *mesh.SurfacePoint
	// Levels splits faces that the line crosses, as Brush.Levels does.
	Levels uint8
}

// Outline paints the patch inside a closed line. A face or cell belongs to it
// if its centroid lies on the patch's side of the nearest stretch of the line,
// or if it hangs together with such faces without the line between.
func (m *Map) Outline(s *Surface, o Outline, p Paint) (Outcome, error) {
	var places []mesh.SurfacePoint
	if o.Inside != nil {
		places = append(places, *o.Inside)
	}
	if err := m.fitsSurface(s, places...); err != nil {
		return Outcome{}, err
	}
	if o.Levels > MaxLevel {
		return Outcome{}, fmt.Errorf("faces are split %d times at most, not %d", MaxLevel, o.Levels)
	}
	line, err := s.layLine(o)
	if err != nil {
		return Outcome{}, err
	}
	in, err := s.flood(line, o)
	if err != nil {
		return Outcome{}, err
	}
	e, err := m.begin(p)
	if err != nil {
		return Outcome{}, err
	}
	for _, f := range in {
		e.cells(f.face, f.level, f.mask)
	}
	return e.done(), nil
}

// closedLine is an outline laid on to the surface in short stretches.
type closedLine struct {
	points []r3.Vec
	faces  []uint32
}

func (s *Surface) layLine(o Outline) (*closedLine, error) {
	if len(o.Points) < 3 {
		return nil, fmt.Errorf("an outline needs at least three points, not %d", len(o.Points))
	}
	within := o.WithinMM
	if within == 0 {
		within = 5 * s.edge
	}
	line := &closedLine{}
	for i, a := range o.Points {
		b := o.Points[(i+1)%len(o.Points)]
		n := max(1, int(math.Ceil(r3.Norm(r3.Sub(b, a))/s.edge)))
		for k := range n {
			t := float64(k) / float64(n)
			p := r3.Add(r3.Scale(1-t, a), r3.Scale(t, b))
			at, away, ok := s.Locate(p)
			if !ok || away > within {
				return nil, fmt.Errorf("outline between points %d and %d runs %.3g mm off the surface, more than %.3g mm: "+
					"give more points, or the right scan", i+1, (i+1)%len(o.Points)+1, away, within)
			}
			q := s.Mesh.At(at)
			if last := len(line.points) - 1; last >= 0 && q == line.points[last] {
				continue
			}
			line.points = append(line.points, q)
			line.faces = append(line.faces, at.Face)
		}
	}
	if n := len(line.points); n > 1 && line.points[n-1] == line.points[0] {
		line.points, line.faces = line.points[:n-1], line.faces[:n-1]
	}
	if len(line.points) < 3 {
		return nil, fmt.Errorf("the outline shrinks to a point on this surface")
	}
	return line, nil
}

// left says on which side of the line p lies, seen along normal n: above 0 on
// its left. Only the stretches listed are looked at.
func (l *closedLine) left(p, n r3.Vec, stretches []int) float64 {
	best, side := math.Inf(1), 0.0
	count := len(l.points)
	way := func(i int) r3.Vec {
		d := r3.Sub(l.points[(i+1)%count], l.points[i])
		return r3.Scale(1/r3.Norm(d), d)
	}
	for _, i := range stretches {
		t, q := onSegment(p, l.points[i], l.points[(i+1)%count])
		v := r3.Sub(p, q)
		if away := r3.Norm2(v); away < best {
			d := way(i)
			// At a corner the two stretches together decide, as the mean of
			// two edge normals does for a polygon.
			switch t {
			case 0:
				d = r3.Add(d, way((i+count-1)%count))
			case 1:
				d = r3.Add(d, way((i+1)%count))
			}
			best, side = away, r3.Dot(n, r3.Cross(d, v))
		}
	}
	return side
}

// part is a face with the cells of it that belong to a patch.
type part struct {
	face  uint32
	level uint8
	mask  uint64
}

// flood finds the patch inside a line: the faces along the line by their side,
// the others by hanging together.
func (s *Surface) flood(line *closedLine, o Outline) ([]part, error) {
	var order []uint32
	near := map[uint32][]int{} // stretches near each face along the line
	for i := range line.points {
		c := capsule{line.points[i], line.points[(i+1)%len(line.points)], 1.5 * s.edge}
		s.reach(line.faces[i], c, -1, func(f uint32) {
			if near[f] == nil {
				order = append(order, f)
			}
			near[f] = append(near[f], i)
		})
	}
	turn := 1.0
	in := s.fill(line, o.Levels, order, near, turn)
	if o.Inside != nil && !in.holds(*o.Inside) {
		turn = -1
		in = s.fill(line, o.Levels, order, near, turn)
		if !in.holds(*o.Inside) {
			return nil, fmt.Errorf("the place given as inside lies on neither side of the outline: it may be on another part of the surface")
		}
	}
	if in.leaks {
		return nil, fmt.Errorf("the outline does not part the surface into inside and outside: it crosses itself, or turns the other way round than meant")
	}
	return in.parts, nil
}

// patch is what fill found.
type patch struct {
	parts []part
	of    map[uint32]int // face → index of its part
	leaks bool           // the inside was reached from an outside face
}

func (p *patch) holds(at mesh.SurfacePoint) bool {
	i, ok := p.of[at.Face]
	return ok && p.parts[i].mask>>CellAt(p.parts[i].level, at.Weights)&1 == 1
}

func (s *Surface) fill(line *closedLine, levels uint8, along []uint32, near map[uint32][]int, turn float64) *patch {
	out := &patch{of: map[uint32]int{}}
	add := func(p part) {
		out.of[p.face] = len(out.parts)
		out.parts = append(out.parts, p)
	}
	inside := make(map[uint32]bool, len(along)) // faces along the line whose centroid is inside
	var queue []uint32
	for _, f := range along {
		n := s.Mesh.AreaVector(f)
		is := func(p r3.Vec) bool { return turn*line.left(p, n, near[f]) > 0 }
		centre := s.Mesh.At(centreOf(f, 0, 0))
		if is(centre) {
			inside[f] = true
			queue = append(queue, f)
		}
		p := part{face: f, level: levels}
		for cell := range Cells(levels) {
			if is(s.Mesh.At(centreOf(f, levels, cell))) {
				p.mask |= 1 << cell
			}
		}
		if p.mask == allCells(levels) {
			p.level, p.mask = 0, 1
		}
		if p.mask != 0 {
			add(p)
		}
	}
	for len(queue) > 0 {
		f := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		for k := range 3 {
			s.across(f, k, func(g uint32) {
				if near[g] != nil {
					// Off the line, only inside faces may border on the flood.
					out.leaks = out.leaks || (near[f] == nil && !inside[g])
					return
				}
				if _, ok := out.of[g]; !ok {
					add(part{g, 0, 1})
					queue = append(queue, g)
				}
			})
		}
	}
	return out
}
