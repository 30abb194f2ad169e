package propose

import (
	"bytes"
	"context"
	"image"
	_ "image/jpeg" // formats that scans carry
	_ "image/png"
	"math"
	"slices"

	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/colour"
)

// mostPixels bounds what a picture of a scan may ask for.
const mostPixels = 1 << 28

// linearColours gives every welded vertex of a side the scan's own colour in
// linear light: its vertex colour, or its picture averaged over about the mean
// edge round the place. nil where the scan carries neither.
func linearColours(m *mesh.Mesh, s *change.Side) []colour.Linear {
	if len(m.Colours) == 4*m.VertexCount() && m.VertexCount() > 0 {
		out := make([]colour.Linear, s.Weld.Count)
		for v, first := range s.First {
			c := m.Colours[4*first:]
			out[v] = colour.FromRGB(c[0], c[1], c[2])
		}
		return out
	}
	return fromPictures(m, s)
}

// fromPictures reads colours from the scan's pictures. A picture that is
// missing or cannot be read gives none at all, which is said as scans without
// colour are.
func fromPictures(m *mesh.Mesh, s *change.Side) []colour.Linear {
	if len(m.UVs) != 2*m.VertexCount() || len(m.Images) == 0 {
		return nil
	}
	pictures := make([]image.Image, len(m.Images))
	for i, x := range m.Images {
		head, _, err := image.DecodeConfig(bytes.NewReader(x.Data))
		if err != nil || head.Width <= 0 || head.Height <= 0 || head.Width > mostPixels/head.Height {
			return nil
		}
		if pictures[i], _, err = image.Decode(bytes.NewReader(x.Data)); err != nil {
			return nil
		}
	}
	// The picture and the reach of every vertex come from a face round it.
	out := make([]colour.Linear, s.Weld.Count)
	seen := make([]bool, s.Weld.Count)
	for f := range uint32(m.FaceCount()) {
		material := 0
		if m.MaterialOf != nil {
			material = int(m.MaterialOf[f])
		}
		if material >= len(m.Materials) || m.Materials[material].Image < 0 || m.Materials[material].Image >= len(pictures) {
			continue
		}
		picture := pictures[m.Materials[material].Image]
		size := picture.Bounds().Size()
		t := m.Triangles[3*f : 3*f+3]
		for k, v := range t {
			at := s.Weld.Of[v]
			if seen[at] {
				continue
			}
			seen[at] = true
			u0, v0 := float64(m.UVs[2*v]), float64(m.UVs[2*v+1])
			next := t[(k+1)%3]
			reach := math.Hypot((float64(m.UVs[2*next])-u0)*float64(size.X), (float64(m.UVs[2*next+1])-v0)*float64(size.Y)) / 2
			c, by := averaged(picture, u0, v0, min(reach, 12)), m.Materials[material].BaseColour
			out[at] = colour.Linear{R: c.R * float64(by[0]), G: c.G * float64(by[1]), B: c.B * float64(by[2])}
		}
	}
	return out
}

// averaged is the mean linear light of a square of a picture, `reach` pixels to
// either side of a place in texture coordinates.
func averaged(p image.Image, u, v, reach float64) colour.Linear {
	b := p.Bounds()
	wrap := func(x float64, n int) int {
		if x >= 0 && x <= 1 { // the far edge is not the near one
			return min(int(x*float64(n)), n-1)
		}
		i := int(math.Floor((x - math.Floor(x)) * float64(n)))
		return min(i, n-1)
	}
	if math.IsNaN(u) || math.IsInf(u, 0) || math.IsNaN(v) || math.IsInf(v, 0) || math.IsNaN(reach) {
		return colour.Linear{}
	}
	x, y, r := wrap(u, b.Dx()), wrap(v, b.Dy()), int(reach)
	var sum colour.Linear
	n := 0.0
	for i := max(0, x-r); i <= min(b.Dx()-1, x+r); i++ {
		for k := max(0, y-r); k <= min(b.Dy()-1, y+r); k++ {
			cr, cg, cb, _ := p.At(b.Min.X+i, b.Min.Y+k).RGBA()
			c := colour.FromRGB(uint8(cr>>8), uint8(cg>>8), uint8(cb>>8))
			sum.R, sum.G, sum.B, n = sum.R+c.R, sum.G+c.G, sum.B+c.B, n+1
		}
	}
	return colour.Linear{R: sum.R / n, G: sum.G / n, B: sum.B / n}
}

