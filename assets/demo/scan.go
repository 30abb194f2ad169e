package demo

import (
	"context"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// Scan is one scan of the specimen, as a scanner would give it: in a frame of
// its own, with noise, and with a tessellation that no other scan shares.
type Scan struct {
	Stage, Piece string
	Mesh         *mesh.Mesh // mm, vertex colours, closed
	// SpecimenToScan leads from the frame the specimen is described in to the
	// scan's. The fragment lies where it belongs in that frame.
	SpecimenToScan frame.Rigid
}

// NoiseMM is the standard deviation of the scans' noise along the normal.
const NoiseMM = 0.025

// piece and stage of every scan, in the order in which they are made.
var scanned = []struct{ stage, piece string }{
	{Received, "body"},
	{MechCoarse, "body"}, {MechCoarse, "fragment"},
	{AirAbrasive, "body"}, {AirAbrasive, "fragment"},
	{Join, "body"}, {Fill, "body"}, {Retouch, "body"},
}

// fragmentShare is the fragment's share of the area, in per cent.
const fragmentShare = 11

// pose is where scan number i lay under the scanner: any turn, and a shift of
// up to 150 mm.
func pose(i int) frame.Rigid {
	random := &splitmix{uint64(7000 + i)}
	g := frame.Rotation(random.direction(), math.Pi*random.uniform())
	g.T = r3.Scale(150*random.uniform(), random.direction())
	return g
}

// Scans makes all scans with about `faces` triangles each (the fragment's in
// proportion to its area). The same number gives the same meshes.
func Scans(ctx context.Context, faces int, progress func(done float64, words string)) ([]Scan, error) {
	s := newSpecimen()
	paint := s.newPainter()
	out := make([]Scan, len(scanned))
	errs := make([]error, len(scanned))
	var mu sync.Mutex
	done := 0
	// Two at a time would do on two processors, but Parallel hands scans out
	// one by one and keeps every processor busy.
	err := mesh.Parallel(ctx, len(scanned), func(i int) {
		out[i], errs[i] = s.scan(ctx, i, faces, paint)
		mu.Lock()
		defer mu.Unlock()
		done++
		if progress != nil {
			progress(float64(done)/float64(len(scanned)), "Scanning the demo specimen")
		}
	})
	if err != nil {
		return nil, err
	}
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// scan makes scan number i.
func (s *specimen) scan(ctx context.Context, i, faces int, paint *painter) (Scan, error) {
	stage, piece := scanned[i].stage, scanned[i].piece
	n := rank(stage)
	random := &splitmix{uint64(100 + i)}
	surface := s.at(stage)
	guess := func(d r3.Vec) r3.Vec { return s.place(d, s.base(d)) }
	unfold := func(u r3.Vec) (r3.Vec, bool) { return u, false }
	var sharp crease
	l := paint.loose.when(stage)
	switch {
	case piece == "fragment":
		surface, guess, unfold, sharp = l.at, l.at, l.unfold, l.rimOf
		faces = faces * fragmentShare / 100
	case stage == MechCoarse || stage == AirAbrasive:
		sharp = l.breakOf
		unfold = func(u r3.Vec) (r3.Vec, bool) {
			side, _ := l.breakOf(u)
			return u, side < 0
		}
	}
	t, err := tessellate(ctx, surface, guess, sharp, faces, random)
	if err != nil {
		return Scan{}, err
	}
	out := Scan{Stage: stage, Piece: piece, SpecimenToScan: pose(i)}
	m := &mesh.Mesh{
		Positions: make([]float32, 0, 3*len(t.at)),
		Triangles: make([]uint32, 0, 3*len(t.tri)),
		Normals:   make([]float32, 0, 3*len(t.at)),
		Colours:   make([]uint8, 0, 4*len(t.at)),
	}
	for _, c := range t.tri {
		m.Triangles = append(m.Triangles, uint32(c[0]), uint32(c[1]), uint32(c[2]))
	}
	normals := t.normals()
	for v, p := range t.on {
		t.on[v] = r3.Add(p, r3.Scale(NoiseMM*random.gauss(), normals[v]))
	}
	normals = t.normals() // a scanner's normals carry its noise
	var sum r3.Vec
	for _, p := range t.on {
		sum = r3.Add(sum, out.SpecimenToScan.Apply(p))
	}
	m.Origin = r3.Scale(1/float64(len(t.on)), sum)
	for v, p := range t.on {
		if v%4096 == 0 && ctx.Err() != nil {
			return Scan{}, ctx.Err()
		}
		q := r3.Sub(out.SpecimenToScan.Apply(p), m.Origin)
		nr := out.SpecimenToScan.Turn(normals[v])
		d, broken := unfold(t.at[v])
		c := paint.colour(d, n, piece == "fragment", broken, random.gauss())
		m.Positions = append(m.Positions, float32(q.X), float32(q.Y), float32(q.Z))
		m.Normals = append(m.Normals, float32(nr.X), float32(nr.Y), float32(nr.Z))
		for _, x := range c {
			m.Colours = append(m.Colours, uint8(max(0, min(255, math.Round(x)))))
		}
		m.Colours = append(m.Colours, 255)
	}
	out.Mesh = m
	return out, nil
}

// normals are the vertices' outward unit normals, faces weighted by area.
func (t *tessellation) normals() []r3.Vec {
	out := make([]r3.Vec, len(t.on))
	for _, c := range t.tri {
		n := r3.Cross(r3.Sub(t.on[c[1]], t.on[c[0]]), r3.Sub(t.on[c[2]], t.on[c[0]]))
		for _, v := range c {
			out[v] = r3.Add(out[v], n)
		}
	}
	for i, n := range out {
		out[i] = r3.Unit(n)
	}
	return out
}
