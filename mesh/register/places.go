package register

import (
	"context"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// places is one scan as the search sees it: patches with descriptors.
type places struct {
	*cloud
	described []descriptor
}

// mirror is the mirror image (x ↦ -x) of places.
func (p *places) mirror() *places {
	flip := func(vs []r3.Vec) []r3.Vec {
		out := make([]r3.Vec, len(vs))
		for i, v := range vs {
			out[i] = r3.Vec{X: -v.X, Y: v.Y, Z: v.Z}
		}
		return out
	}
	out := &places{cloud: p.cloud.like(flip), described: make([]descriptor, len(p.described))}
	for i := range p.described {
		out.described[i] = p.described[i].mirrored()
	}
	return out
}

// like is the cloud with all its vectors changed.
func (c *cloud) like(change func([]r3.Vec) []r3.Vec) *cloud {
	out := &cloud{size: c.size, points: change(c.points), vectors: change(c.vectors), normals: change(c.normals), areas: c.areas, total: c.total}
	out.tree = newKDTree(out.points, out.normals)
	return out
}

// match says that an after patch may be a before patch.
type match struct {
	after, before uint32
	off           float32 // squared distance of their codes
}

// Numbers of the matching.
const (
	mostKeys = 1600 // after patches that are looked for
	perKey   = 3    // places in the before-scan for each
	nearest  = 8    // patches among which those places are
)

// matches looks for the after patches in the before-scan. Flat surface looks the
// same everywhere and is left aside: the half of the patches that is most like
// the average patch of both scans, unless there are few. The matches of one
// after patch follow one another.
func matches(ctx context.Context, before, after *places, taking func(after uint32) bool) ([]match, error) {
	b, ok := newBasis(before.described, after.described)
	if !ok {
		return nil, nil
	}
	codes := make([]code, len(before.described))
	for i := range codes {
		codes[i] = b.code(&before.described[i])
	}
	keys := keysOf(after, b, taking)
	found := make([][perKey]match, len(keys))
	counts := make([]int, len(keys))
	apart := 3 * before.size
	const block = 32
	err := mesh.Parallel(ctx, (len(keys)+block-1)/block, func(blk int) {
		for k := blk * block; k < min(len(keys), (blk+1)*block); k++ {
			c := b.code(&after.described[keys[k]])
			var best [nearest]match
			n := 0
			most := float32(1e30)
			for i := range codes {
				d := c.apart2(&codes[i], most)
				if d >= most {
					continue
				}
				at := min(n, nearest-1)
				for at > 0 && best[at-1].off > d {
					best[at] = best[at-1]
					at--
				}
				best[at] = match{keys[k], uint32(i), d}
				n = min(n+1, nearest)
				if n == nearest {
					most = best[nearest-1].off
				}
			}
			for _, m := range best[:n] {
				fresh := counts[k] < perKey
				for _, o := range found[k][:counts[k]] {
					if r3.Norm2(r3.Sub(before.points[m.before], before.points[o.before])) < apart*apart {
						fresh = false
					}
				}
				if fresh {
					found[k][counts[k]] = m
					counts[k]++
				}
			}
		}
	})
	if err != nil {
		return nil, err
	}
	var out []match
	for k := range found {
		out = append(out, found[k][:counts[k]]...)
	}
	return out, nil
}

// keysOf chooses the after patches that are looked for.
func keysOf(after *places, b *basis, taking func(uint32) bool) []uint32 {
	type ranked struct {
		patch  uint32
		unlike float32
	}
	var all []ranked
	for i := range after.described {
		if after.areas[i] < 0.2*after.size*after.size || taking != nil && !taking(uint32(i)) {
			continue
		}
		c := b.code(&after.described[i])
		var zero code
		all = append(all, ranked{uint32(i), c.apart2(&zero, 1e30)})
	}
	slices.SortFunc(all, func(x, y ranked) int {
		switch {
		case x.unlike > y.unlike:
			return -1
		case x.unlike < y.unlike:
			return 1
		}
		return int(x.patch) - int(y.patch)
	})
	if len(all) > mostKeys {
		all = all[:max(mostKeys, (len(all)+1)/2)]
		random := rand.New(rand.NewPCG(3, 41))
		random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		all = all[:mostKeys]
	}
	keys := make([]uint32, len(all))
	for i, r := range all {
		keys[i] = r.patch
	}
	slices.Sort(keys)
	return keys
}
