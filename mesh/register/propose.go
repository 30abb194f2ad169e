package register

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// proposal is a pose that some matches ask for.
type proposal struct {
	pose  frame.Rigid // after to before
	count int         // after patches whose match agrees
	score float64
}

// linked is matches in the order of the after patches, with what is asked of
// them again and again.
type linked struct {
	before, after *places
	all           []match
	size          float64 // mm, of the patches
}

func (l *linked) a(i int) (p, n r3.Vec) {
	return l.after.points[l.all[i].after], l.after.normals[l.all[i].after]
}

func (l *linked) b(i int) (p, n r3.Vec) {
	return l.before.points[l.all[i].before], l.before.normals[l.all[i].before]
}

// How far two pairs of patches may differ and still be the same pair moved:
// their distance in patch sizes, the cosines between their normals and the way
// from one to the other, and the handedness of the three.
const (
	pairLength  = 1.2
	pairCosine  = 0.22
	leastLength = 4.0 // patch sizes, under which a pair turns too freely
)

// agree says whether the pair of after patches of two matches may be the pair of
// their before patches, moved: lengths and angles are kept (the consistency of
// pair lengths that prunes matches in Yang, Shi and Carlone, IEEE Trans. Robotics
// 37:314, 2021, with the normals' angles beside).
func (l *linked) agree(i, j int) bool {
	pa, na := l.a(i)
	qa, ma := l.a(j)
	da := r3.Sub(qa, pa)
	la := length(da)
	if la < leastLength*l.size {
		return false
	}
	pb, nb := l.b(i)
	qb, mb := l.b(j)
	db := r3.Sub(qb, pb)
	lb := length(db)
	if math.Abs(la-lb) > pairLength*l.size {
		return false
	}
	if math.Abs(r3.Dot(na, ma)-r3.Dot(nb, mb)) > pairCosine ||
		math.Abs(r3.Dot(na, da)/la-r3.Dot(nb, db)/lb) > pairCosine ||
		math.Abs(r3.Dot(ma, da)/la-r3.Dot(mb, db)/lb) > pairCosine {
		return false
	}
	return math.Abs(r3.Dot(r3.Cross(na, ma), da)/la-r3.Dot(r3.Cross(nb, mb), db)/lb) <= 1.5*pairCosine
}

// fromTwo is the motion that brings the after patches of two matches to their
// before patches: ends and normals. It fails where the normals look along the
// way between.
func (l *linked) fromTwo(i, j int) (frame.Rigid, bool) {
	frameOf := func(p, n, q, m r3.Vec) (x, y, z r3.Vec, ok bool) {
		x = r3.Unit(r3.Sub(q, p))
		s := r3.Add(n, m)
		y = r3.Sub(s, r3.Scale(r3.Dot(s, x), x))
		if length(y) < 0.3 {
			// Normals that cancel: the first one alone.
			if y = r3.Sub(n, r3.Scale(r3.Dot(n, x), x)); length(y) < 0.3 {
				return x, y, z, false
			}
		}
		y = r3.Unit(y)
		return x, y, r3.Cross(x, y), true
	}
	pa, na := l.a(i)
	qa, ma := l.a(j)
	pb, nb := l.b(i)
	qb, mb := l.b(j)
	ax, ay, az, ok := frameOf(pa, na, qa, ma)
	bx, by, bz, ok2 := frameOf(pb, nb, qb, mb)
	if !ok || !ok2 {
		return frame.Rigid{}, false
	}
	g := frame.Rigid{R: [9]float64{
		bx.X*ax.X + by.X*ay.X + bz.X*az.X, bx.X*ax.Y + by.X*ay.Y + bz.X*az.Y, bx.X*ax.Z + by.X*ay.Z + bz.X*az.Z,
		bx.Y*ax.X + by.Y*ay.X + bz.Y*az.X, bx.Y*ax.Y + by.Y*ay.Y + bz.Y*az.Y, bx.Y*ax.Z + by.Y*ay.Z + bz.Y*az.Z,
		bx.Z*ax.X + by.Z*ay.X + bz.Z*az.X, bx.Z*ax.Y + by.Z*ay.Y + bz.Z*az.Y, bx.Z*ax.Z + by.Z*ay.Z + bz.Z*az.Z,
	}}
	middle := r3.Scale(0.5, r3.Add(pa, qa))
	g.T = r3.Sub(r3.Scale(0.5, r3.Add(pb, qb)), g.Turn(middle))
	return g, true
}

// follow returns the matches of a list that a pose brings together, within a
// distance and 35 degrees, and how many after patches they belong to.
func (l *linked) follow(g frame.Rigid, list []int32, within float64, out []int32) ([]int32, int) {
	out = out[:0]
	patches := 0
	last := noPatch
	for _, i := range list {
		p, n := l.a(int(i))
		q, m := l.b(int(i))
		if r3.Norm2(r3.Sub(g.Apply(p), q)) > within*within || r3.Dot(g.Turn(n), m) < 0.82 {
			continue
		}
		out = append(out, i)
		if a := l.all[i].after; a != last {
			patches, last = patches+1, a
		}
	}
	return out, patches
}

