package change

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// A pair does not show the same everywhere: a scan is worse where its pictures
// were few, dull or oblique. How far the averaged gap spreads is looked at in
// cubes of space, for matter removed and matter added apart: what a place shows
// of the one is judged by the values of the other sign round it, for there change
// of the one kind, which has one sign, cannot pass for error, which has both.
const (
	// cubeSteps is the edge of a cube in steps. A place is judged by the cube it is
	// in and those round it.
	cubeSteps = 6
	// bins of a cube's histogram, binsALimit of them up to the limit of a core.
	bins, binsALimit = 96, 8
	// leastShare is the share of values of a sign below which they say nothing.
	leastShare = 0.1
	// leastValues is the number of values of a sign below which they say nothing.
	leastValues = 30
	// neverError is how many times the limit of a core is never error.
	neverError = 20
	// mostPlaces is the number of vertices of a scan looked at.
	mostPlaces = 100000
)

// places says how far the averaged gap spreads round a place.
type places struct {
	size  float64
	index map[[3]int32]int32
	// sigma of values with the sign of matter removed and of matter added, mm.
	sigma [][2]float64
}

func (p *places) key(x r3.Vec) [3]int32 {
	return [3]int32{int32(math.Floor(x.X / p.size)), int32(math.Floor(x.Y / p.size)), int32(math.Floor(x.Z / p.size))}
}

// spread is the standard deviation of error at a place, as matter of the other
// kind than the given one would show it; 0 where nothing is known.
func (p *places) spread(x r3.Vec, kind int8) float64 {
	if p == nil {
		return 0
	}
	i, ok := p.index[p.key(x)]
	if !ok {
		return 0
	}
	if kind > 0 {
		return p.sigma[i][1]
	}
	return p.sigma[i][0]
}

// lookRound looks at both scans; never says of a core vertex that it is part of
// something that is no error.
func (c *Change) lookRound(never func(side int, v uint32) bool) *places {
	p := &places{size: cubeSteps * c.StepMM, index: map[[3]int32]int32{}}
	var counts [][2][bins]float32
	for side, s := range []*Side{c.Before, c.After} {
		stride := max(1, len(s.Smooth)/mostPlaces)
		for v := 0; v < len(s.Smooth); v += stride {
			g := s.Smooth[v]
			if math.IsNaN(g) || never(side, uint32(v)) {
				continue
			}
			if side == 1 {
				g = -g // matter removed is positive
			}
			k := p.key(s.Vertex(uint32(v)))
			i, ok := p.index[k]
			if !ok {
				i = int32(len(counts))
				p.index[k] = i
				counts = append(counts, [2][bins]float32{})
			}
			sign := 0
			if g < 0 {
				g, sign = -g, 1
			}
			counts[i][sign][int(min(bins-1, g*binsALimit/c.LimitMM))] += float32(stride) * s.Stars[v].AreaMM2
		}
	}
	// How much surface a value stands for, so that a number of them is known.
	each := float32(c.Before.EdgeMM * c.After.EdgeMM)
	p.sigma = make([][2]float64, len(counts))
	for k, i := range p.index {
		var round [2][bins]float32
		for x := k[0] - 1; x <= k[0]+1; x++ {
			for y := k[1] - 1; y <= k[1]+1; y++ {
				for z := k[2] - 1; z <= k[2]+1; z++ {
					if n, ok := p.index[[3]int32{x, y, z}]; ok {
						for b := range bins {
							round[0][b] += counts[n][0][b]
							round[1][b] += counts[n][1][b]
						}
					}
				}
			}
		}
		var total [2]float32
		for sign := range 2 {
			for _, n := range round[sign] {
				total[sign] += n
			}
		}
		for sign := range 2 {
			if total[sign] < leastShare*(total[0]+total[1]) || total[sign] < leastValues*each {
				continue
			}
			p.sigma[i][sign] = madToSigma * median(&round[sign], total[sign]) * c.LimitMM / binsALimit
		}
	}
	return p
}

// median is that of a histogram, in bins.
func median(count *[bins]float32, total float32) float64 {
	sum := float32(0)
	for b, n := range count {
		if sum+n >= total/2 {
			return float64(b) + float64((total/2-sum)/n)
		}
		sum += n
	}
	return bins
}

// SmallestAt is the smallest change of a kind that the pair can show at a place
// of its surface with the given unit normal, mm: never less than what error round
// the place looks like, and with what the alignment leaves open there.
func (c *Change) SmallestAt(kind Kind, at, normal r3.Vec) float64 {
	sign := int8(1)
	if kind == Added {
		sign = -1
	}
	limit := max(c.LimitMM, limitSigmas*c.places.spread(at, sign))
	return existence*limit + 2*c.poseAt(at, normal)
}

// smallestAt is SmallestAt a welded vertex of a side.
func (c *Change) smallestAt(s *Side, v uint32, kind Kind) float64 {
	return c.SmallestAt(kind, s.Vertex(v), s.normal(v))
}

