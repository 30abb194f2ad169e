package propose

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh"
	"rigatino/mesh/change"
)

// features is how many numbers describe a place: L*, a*, b*, and the logarithm
// of the roughness.
const features = 4

type feature [features]float64

// class is a normal distribution of features.
type class struct {
	mean    feature
	inverse *mat.SymDense
	logDet  float64
	weight  float64
}

// newClass fits a class to weighted places; ok is false for too few.
func newClass(list []feature, weight []float64) (c class, ok bool) {
	n := 0
	for i, f := range list {
		if weight[i] > 0 {
			n++
		}
		c.weight += weight[i]
		for k := range f {
			c.mean[k] += weight[i] * f[k]
		}
	}
	if n < 50 {
		return c, false
	}
	for k := range c.mean {
		c.mean[k] /= c.weight
	}
	cov := mat.NewSymDense(features, nil)
	for i, f := range list {
		for p := range features {
			for q := p; q < features; q++ {
				cov.SetSym(p, q, cov.At(p, q)+weight[i]*(f[p]-c.mean[p])*(f[q]-c.mean[q])/c.weight)
			}
		}
	}
	// Colours nearer than about 1 ΔE are not told apart, whatever the spread.
	floor := feature{1, 0.5, 0.5, 0.04}
	for k, x := range floor {
		cov.SetSym(k, k, cov.At(k, k)+x)
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return c, false
	}
	c.inverse = mat.NewSymDense(features, nil)
	if chol.InverseTo(c.inverse) != nil {
		return c, false
	}
	c.logDet = chol.LogDet()
	return c, true
}

// away is the squared Mahalanobis distance of a place from the class.
func (c *class) away(f feature) float64 {
	sum := 0.0
	for p := range features {
		for q := range features {
			sum += (f[p] - c.mean[p]) * c.inverse.At(p, q) * (f[q] - c.mean[q])
		}
	}
	return sum
}

// roughness is the logarithm of the root mean square distance, over about 2 mm,
// of vertices from the mean of their neighbours, in mean edges, which takes out
// how finely a scan is cut.
func roughness(s *change.Side) []float64 {
	n := s.Weld.Count
	square := make([]float64, n)
	var ring []uint32
	for v := range square {
		ring = s.Topology.Ring(uint32(v), ring[:0])
		if len(ring) == 0 {
			continue
		}
		var mean r3.Vec
		for _, u := range ring {
			mean = r3.Add(mean, r3.Scale(1/float64(len(ring)), s.Vertex(u)))
		}
		square[v] = r3.Norm2(r3.Sub(s.Vertex(uint32(v)), mean))
	}
	out := mesh.SmoothField(s.Topology, square, 4*colourRounds(s.EdgeMM))
	for v := range out {
		out[v] = math.Log(math.Sqrt(out[v])/max(s.EdgeMM, 1e-9) + 1e-3)
	}
	return out
}

const (
	// likeRock is the 99.7 % point of χ² with four degrees of freedom: places
	// farther from the matrix than that are not like it.
	likeRock = 16.0
	// rockOdds is what the logarithm of the odds must pass for a place to start
	// a proposal (our own figure).
	rockOdds = 3.0
	// leastRockMM2 is the least surface of matrix that is proposed.
	leastRockMM2 = 20.0
	// leastApart is how far apart, squared, the two classes must lie to be told
	// apart at all.
	leastApart = 9.0
)

// matrixStill proposes matrix where the scan after looks and feels like the
// matrix that went. It needs colours and matrix that went.
func (w *work) matrixStill() []Proposal {
	if w.difference == nil {
		return nil
	}
	gone := make([]bool, len(w.Change.Areas))
	any := false
	for k := range w.Change.Areas {
		if w.Change.Areas[k].Kind != change.Removed {
			continue
		}
		for _, p := range w.removed(k) {
			gone[k] = gone[k] || p.Kind == MatrixGone
		}
		any = any || gone[k]
	}
	if !any {
		return nil
	}
	b, a := w.Change.Before, w.Change.After
	put := func(lab [][3]float64, rough []float64) []feature {
		out := make([]feature, len(lab))
		for v := range out {
			out[v] = feature{lab[v][0], lab[v][1], lab[v][2], rough[v]}
		}
		return out
	}
	before, after := put(w.ownBefore, roughness(b)), put(w.labAfter, roughness(a))
	in := func(core []int32, areas []float64) []float64 {
		out := make([]float64, len(core))
		for v, k := range core {
			if k >= 0 && gone[k] {
				out[v] = areas[v]
			}
		}
		return out
	}
	rock, ok := newClass(before, in(b.Core, vertexAreas(b)))
	if !ok {
		return nil
	}
	// What was uncovered is fossil, less what still looks like the matrix.
	weight := in(a.Core, w.areas)
	uncovered := 0.0
	for v := range weight {
		uncovered += weight[v]
		if rock.away(after[v]) < likeRock {
			weight[v] = 0
		}
	}
	fossil, ok := newClass(after, weight)
	if !ok || fossil.weight < 0.2*uncovered || rock.away(fossil.mean) < leastApart {
		return nil
	}
	odds := make([]float64, len(after))
	for v, f := range after {
		odds[v] = (fossil.away(f) + fossil.logDet - rock.away(f) - rock.logDet) / 2
		// One place in the wrong colour is not to outweigh all round it.
		odds[v] = min(max(odds[v], -20), 20)
	}
	odds = mesh.SmoothField(a.Topology, odds, 2*colourRounds(a.EdgeMM))
	isAdded := func(v uint32) bool {
		k := w.owner[v]
		return k >= 0 && w.Change.Areas[k].Kind == change.Added
	}
	may := func(v uint32) bool {
		return odds[v] > 0 && !isAdded(v) && rock.away(after[v]) < 2*likeRock
	}
	var out []Proposal
	for _, place := range w.places(func(v uint32) bool { return may(v) && odds[v] > rockOdds && rock.away(after[v]) < likeRock }, may) {
		faces, surface, centroid := w.facesOf(func(v uint32) bool { return place[v] })
		if surface < max(leastRockMM2, change.SmallestAreaMM2(w.Change.StepMM)) {
			continue
		}
		sure := 0.0
		for v := range w.areas {
			if place[uint32(v)] && odds[v] > rockOdds {
				sure += w.areas[v]
			}
		}
		p := Proposal{Kind: MatrixStill, Area: -1, CentroidMM: centroid}
		p.Surface = measuredSurface(surface, sure, "faces that look and feel like the matrix that went")
		p.Marks = []Mark{{Layer: annotate.LayerSubstance, Kind: annotate.Matrix, Faces: faces}}
		p.Choices = []string{annotate.Matrix, annotate.Uncertain}
		p.Evidence = fmt.Sprintf("colour and roughness are those of the matrix that went between %s and %s, not those of what it uncovered", w.FromStage, w.ToStage)
		out = append(out, p)
	}
	sortBySurface(out)
	return out
}