// fit is the closed-form motion of the matches of a list.
func (l *linked) fit(list []int32) (frame.Rigid, bool) {
	before, after := make([]r3.Vec, len(list)), make([]r3.Vec, len(list))
	for k, i := range list {
		after[k], _ = l.a(int(i))
		before[k], _ = l.b(int(i))
	}
	g, _, err := frame.FitRigid(before, after, nil)
	return g, err == nil
}

// Numbers of the drawing of proposals.
const (
	partners     = 16 // drawn for each seed
	mostAgreeing = 300
	within       = 2.0 // patch sizes
)

// draw proposes poses: every match in turn is taken for right, other matches
// that agree with it are drawn (with a fixed seed a match) and the pose of both
// is kept that most of those that agree follow. That is random sampling (Fischler and Bolles, Comm. ACM 24:381,
// 1981) over pairs of places with normals, of which two make a pose, started
// once from everywhere.
func (l *linked) draw(ctx context.Context, seeds []int32) ([]proposal, error) {
	out := make([]proposal, len(seeds))
	const block = 8
	err := mesh.Parallel(ctx, (len(seeds)+block-1)/block, func(b int) {
		var list, follow []int32
		for s := b * block; s < min(len(seeds), (b+1)*block); s++ {
			seed := seeds[s]
			list = list[:0]
			for j := range l.all {
				if l.all[j].after != l.all[seed].after && l.agree(int(seed), j) {
					list = append(list, int32(j))
				}
			}
			if len(list) < 3 {
				continue
			}
			random := rand.New(rand.NewPCG(uint64(seed), 17))
			if len(list) > mostAgreeing {
				// Featureless surface agrees with everything.
				random.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
				list = list[:mostAgreeing]
				slices.Sort(list)
			}
			best := proposal{}
			for range min(partners, len(list)) {
				g, ok := l.fromTwo(int(seed), int(list[random.IntN(len(list))]))
				if !ok {
					continue
				}
				var n int
				if follow, n = l.follow(g, list, within*l.size, follow); n > best.count {
					best = proposal{pose: g, count: n}
				}
			}
			out[s] = best
		}
	})
	if err != nil {
		return nil, err
	}
	out = slices.DeleteFunc(out, func(p proposal) bool { return p.count < 3 })
	slices.SortStableFunc(out, func(a, b proposal) int { return b.count - a.count })
	return out, nil
}

// settle fits each proposal to all matches that follow it, twice.
func (l *linked) settle(ctx context.Context, proposals []proposal) error {
	everything := make([]int32, len(l.all))
	for i := range everything {
		everything[i] = int32(i)
	}
	return mesh.Parallel(ctx, len(proposals), func(i int) {
		p := &proposals[i]
		follow, n := l.follow(p.pose, everything, within*l.size, nil)
		p.count = n
		for range 2 {
			g, ok := l.fit(follow)
			if !ok {
				return
			}
			if follow, n = l.follow(g, everything, within*l.size, follow); n < p.count {
				return
			}
			*p = proposal{pose: g, count: n}
		}
	})
}

// graduate proposes one pose from all matches at once: squared distances under
// Geman and McClure's weight, whose width falls from the size of the specimen to
// that of a patch (Zhou, Park and Koltun, Fast Global Registration, ECCV 2016).
// Matches are thinned to those with the best code of each after patch.
func (l *linked) graduate() (proposal, bool) {
	var list []int32
	for i := range l.all {
		if i == 0 || l.all[i].after != l.all[i-1].after {
			list = append(list, int32(i))
		}
	}
	if len(list) < 3 {
		return proposal{}, false
	}
	before, after, weights := make([]r3.Vec, len(list)), make([]r3.Vec, len(list)), make([]float64, len(list))
	spread := 0.0
	var middle r3.Vec
	for k, i := range list {
		after[k], _ = l.a(int(i))
		before[k], _ = l.b(int(i))
		middle = r3.Add(middle, r3.Scale(1/float64(len(list)), before[k]))
	}
	for _, p := range before {
		spread = max(spread, r3.Norm2(r3.Sub(p, middle)))
	}
	var g frame.Rigid
	for k := range weights {
		weights[k] = 1
	}
	for mu := spread; ; mu /= 1.4 {
		next, _, err := frame.FitRigid(before, after, weights)
		if err != nil {
			return proposal{}, false
		}
		g = next
		if mu < l.size*l.size {
			break
		}
		for k := range weights {
			r := mu / (mu + r3.Norm2(r3.Sub(g.Apply(after[k]), before[k])))
			weights[k] = r * r
		}
	}
	_, n := l.follow(g, list, within*l.size, nil)
	return proposal{pose: g, count: n}, n >= 3
}

// apartFrom says whether two poses put the specimen in different places: more
// than 10 degrees or a twentieth of the diagonal apart.
func apartFrom(a, b frame.Rigid, middle r3.Vec, diagonal float64) bool {
	turn := a.Inverse().Then(b).Angle()
	return turn > 10*math.Pi/180 || r3.Norm(r3.Sub(a.Apply(middle), b.Apply(middle))) > diagonal/20
}
