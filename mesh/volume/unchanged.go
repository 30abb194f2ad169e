package volume

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/change"
)

// unchanged is the surface where nothing changed, gathered in cubes of space:
// on it the setting of the level by a ring can be tried where the answer, zero,
// is known.
type unchanged struct {
	tiles []tile
	at    []r3.Vec // the tiles' middles
	area  float64  // mm², both scans together counted once
}

type tile struct {
	normal r3.Vec
	sums   normalSums
}

const (
	tileSteps  = 2      // edge of a cube, in steps
	mostTaken  = 150000 // vertices looked at on either scan
	mostTrials = 48     // places where the setting of the level is tried
	// enough is the share of a full disc that a place of trial must have.
	enough = 0.6
)

// gatherUnchanged looks at the vertices of both scans away from all areas.
func (w *work) gatherUnchanged() {
	type key [3]int
	size := tileSteps * w.change.StepMM
	index := map[key]int{}
	u := &w.unchanged
	collect := func(s *change.Side, sign float64, away func(v uint32) float64) {
		stride := max(1, s.Weld.Count/mostTaken)
		n := (s.Weld.Count + stride - 1) / stride
		got := make([]witness, n)
		_ = mesh.Parallel(context.Background(), (n+1023)/1024, func(b int) {
			for i := b * 1024; i < min(n, (b+1)*1024); i++ {
				v := uint32(i * stride)
				if s.Core[v] >= 0 || math.IsNaN(s.Gap[v]) || math.Abs(s.Smooth[v]) > w.change.LimitMM || away(v) < 4*w.change.StepMM {
					continue
				}
				got[i] = witnessAt(s, v, sign)
				got[i].area *= float64(stride)
			}
		})
		for i := range got {
			x := &got[i]
			if x.area == 0 {
				continue
			}
			k := key{int(math.Floor(x.at.X / size)), int(math.Floor(x.at.Y / size)), int(math.Floor(x.at.Z / size))}
			n, ok := index[k]
			if !ok {
				n = len(u.tiles)
				index[k] = n
				u.tiles = append(u.tiles, tile{})
				u.at = append(u.at, r3.Vec{})
			}
			u.tiles[n].sums.add(x)
			u.at[n] = r3.Add(u.at[n], r3.Scale(x.area, x.at))
			u.area += x.area / 2
		}
	}
	collect(w.change.After, 1, func(v uint32) float64 {
		if r := &w.reached[v]; r.label[0] != none {
			return float64(r.dist[0])
		}
		return math.Inf(1)
	})
	collect(w.change.Before, -1, func(v uint32) float64 {
		corners, _, ok := w.lands(v)
		least := math.Inf(1)
		if !ok {
			return least
		}
		for _, v := range corners {
			if r := &w.reached[v]; r.label[0] != none {
				least = min(least, float64(r.dist[0]))
			}
		}
		return least
	})
	for i := range u.tiles {
		t := &u.tiles[i]
		u.at[i] = r3.Scale(1/t.sums.area, u.at[i])
		if l := length(t.sums.normal); l > 0 {
			t.normal = r3.Scale(1/l, t.sums.normal)
		}
	}
}

// levelError tries on unchanged surface how well a ring sets the level of a
// round patch of the given radius: the ring reaches from `from` to `to` outside
// it. It returns the root mean square of the mean gap that is left on the
// patch, mm, and its degrees of freedom; ok is false where there is too little
// surface to try.
func (u *unchanged) levelError(radius, from, to float64) (rms, dof float64, ok bool) {
	sum, n := 0.0, 0
	inner, outer := (radius+from)*(radius+from), (radius+to)*(radius+to)
	stride := max(1, len(u.tiles)/mostTrials)
	for c := 0; c < len(u.tiles); c += stride {
		centre, normal := u.at[c], u.tiles[c].normal
		var disc, ring normalSums
		for i, at := range u.at {
			d := r3.Norm2(r3.Sub(at, centre))
			if d > outer {
				continue
			}
			// What lies behind a thin wall is another place.
			t := &u.tiles[i]
			if r3.Dot(t.normal, normal) < 0 {
				continue
			}
			if d <= radius*radius {
				disc.join(&t.sums)
			} else if d >= inner {
				ring.join(&t.sums)
			}
		}
		if disc.area/2 < enough*math.Pi*radius*radius || ring.area < disc.area/2 {
			continue
		}
		shift := ring.shift()
		left := (disc.gap - r3.Dot(shift, disc.normal)) / disc.area
		sum += left * left
		n++
	}
	if n < 4 {
		return 0, 0, false
	}
	// Places overlap: no more are independent than fit beside one another.
	dof = min(float64(n), u.area/(math.Pi*radius*radius))
	return math.Sqrt(sum / float64(n)), max(2, dof), true
}
