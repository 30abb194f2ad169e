package volume

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// turned makes a closed body of revolution about z. The outline (radius,
// height) starts and ends on the axis and runs so that the matter lies on its
// left going up on the outside; it is refined to steps of at most `step`, and
// has n corners round the axis, the first at angle phase. Its exact volume is
// that of ngonVolume.
func turned(outline [][2]float64, step float64, n int, phase float64) *mesh.Mesh {
	fine := [][2]float64{outline[0]}
	for i := 1; i < len(outline); i++ {
		a, b := outline[i-1], outline[i]
		k := int(math.Ceil(math.Hypot(b[0]-a[0], b[1]-a[1]) / step))
		for j := 1; j <= k; j++ {
			t := float64(j) / float64(k)
			fine = append(fine, [2]float64{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])})
		}
	}
	m := &mesh.Mesh{}
	vertex := func(x, y, z float64) uint32 {
		m.Positions = append(m.Positions, float32(x), float32(y), float32(z))
		return uint32(len(m.Positions)/3 - 1)
	}
	ring := func(p [2]float64) []uint32 {
		if p[0] == 0 {
			return []uint32{vertex(0, 0, p[1])}
		}
		var out []uint32
		for i := range n {
			s, c := math.Sincos(phase + 2*math.Pi*float64(i)/float64(n))
			out = append(out, vertex(p[0]*c, p[0]*s, p[1]))
		}
		return out
	}
	last := ring(fine[0])
	for _, p := range fine[1:] {
		next := ring(p)
		for i := range n {
			j := (i + 1) % n
			if len(last) > 1 && len(next) > 1 {
				m.Triangles = append(m.Triangles, last[i], last[j], next[j], last[i], next[j], next[i])
			} else if len(last) > 1 {
				m.Triangles = append(m.Triangles, last[i], last[j], next[0])
			} else {
				m.Triangles = append(m.Triangles, last[0], next[j], next[i])
			}
		}
		last = next
	}
	return m
}

// ngonVolume is the exact volume of turned: frusta of regular n-gons.
func ngonVolume(outline [][2]float64, n int) float64 {
	v := 0.0
	for i := 1; i < len(outline); i++ {
		a, b := outline[i-1], outline[i]
		v += (b[1] - a[1]) * (a[0]*a[0] + a[0]*b[0] + b[0]*b[0]) / 3
	}
	return v * float64(n) / 2 * math.Sin(2*math.Pi/float64(n))
}

// arc appends points of a circle in the (radius, height) plane.
func arc(out [][2]float64, r0, z0, radius, from, to float64, steps int) [][2]float64 {
	for i := range steps + 1 {
		t := from + (to-from)*float64(i)/float64(steps)
		s, c := math.Sincos(t)
		r := r0 + radius*c
		if math.Abs(r) < 1e-9 {
			r = 0 // on the axis
		}
		out = append(out, [2]float64{r, z0 + radius*s})
	}
	return out
}

// shaken adds Gaussian-like noise along z and radially, the same every time.
func shaken(m *mesh.Mesh, sigma float64, seed uint64) *mesh.Mesh {
	out := *m
	out.Positions = append([]float32(nil), m.Positions...)
	w := mesh.NewWeld(m)
	normals := mesh.VertexNormals(m, w)
	state := seed*0x9e3779b97f4a7c15 + 1
	uniform := func() float64 {
		state ^= state << 13
		state ^= state >> 7
		state ^= state << 17
		return float64(state>>11) * 0x1p-53
	}
	moves := make([]float64, w.Count)
	for v := range moves {
		// The sum of twelve uniform numbers has variance one.
		s := -6.0
		for range 12 {
			s += uniform()
		}
		moves[v] = sigma * s
	}
	for i, v := range w.Of {
		p := r3.Scale(moves[v], normals[v])
		out.Positions[3*i] += float32(p.X)
		out.Positions[3*i+1] += float32(p.Y)
		out.Positions[3*i+2] += float32(p.Z)
	}
	return &out
}

// cutOff drops the faces whose middle lies below z.
func cutOff(m *mesh.Mesh, z float64) *mesh.Mesh {
	out := &mesh.Mesh{Origin: m.Origin, Positions: m.Positions}
	for f := range uint32(m.FaceCount()) {
		a, b, c := m.Corners(f)
		if (a.Z+b.Z+c.Z)/3 >= z {
			out.Triangles = append(out.Triangles, m.Triangles[3*f:3*f+3]...)
		}
	}
	return out
}
