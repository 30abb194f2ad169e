package mesh

// BorderLoops returns the open rims of the surface as rings of welded vertex
// ids, each in the direction of its faces (the surface lies to the left, seen
// from outside), the last vertex joined to the first. Where the surface touches
// itself in one vertex a rim goes on along the fan of faces it came by: two
// patches that touch have a rim each, two holes that touch share one that passes
// the vertex twice. A chain that a non-manifold edge or an inside-out face breaks
// off is returned as it is: its two ends are not joined by a border edge.
func (t *Topology) BorderLoops() [][]uint32 {
	if t.Border == 0 {
		return nil
	}
	used := make([]bool, len(t.Neighbour))
	var loops [][]uint32
	for e := range t.Neighbour {
		if !t.isBorder(uint32(e)) || used[e] {
			continue
		}
		var loop []uint32
		for at := uint32(e); ; {
			used[at] = true
			loop = append(loop, t.corners[at])
			next, ok := t.nextBorder(at)
			if !ok || used[next] {
				if !ok || next != uint32(e) {
					loop = append(loop, t.corners[after(at)])
				}
				break
			}
			at = next
		}
		loops = append(loops, loop)
	}
	return loops
}

// isBorder says whether half-edge e (3·face + corner) is a counted border edge.
func (t *Topology) isBorder(e uint32) bool {
	return t.Neighbour[e] == BorderEdge && t.Component[e/3] >= 0
}

// nextBorder turns round the end of border half-edge e through its fan of
// faces to the border half-edge that leaves there.
func (t *Topology) nextBorder(e uint32) (next uint32, ok bool) {
	v := t.corners[after(e)]
	for at := after(e); ; {
		if t.isBorder(at) {
			return at, true
		}
		g := t.Neighbour[at]
		if g < 0 {
			return 0, false
		}
		far := t.corners[after(at)]
		for k := range uint32(3) {
			if t.corners[3*uint32(g)+k] == v {
				at = 3*uint32(g) + k
			}
		}
		// A face turned the other way runs along the shared edge again.
		if t.corners[after(at)] == far {
			return 0, false
		}
	}
}

// after is the next half-edge of the same face.
func after(e uint32) uint32 {
	if e%3 == 2 {
		return e - 2
	}
	return e + 1
}
