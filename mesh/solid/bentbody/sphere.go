package bentbody

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// random is the splitmix64 generator (Steele, Lea, Flood, OOPSLA 2014).
type random struct{ state uint64 }

func (r *random) next() uint64 {
	r.state += 0x9e3779b97f4a7c15
	z := r.state
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9
	z = (z ^ (z >> 27)) * 0x94d049bb133111eb
	return z ^ (z >> 31)
}

// uniform is in [0, 1).
func (r *random) uniform() float64 { return float64(r.next()>>11) * 0x1p-53 }

// gauss is a normal deviate (Box and Muller 1958), one for two draws.
func (r *random) gauss() float64 {
	a := 1 - r.uniform()
	b := r.uniform()
	return math.Sqrt(-2*math.Log(a)) * math.Cos(2*math.Pi*b)
}

func (r *random) direction() r3.Vec {
	x := r.gauss()
	y := r.gauss()
	z := r.gauss()
	return r3.Unit(r3.Vec{X: x, Y: y, Z: z})
}

// directions cuts each face of an icosahedron in n² triangles and pushes the
// corners out to the unit sphere: 10n²+2 directions, 20n² triangles.
func directions(n int) (dirs []r3.Vec, triangles []uint32) {
	g := (1 + math.Sqrt(5)) / 2
	corners := []r3.Vec{
		{X: -1, Y: g}, {X: 1, Y: g}, {X: -1, Y: -g}, {X: 1, Y: -g},
		{Y: -1, Z: g}, {Y: 1, Z: g}, {Y: -1, Z: -g}, {Y: 1, Z: -g},
		{X: g, Z: -1}, {X: g, Z: 1}, {X: -g, Z: -1}, {X: -g, Z: 1},
	}
	faces := [20][3]uint32{
		{0, 11, 5}, {0, 5, 1}, {0, 1, 7}, {0, 7, 10}, {0, 10, 11}, {1, 5, 9}, {5, 11, 4},
		{11, 10, 2}, {10, 7, 6}, {7, 1, 8}, {3, 9, 4}, {3, 4, 2}, {3, 2, 6}, {3, 6, 8},
		{3, 8, 9}, {4, 9, 5}, {2, 4, 11}, {6, 2, 10}, {8, 6, 7}, {9, 8, 1},
	}
	for _, c := range corners {
		dirs = append(dirs, r3.Unit(c))
	}
	mix := func(a, b, c uint32, i, j int) r3.Vec {
		s := r3.Scale(float64(n-i-j)/float64(n), dirs[a])
		s = r3.Add(s, r3.Scale(float64(i)/float64(n), dirs[b]))
		return r3.Unit(r3.Add(s, r3.Scale(float64(j)/float64(n), dirs[c])))
	}
	// Points inside the 30 edges, from the lower corner to the higher.
	edges := map[[2]uint32]uint32{}
	for _, q := range faces {
		for e := range 3 {
			a, b := q[e], q[(e+1)%3]
			a, b = min(a, b), max(a, b)
			if _, ok := edges[[2]uint32{a, b}]; ok {
				continue
			}
			edges[[2]uint32{a, b}] = uint32(len(dirs))
			for i := 1; i < n; i++ {
				dirs = append(dirs, mix(a, b, a, i, 0))
			}
		}
	}
	along := func(a, b uint32, i int) uint32 {
		switch {
		case i == 0:
			return a
		case i == n:
			return b
		case a < b:
			return edges[[2]uint32{a, b}] + uint32(i-1)
		}
		return edges[[2]uint32{b, a}] + uint32(n-i-1)
	}
	for _, q := range faces {
		// Points inside the face, row i holding n-1-i of them.
		row := make([]uint32, n)
		for i := 1; i < n; i++ {
			row[i] = uint32(len(dirs))
			for j := 1; j < n-i; j++ {
				dirs = append(dirs, mix(q[0], q[1], q[2], i, j))
			}
		}
		at := func(i, j int) uint32 { // i steps towards q[1], j towards q[2]
			switch {
			case j == 0:
				return along(q[0], q[1], i)
			case i == 0:
				return along(q[0], q[2], j)
			case i+j == n:
				return along(q[1], q[2], j)
			}
			return row[i] + uint32(j-1)
		}
		for i := range n {
			for j := range n - i {
				a, b, c := at(i, j), at(i+1, j), at(i, j+1)
				triangles = append(triangles, a, b, c)
				if i+j < n-1 {
					triangles = append(triangles, b, at(i+1, j+1), c)
				}
			}
		}
	}
	return dirs, triangles
}