// Bounds of what counts as a change of colour, in ΔE00: never less than what a
// person calls plainly different (2 to 3, common practice, no source), and four
// times the median where nothing should have changed.
const (
	leastClear  = 3.0
	timesMedian = 4.0
	// lightnessWeight divides differences of lightness: shading that is baked
	// into a scan's colours moves lightness most.
	lightnessWeight = 2.0
)

// readColours compares the colours of the two scans, if both have any.
func (w *work) readColours(ctx context.Context) error {
	b, a := w.Change.Before, w.Change.After
	before, after := linearColours(w.Before.Surface.Mesh, b), linearColours(w.After.Surface.Mesh, a)
	if before == nil || after == nil {
		return nil
	}
	n := a.Weld.Count
	facing := make([]colour.Linear, n)
	for v := range facing {
		face, weights, ok := a.Facing(uint32(v))
		if !ok {
			continue
		}
		i, j, k := b.Topology.Face(face)
		for n, u := range [3]uint32{i, j, k} {
			c, x := before[u], weights[n]
			facing[v].R, facing[v].G, facing[v].B = facing[v].R+x*c.R, facing[v].G+x*c.G, facing[v].B+x*c.B
		}
	}
	w.light = fitLight(ctx, w, facing, after)
	rounds := colourRounds(a.EdgeMM)
	w.labAfter = smoothedLab(ctx, a.Topology, after, rounds)
	raw := smoothedLab(ctx, a.Topology, facing, rounds)
	lit := make([]colour.Linear, n)
	for v := range lit {
		lit[v] = w.light.on(facing[v], w.normals[v])
	}
	w.labBefore = smoothedLab(ctx, a.Topology, lit, rounds)
	own := make([]colour.Linear, len(before))
	normals := mesh.VertexNormals(b.Mesh, b.Weld)
	for v := range own {
		own[v] = w.light.on(before[v], normals[v])
	}
	w.ownBefore = smoothedLab(ctx, b.Topology, own, colourRounds(b.EdgeMM))
	w.difference = make([]float64, n)
	// What is said of the whole body is how it looks, lightness and all.
	var unlike, rawUnlike, litUnlike []float64
	for v := range w.difference {
		w.difference[v] = colour.WeightedDifference(lab(w.labBefore[v]), lab(w.labAfter[v]), lightnessWeight)
		if w.unchanged(v) {
			unlike = append(unlike, w.difference[v])
			rawUnlike = append(rawUnlike, colour.Difference(lab(raw[v]), lab(w.labAfter[v])))
			litUnlike = append(litUnlike, colour.Difference(lab(w.labBefore[v]), lab(w.labAfter[v])))
		}
	}
	w.unlike, w.unchangedRaw, w.unchangedLit = median(unlike), median(rawUnlike), median(litUnlike)
	w.clear = max(leastClear, timesMedian*w.unlike)
	return ctx.Err()
}

// colourRounds averages colours over a width of about 1 mm.
func colourRounds(edge float64) int {
	if !(edge > 0) {
		return 1
	}
	return int(min(max(math.Round(0.7/(edge*edge)), 1), 12))
}

// smoothed averages a value over neighbours, a few rounds at a time so that it
// stops soon; what it returns is of no use once ctx is done.
func smoothed(ctx context.Context, t *mesh.Topology, values []float64, rounds int) []float64 {
	for rounds > 0 && ctx.Err() == nil {
		few := min(rounds, 2)
		values = mesh.SmoothField(t, values, few)
		rounds -= few
	}
	return values
}

// smoothedLab turns linear light into L*a*b*, averaged over neighbours.
func smoothedLab(ctx context.Context, t *mesh.Topology, from []colour.Linear, rounds int) [][3]float64 {
	out := make([][3]float64, len(from))
	var channel [3][]float64
	for k := range channel {
		channel[k] = make([]float64, len(from))
	}
	for v, c := range from {
		l := c.Lab()
		channel[0][v], channel[1][v], channel[2][v] = l.L, l.A, l.B
	}
	for k := range channel {
		for v, x := range smoothed(ctx, t, channel[k], rounds) {
			out[v][k] = x
		}
	}
	return out
}

func lab(c [3]float64) colour.Lab { return colour.Lab{L: c[0], A: c[1], B: c[2]} }

// median of values, 0 for none; the list is sorted.
func median(list []float64) float64 {
	if len(list) == 0 {
		return 0
	}
	slices.Sort(list)
	return list[len(list)/2]
}
