package register

import (
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// bone is a star-shaped body of about 100 × 40 × 30 mm: an ellipsoid with 30
// coarse waves (2 mm) and 60 finer ones (0.35 mm) on it, and matrix over a
// chosen share of its directions, with waves and a roughness of its own. It is
// a formula, so that before and after can be tessellated differently.
type bone struct {
	axes         [3]float64
	coarse, fine []wave
	// The matrix: a smooth field over the directions, the level above which
	// there is matrix, and its thickness.
	cover, rough []wave
	level        float64
	thick        float64
}

type wave struct {
	k         r3.Vec // radians per mm
	phase, mm float64
}

func waves(random *rand.Rand, n int, shortest, longest, rms float64) []wave {
	out := make([]wave, n)
	for i := range out {
		l := shortest * math.Pow(longest/shortest, random.Float64())
		out[i] = wave{
			k:     r3.Scale(2*math.Pi/l, direction(random)),
			phase: 2 * math.Pi * random.Float64(),
			mm:    rms * math.Sqrt(2/float64(n)),
		}
	}
	return out
}

func direction(random *rand.Rand) r3.Vec {
	v := r3.Vec{X: random.NormFloat64(), Y: random.NormFloat64(), Z: random.NormFloat64()}
	return r3.Scale(1/r3.Norm(v), v)
}

func height(ws []wave, p r3.Vec) float64 {
	sum := 0.0
	for _, w := range ws {
		sum += w.mm * math.Cos(r3.Dot(w.k, p)+w.phase)
	}
	return sum
}

// newBone makes the bone of a seed with matrix of the mean thickness over the
// share of its directions.
func newBone(seed uint64, share, thick float64) *bone {
	random := rand.New(rand.NewPCG(seed, 77))
	b := &bone{axes: [3]float64{50, 20, 15}, thick: thick}
	b.coarse = waves(random, 30, 14, 60, 2)
	b.fine = waves(random, 60, 3, 9, 0.35)
	b.cover = waves(random, 8, 50, 120, 1)
	b.rough = waves(random, 30, 6, 30, 1)
	field := make([]float64, 20000)
	for i := range field {
		field[i] = height(b.cover, b.ellipsoid(direction(random)))
	}
	sort.Float64s(field)
	b.level = math.Inf(1)
	if share > 0 {
		b.level = field[min(len(field)-1, int((1-share)*float64(len(field))))]
	}
	return b
}

func (b *bone) ellipsoid(d r3.Vec) r3.Vec {
	x, y, z := d.X/b.axes[0], d.Y/b.axes[1], d.Z/b.axes[2]
	return r3.Scale(1/math.Sqrt(x*x+y*y+z*z), d)
}

// at is the point of the surface in direction d, with or without matrix.
func (b *bone) at(d r3.Vec, matrix bool) r3.Vec {
	e := b.ellipsoid(d)
	r := height(b.coarse, e) + height(b.fine, e)
	if matrix {
		if over := (height(b.cover, e) - b.level) / 0.15; over > 0 {
			rise := min(1, over)
			r += rise * rise * (3 - 2*rise) * max(0.3, b.thick+height(b.rough, e))
		}
	}
	return r3.Add(e, r3.Scale(r, d))
}

// lattice is a sphere's directions on the grid of a cube of n cells a side,
// turned, in 12 n² triangles.
func lattice(n int, turn frame.Rigid) (directions []r3.Vec, triangles []uint32) {
	number := make(map[[3]int]uint32, 6*n*n+2)
	vertex := func(c [3]int) uint32 {
		if v, ok := number[c]; ok {
			return v
		}
		f := func(i int) float64 { return math.Tan(math.Pi / 4 * (2*float64(i)/float64(n) - 1)) }
		p := r3.Vec{X: f(c[0]), Y: f(c[1]), Z: f(c[2])}
		directions = append(directions, turn.Turn(r3.Scale(1/r3.Norm(p), p)))
		number[c] = uint32(len(directions) - 1)
		return number[c]
	}
	for axis := range 3 {
		for _, end := range []int{0, n} {
			at := func(i, j int) uint32 {
				var c [3]int
				c[axis], c[(axis+1)%3], c[(axis+2)%3] = end, i, j
				return vertex(c)
			}
			for i := range n {
				for j := range n {
					a, b, c, d := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
					if end == 0 {
						b, d = d, b
					}
					triangles = append(triangles, a, b, c, a, c, d)
				}
			}
		}
	}
	return directions, triangles
}

// scan samples a surface over the sphere's directions on a lattice of n, adds
// noise along each direction, and moves it.
func scan(seed uint64, n int, noise float64, pose frame.Rigid, at func(d r3.Vec) r3.Vec) *mesh.Mesh {
	random := rand.New(rand.NewPCG(seed, 99))
	directions, triangles := lattice(n, frame.Rotation(direction(random), 3*random.Float64()))
	m := &mesh.Mesh{Triangles: triangles, Positions: make([]float32, 0, 3*len(directions)), Origin: pose.T}
	for _, d := range directions {
		p := r3.Add(at(d), r3.Scale(noise*random.NormFloat64(), d))
		p = pose.Turn(p)
		m.Positions = append(m.Positions, float32(p.X), float32(p.Y), float32(p.Z))
	}
	return m
}

// pair is a before and an after scan with the true pose between them.
type pair struct {
	before, after *mesh.Mesh
	truth         frame.Rigid // after to before
	body          *bone
}

// bonePair has matrix over `share` of the bone before and none after.
func bonePair(seed uint64, share, noise float64, nBefore, nAfter int) pair {
	b := newBone(seed, share, 3+4*share)
	random := rand.New(rand.NewPCG(seed, 5))
	pose := frame.Small(r3.Vec{}, r3.Scale(3*random.Float64(), direction(random)), r3.Scale(200*random.Float64(), direction(random)))
	return pair{
		before: scan(2*seed, nBefore, noise, frame.Identity(), func(d r3.Vec) r3.Vec { return b.at(d, true) }),
		after:  scan(2*seed+1, nAfter, noise, pose, func(d r3.Vec) r3.Vec { return b.at(d, false) }),
		truth:  pose.Inverse(),
		body:   b,
	}
}

// disturbed is the truth turned by degrees about the body's middle and shifted
// by mm, each in a random direction.
func (p pair) disturbed(seed uint64, degrees, mm float64) frame.Rigid {
	random := rand.New(rand.NewPCG(seed, 13))
	return p.truth.Then(frame.Small(r3.Vec{}, r3.Scale(degrees*math.Pi/180, direction(random)), r3.Scale(mm, direction(random))))
}

// off is how far a pose is from the truth: degrees of turn and mm at the
// body's middle.
func (p pair) off(g frame.Rigid) (degrees, mm float64) {
	turn, shift := p.truth.Inverse().Then(g).Twist(r3.Vec{})
	return r3.Norm(turn) * 180 / math.Pi, r3.Norm(shift)
}

// bare is the share of the after-scan's area, by the formulas of the body, on
// which there was no matrix before.
func (p pair) bare(after *mesh.Mesh) float64 {
	free, all := 0.0, 0.0
	for f := range uint32(after.FaceCount()) {
		area := r3.Norm(after.AreaVector(f))
		a, b, c := after.Corners(f)
		middle := p.truth.Apply(r3.Scale(1./3, r3.Add(a, r3.Add(b, c))))
		all += area
		if height(p.body.cover, p.body.ellipsoid(r3.Unit(middle))) <= p.body.level {
			free += area
		}
	}
	return free / all
}
