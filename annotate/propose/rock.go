package propose

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
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
	for k, x := range featureFloor {
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

// trimmedClass fits a class to most of the weighted places, those far from it
// left out: it starts from medians and median deviations and is fitted anew to
// what lies within its 99.7 %.
func trimmedClass(list []feature, weight []float64) (class, bool) {
	keep := append([]float64(nil), weight...)
	var start class
	start.inverse = mat.NewSymDense(features, nil)
	for k := range features {
		var column []float64
		for i, f := range list {
			if weight[i] > 0 {
				column = append(column, f[k])
			}
		}
		start.mean[k] = median(column)
		for i := range column {
			column[i] = math.Abs(column[i] - start.mean[k])
		}
		sigma := madToSigma * median(column)
		start.inverse.SetSym(k, k, 1/(sigma*sigma+featureFloor[k]))
	}
	c, ok := start, true
	for range 5 {
		for i, f := range list {
			keep[i] = weight[i]
			if weight[i] > 0 && c.away(f) > likeRock {
				keep[i] = 0
			}
		}
		if c, ok = newClass(list, keep); !ok {
			return c, false
		}
	}
	return c, true
}

// featureFloor is a variance that every class has at least: colours nearer than
// about 1 ΔE are not told apart.
var featureFloor = feature{1, 0.5, 0.5, 0.04}

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
func roughness(ctx context.Context, s *change.Side) []float64 {
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
	out := smoothed(ctx, s.Topology, square, 4*colourRounds(s.EdgeMM))
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
	// rockRimMM is how far the edge of a place is followed.
	rockRimMM = 3.0
	// leastRockMM2 is the least surface of matrix that is proposed.
	leastRockMM2 = 20.0
	// leastApart is how far apart, squared, the two classes must lie to be told
	// apart at all.
	leastApart = 9.0
)

// findRock learns what the matrix that went looked and felt like, from the
// areas that are plainly matrix. It needs colours.
func (w *work) findRock(ctx context.Context) {
	if w.difference == nil {
		return
	}
	w.isRock = make([]bool, len(w.Change.Areas))
	any := false
	for k := range w.isRock {
		if w.Change.Areas[k].Kind == change.Removed {
			w.isRock[k] = w.plainlyRock(k)
			any = any || w.isRock[k]
		}
	}
	if !any {
		return
	}
	b, a := w.Change.Before, w.Change.After
	put := func(lab [][3]float64, rough []float64) []feature {
		out := make([]feature, len(lab))
		for v := range out {
			out[v] = feature{lab[v][0], lab[v][1], lab[v][2], rough[v]}
		}
		return out
	}
	w.looksBefore, w.looks = put(w.ownBefore, roughness(ctx, b)), put(w.labAfter, roughness(ctx, a))
	// Weighed by how thick it lay: thin edges show what is under them.
	weight := w.inRock(b.Core, w.areasBefore)
	for v, g := range b.Smooth {
		if weight[v] > 0 {
			weight[v] *= max(0, g-w.Change.SmallestMM)
		}
	}
	// Where a map says that it was something else, it does not teach.
	for f := range uint32(b.Mesh.FaceCount()) {
		if kind := w.Before.kindAt(b.Mesh.SourceFace(f)); kind != annotate.Matrix && kind != annotate.Unassigned && b.Topology.Component[f] >= 0 {
			i, j, k := b.Topology.Face(f)
			weight[i], weight[j], weight[k] = 0, 0, 0
		}
	}
	if c, ok := trimmedClass(w.looksBefore, weight); ok {
		w.rock = &c
	}
}

// inRock weighs the vertices of areas that are plainly matrix by their surface.
func (w *work) inRock(core []int32, areas []float64) []float64 {
	out := make([]float64, len(core))
	for v, k := range core {
		if k >= 0 && w.isRock[k] {
			out[v] = areas[v]
		}
	}
	return out
}

// plainlyRock says whether an area was matrix by the record, by the map before,
// or, at a stage that takes rock off, by what it uncovered looking different.
func (w *work) plainlyRock(k int) bool {
	if said := w.What[k]; said != unknown {
		return said == annotate.Matrix
	}
	kinds := w.kindsBefore(k)
	sum := 0.0
	for _, a := range kinds {
		sum += a
	}
	if kinds[annotate.Unassigned] < 0.5*sum {
		return kinds[annotate.Matrix] > 0.5*sum
	}
	unlike, ok := w.uncovered(k)
	return ok && takesMatter(w.StageKind) && unlike >= unlikeMatrix
}

// rockShare is the share of what went with an area that looked like the matrix.
func (w *work) rockShare(k int) (float64, bool) {
	if w.rock == nil {
		return 0, false
	}
	like, all := 0.0, 0.0
	for v, area := range w.areasBefore {
		if w.Change.Before.Core[v] != int32(k) {
			continue
		}
		all += area
		if w.rock.away(w.looksBefore[v]) < likeRock {
			like += area
		}
	}
	return like / max(all, 1e-12), all > 0
}

// matrixStill proposes matrix where the scan after looks and feels like the
// matrix that went.
func (w *work) matrixStill(ctx context.Context) []Proposal {
	if w.rock == nil {
		return nil
	}
	a, rock, after := w.Change.After, w.rock, w.looks
	// What was uncovered is fossil, less what still looks like the matrix.
	weight := w.inRock(a.Core, w.areas)
	uncovered := 0.0
	for v := range weight {
		uncovered += weight[v]
		if rock.away(after[v]) < likeRock {
			weight[v] = 0
		}
	}
	fossil, ok := trimmedClass(after, weight)
	if !ok || fossil.weight < 0.2*uncovered || rock.away(fossil.mean) < leastApart {
		return nil
	}
	odds := make([]float64, len(after))
	for v, f := range after {
		odds[v] = (fossil.away(f) + fossil.logDet - rock.away(f) - rock.logDet) / 2
		// One place in the wrong colour is not to outweigh all round it.
		odds[v] = min(max(odds[v], -20), 20)
	}
	odds = smoothed(ctx, a.Topology, odds, 2*colourRounds(a.EdgeMM))
	isAdded := func(v uint32) bool {
		k := w.owner[v]
		return k >= 0 && w.Change.Areas[k].Kind == change.Added
	}
	may := func(v uint32) bool {
		return odds[v] > 0 && !isAdded(v) && rock.away(after[v]) < 2*likeRock
	}
	var out []Proposal
	for _, place := range w.places(func(v uint32) bool { return may(v) && odds[v] > rockOdds && rock.away(after[v]) < likeRock }, may) {
		// It thins out to nothing: followed where it is more like rock than fossil.
		var from []uint32
		for v := range w.areas {
			if place[uint32(v)] {
				from = append(from, uint32(v))
			}
		}
		rim := w.within(from, rockRimMM, func(v uint32) bool { return odds[v] > 0 && !isAdded(v) })
		faces, surface, centroid := w.facesOf(func(v uint32) bool { return place[v] || rim[v] })
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
