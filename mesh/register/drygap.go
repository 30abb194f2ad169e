package register

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/bvh"
)

// describe puts the figures of a seat and of the best other one into out. faces
// are those that the piece's break was made of, of all faces of the piece.
func (d *dry) describe(ctx context.Context, out *DryFit, at *seat, others []*seat, faces []uint32, all int) error {
	out.PieceToBody, out.ContactArea, out.ContactLimit = at.pose, at.area, at.limit
	out.Gap = make([]float64, all)
	for i := range out.Gap {
		out.Gap[i] = math.NaN()
	}
	var gaps, weights []float64
	var opposite mesh.Sum
	for i, g := range at.gaps {
		out.Gap[faces[i]] = g
		if !math.IsNaN(g) {
			w := r3.Norm(d.piece.AreaVector(uint32(i)))
			gaps, weights = append(gaps, g), append(weights, w)
			opposite.Add(w)
		}
	}
	out.BreakArea = d.pieceArea
	if !d.marked {
		out.BreakArea = opposite.Value()
	}
	if out.BreakArea > 0 {
		out.ContactShare = math.Min(1, at.area/out.BreakArea) // rounding
	}
	if len(gaps) > 0 {
		out.GapMedian = weighted(gaps, weights, 0.5)
		off, far := make([]float64, len(gaps)), make([]float64, len(gaps))
		for i, g := range gaps {
			off[i], far[i] = math.Abs(g-out.GapMedian), math.Abs(g)
		}
		out.GapSpread, out.Gap95 = 1.4826*weighted(off, weights, 0.5), weighted(far, weights, 0.95)
	}
	if len(others) > 0 {
		s := others[0]
		for _, o := range others {
			if o.area > s.area {
				s = o
			}
		}
		out.Second = &DryPlace{PieceToBody: s.pose, ContactArea: s.area}
		out.SecondApart, out.SecondTurn = d.apart(s.pose, at), at.pose.Inverse().Then(s.pose).Angle()
	}
	return ctx.Err()
}

// weighted is the value under which the given share of the weight lies.
func weighted(values, weights []float64, share float64) float64 {
	order := make([]int, len(values))
	total := 0.0
	for i := range order {
		order[i] = i
		total += weights[i]
	}
	slices.SortFunc(order, func(i, j int) int {
		switch {
		case values[i] < values[j]:
			return -1
		case values[i] > values[j]:
			return 1
		}
		return i - j
	})
	sum := 0.0
	for _, i := range order {
		if sum += weights[i]; sum >= share*total {
			return values[i]
		}
	}
	return values[order[len(order)-1]]
}

// overlap measures how much of the piece lies deep in the body: two solids cannot
// sit like that, whatever their breaks say.
func (f *DryFit) overlap(ctx context.Context, body, piece *mesh.Mesh) error {
	w := mesh.NewWeld(body)
	tree := bvh.Build(body)
	signed := bvh.NewSigned(body, w, mesh.NewTopology(body, w), tree)
	n := piece.FaceCount()
	hits := make([]bvh.Hit, n)
	at := func(i int) r3.Vec { return f.PieceToBody.Apply(middleOf(piece, uint32(i))) }
	if err := tree.ClosestAll(ctx, n, at, 0, hits); err != nil {
		return err
	}
	var deep, all mesh.Sum
	for i, h := range hits {
		a := r3.Norm(piece.AreaVector(uint32(i)))
		all.Add(a)
		if h.Face == bvh.None {
			continue
		}
		if v, defined := signed.Distance(at(i), h); defined && v < -GapReach {
			deep.Add(a)
		}
	}
	if all.Value() > 0 {
		f.OverlapShare = deep.Value() / all.Value()
	}
	return nil
}