// normal is the unit normal at a welded vertex, zero where there is none.
func (s *Side) normal(v uint32) r3.Vec {
	n := s.Stars[v].Sum()
	if l := length(n); l > 0 {
		n = r3.Scale(1/l, n)
	}
	return n
}

// poseAt is the standard uncertainty of the gap that the alignment's covariance
// leaves at a place: √(gᵀCg) with g = ((x-centre)×n, n).
func (c *Change) poseAt(at, normal r3.Vec) float64 {
	w := r3.Cross(r3.Sub(at, c.Options.Centre), normal)
	g := [6]float64{w.X, w.Y, w.Z, normal.X, normal.Y, normal.Z}
	sum := 0.0
	for i := range 6 {
		for j := range 6 {
			sum += g[i] * c.Options.RegistrationCovariance[6*i+j] * g[j]
		}
	}
	return math.Sqrt(max(0, sum))
}

// Variogram of an isotropic error: half the mean square difference of two values
// as a function of their distance, spherical.
type Variogram struct {
	NuggetMM float64 // standard deviation of what no two places share
	SillMM   float64 // standard deviation of what near places share
	RangeMM  float64 // distance from which on they share nothing
}

// Independent is the number of independent values of the shared part over a
// surface, mm²: area over πa²/5, never less than one (Anderson, Earth Surf.
// Process. Landforms 44:1015, 2019).
func (v Variogram) Independent(area float64) float64 {
	if v.RangeMM <= 0 {
		return math.Inf(1)
	}
	return max(1, area/(math.Pi*v.RangeMM*v.RangeMM/5))
}

const (
	lags       = 24   // classes of distance
	mostSample = 1500 // places whose pairs are looked at
	ranges     = 60   // trial ranges of the fit
)

// newVariogram fits a spherical variogram to values at places with unit normals,
// for distances up to longest; pairs that face away from each other are left out.
func newVariogram(at, normal []r3.Vec, value []float64, longest float64) Variogram {
	// Classes widen outwards: what matters happens near.
	class := func(d float64) int { return int(lags * math.Sqrt(d/longest)) }
	type sums struct{ n, d, half float64 }
	blocks := (len(at) + 63) / 64
	parts := make([][lags]sums, blocks)
	_ = mesh.Parallel(context.Background(), blocks, func(b int) {
		for i := b * 64; i < min(len(at), (b+1)*64); i++ {
			for j := i + 1; j < len(at); j++ {
				d := r3.Norm2(r3.Sub(at[i], at[j]))
				if !(d < longest*longest) || !(r3.Dot(normal[i], normal[j]) > 0) {
					continue
				}
				d = math.Sqrt(d)
				s := &parts[b][class(d)]
				g := value[i] - value[j]
				s.n++
				s.d += d
				s.half += g * g / 2
			}
		}
	})
	var all [lags]sums
	for _, p := range parts {
		for k := range all {
			all[k].n += p[k].n
			all[k].d += p[k].d
			all[k].half += p[k].half
		}
	}
	best, least := Variogram{}, math.Inf(1)
	for t := 1; t <= ranges; t++ {
		a := longest * float64(t) / ranges
		// Nugget and sill by least squares with the number of pairs over the
		// square of the value as weight (Cressie, Math. Geology 17:563, 1985).
		var w, wx, wxx, wy, wxy, wyy float64
		for _, s := range all {
			if s.n < 30 || s.half == 0 {
				continue
			}
			h, y := s.d/s.n/a, s.half/s.n
			x := 1.0
			if h < 1 {
				x = 1.5*h - 0.5*h*h*h
			}
			q := s.n / (y * y)
			w, wx, wxx, wy, wxy, wyy = w+q, wx+q*x, wxx+q*x*x, wy+q*y, wxy+q*x*y, wyy+q*y*y
		}
		det := w*wxx - wx*wx
		if !(det > 1e-9*w*wxx) {
			continue
		}
		nugget, sill := (wy*wxx-wx*wxy)/det, (w*wxy-wx*wy)/det
		if nugget < 0 {
			nugget, sill = 0, wxy/wxx
		}
		if sill <= 0 {
			continue
		}
		if miss := wyy - 2*nugget*wy - 2*sill*wxy + nugget*nugget*w + 2*nugget*sill*wx + sill*sill*wxx; miss < least {
			least, best = miss, Variogram{math.Sqrt(nugget), math.Sqrt(sill), a}
		}
	}
	return best
}

// measureVariogram fits the variogram of the gaps of the scan after where they
// are within the limit.
func (c *Change) measureVariogram() {
	s := c.After
	stride := max(1, len(s.Gap)/mostSample)
	var at, normal []r3.Vec
	var value []float64
	for v := 0; v < len(s.Gap); v += stride {
		if g := s.Smooth[v]; math.IsNaN(g) || math.Abs(g) > c.LimitMM {
			continue
		}
		n := s.Stars[v].Sum()
		at, normal, value = append(at, s.Vertex(uint32(v))), append(normal, n), append(value, s.Smooth[v])
	}
	c.Variogram = newVariogram(at, normal, value, s.DiagonalMM/3)
}
