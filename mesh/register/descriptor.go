package register

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// A patch is described by how the patches around it lie to it: histograms of
// three angles over its neighbourhood, averaged with those of its neighbours
// (fast point feature histograms, Rusu, Blodow and Beetz, ICRA 2009). The
// angles of nearly flat surface crowd about zero, so the bins are even in their
// square roots; bins are shared between neighbours, and counts enter as roots,
// so that one full bin does not outweigh all others.
const (
	angleBins = 11
	angles    = 3
	histogram = angles * angleBins
	// reduced is the number of principal components that are compared.
	reduced = 14
)

// descriptor is the histogram of a patch.
type descriptor [histogram]float32

// mirrored is the descriptor of the mirror image of the same place: the first
// angle, which has a side, changes its sign; the others stay.
func (d *descriptor) mirrored() descriptor {
	out := *d
	for k := range angleBins {
		out[k] = d[angleBins-1-k]
	}
	return out
}

// around finds the patches near each patch, on a grid of cells as large as the
// radius.
type around struct {
	c      *cloud
	low    r3.Vec
	radius float64
	cells  keyTable
	first  []uint32
	next   []uint32
}

func newAround(c *cloud, radius float64) *around {
	a := &around{c: c, low: c.low(), radius: radius, next: make([]uint32, len(c.points))}
	for i, p := range c.points {
		at := a.cells.put(cellKey(p, a.low, radius))
		if int(at) == len(a.first) {
			a.first = append(a.first, noPatch)
		}
		a.next[i], a.first[at] = a.first[at], uint32(i)
	}
	return a
}

// neighbour is a patch near another one.
type neighbour struct {
	patch    uint32
	distance float64
}

// opposite is the cosine below which a patch near another one is on the back of
// the same wall and tells nothing about the front.
const opposite = -0.2

// of appends the patches within the radius of patch i, but for itself and those
// that look the other way.
func (a *around) of(i int, out []neighbour) []neighbour {
	p, n := a.c.points[i], a.c.normals[i]
	key := int64(cellKey(p, a.low, a.radius))
	for dx := int64(-1); dx <= 1; dx++ {
		for dy := int64(-1); dy <= 1; dy++ {
			for dz := int64(-1); dz <= 1; dz++ {
				at, ok := a.cells.get(uint64(key + dx<<(2*gridBits) + dy<<gridBits + dz))
				if !ok {
					continue
				}
				for j := a.first[at]; j != noPatch; j = a.next[j] {
					if int(j) == i {
						continue
					}
					d2 := r3.Norm2(r3.Sub(a.c.points[j], p))
					if d2 <= a.radius*a.radius && d2 > 0 && r3.Dot(n, a.c.normals[j]) > opposite {
						out = append(out, neighbour{j, math.Sqrt(d2)})
					}
				}
			}
		}
	}
	return out
}

// describe computes the descriptor of every patch from the patches within the
// radius.
func (c *cloud) describe(ctx context.Context, radius float64) ([]descriptor, error) {
	n := len(c.points)
	near := newAround(c, radius)
	lists := make([][]neighbour, n)
	single := make([]descriptor, n)
	const block = 256
	blocks := (n + block - 1) / block
	err := mesh.Parallel(ctx, blocks, func(b int) {
		var all []neighbour
		for i := b * block; i < min(n, (b+1)*block); i++ {
			from := len(all)
			all = near.of(i, all)
			lists[i] = all[from:len(all):len(all)]
			single[i] = c.histogramOf(i, lists[i])
		}
	})
	if err != nil {
		return nil, err
	}
	out := make([]descriptor, n)
	err = mesh.Parallel(ctx, blocks, func(b int) {
		for i := b * block; i < min(n, (b+1)*block); i++ {
			d := single[i]
			sum := float32(1)
			for _, nb := range lists[i] {
				w := float32(near.radius / (near.radius + 4*nb.distance))
				s := &single[nb.patch]
				sum += w
				for k := range d {
					d[k] += w * s[k]
				}
			}
			for k := range d {
				d[k] = float32(math.Sqrt(float64(d[k] / sum)))
			}
			out[i] = d
		}
	})
	return out, err
}

// histogramOf is the descriptor of one patch from its neighbours alone, each
// angle's bins summing to 1.
func (c *cloud) histogramOf(i int, list []neighbour) (h descriptor) {
	u := c.normals[i]
	total := 0.0
	for _, nb := range list {
		total += c.areas[nb.patch]
	}
	if !(total > 0) {
		return h
	}
	for _, nb := range list {
		d := r3.Scale(1/nb.distance, r3.Sub(c.points[nb.patch], c.points[i]))
		v := r3.Cross(d, u)
		l := length(v)
		if l < 1e-6 {
			continue
		}
		v = r3.Scale(1/l, v)
		w := r3.Cross(u, v)
		n := c.normals[nb.patch]
		weight := float32(c.areas[nb.patch] / total)
		put(h[:angleBins], r3.Dot(v, n), weight)
		put(h[angleBins:2*angleBins], r3.Dot(u, d), weight)
		put(h[2*angleBins:], math.Atan2(r3.Dot(w, n), r3.Dot(u, n))/math.Pi, weight)
	}
	return h
}

// put shares a weight between the two bins nearest to x (-1 … 1).
func put(bins []float32, x float64, weight float32) {
	root := math.Sqrt(min(math.Abs(x), 1))
	if x < 0 {
		root = -root
	}
	at := (root + 1) / 2 * (angleBins - 1)
	k := min(int(at), angleBins-2)
	part := float32(at - float64(k))
	bins[k] += weight * (1 - part)
	bins[k+1] += weight * part
}

// basis turns descriptors into few numbers: the principal components of a set.
type basis struct {
	mean [histogram]float64
	axes [reduced][histogram]float64
}

// newBasis takes the principal components of all given descriptors.
func newBasis(sets ...[]descriptor) (*basis, bool) {
	b := &basis{}
	n := 0.0
	for _, set := range sets {
		for i := range set {
			for k, v := range set[i] {
				b.mean[k] += float64(v)
			}
			n++
		}
	}
	if n < 2 {
		return nil, false
	}
	for k := range b.mean {
		b.mean[k] /= n
	}
	var sum [histogram * histogram]float64
	for _, set := range sets {
		for i := range set {
			var d [histogram]float64
			for k, v := range set[i] {
				d[k] = float64(v) - b.mean[k]
			}
			for x := range d {
				for y := x; y < histogram; y++ {
					sum[x*histogram+y] += d[x] * d[y]
				}
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(mat.NewSymDense(histogram, sum[:]), true) {
		return nil, false
	}
	var v mat.Dense
	e.VectorsTo(&v)
	for a := range reduced {
		for k := range histogram {
			b.axes[a][k] = v.At(k, histogram-1-a)
		}
	}
	return b, true
}

// code is a descriptor in few numbers.
type code [reduced]float32

func (b *basis) code(d *descriptor) (out code) {
	var centred [histogram]float64
	for k, v := range d {
		centred[k] = float64(v) - b.mean[k]
	}
	for a := range out {
		s := 0.0
		for k, v := range centred {
			s += v * b.axes[a][k]
		}
		out[a] = float32(s)
	}
	return out
}

// apart2 is the squared distance of two codes, or some number above `most` once
// it is more than that.
func (c *code) apart2(o *code, most float32) float32 {
	var s float32
	for k := 0; k < reduced/2; k++ {
		d := c[k] - o[k]
		s += d * d
	}
	if s > most {
		return s
	}
	for k := reduced / 2; k < reduced; k++ {
		d := c[k] - o[k]
		s += d * d
	}
	return s
}
