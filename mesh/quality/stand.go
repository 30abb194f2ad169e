package quality

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

const (
	// bedSample is the number of places looked at for a bed, and bedTries the
	// number from which a plane is tried.
	bedSample, bedTries = 4000, 150
	// bedFlat is how far off its plane a bed may lie, in diagonals of the scan;
	// three times the noise if that is more.
	bedFlat = 0.004
	// bedShare is the least share of the area that lies in the plane, and
	// aboveShare what must stand on it.
	bedShare, aboveShare = 0.08, 0.02
	// bedWider is how much more area than all that stands on it the bed must
	// span, both seen from above, and bedHolds the share of that which must be
	// within the bed's outline.
	bedWider, bedHolds = 1.15, 0.97
	// bedFilled is the share of the bed's outline that is bed or lies under what
	// stands on it: far less is two flat places that happen to be level.
	bedFilled = 0.5
	// bedBelow is how much area may lie under the plane, in areas of the bed: a slab
	// has a lower side as large as the upper one and edges. Far more is no bed but a
	// body that the plane cuts through.
	bedBelow = 1.5
	// bedRounds smooths the normals.
	bedRounds = 6
	// lowHeight is the height over the bed, in tolerances, below which what
	// sticks out of it is part of it.
	lowHeight = 2.5
	// islandShare is the largest share of the area of a loose island, on a bed
	// and without one; islandMM and islandFar how far from the main part it is,
	// in mm or, without a unit, in diagonals.
	islandOnBed, islandShare = 0.05, 0.001
	islandMM, islandFar      = 2, 0.02
)

// bedNormal is the cosine of the largest angle between bed and face.
var bedNormal = math.Cos(40 * math.Pi / 180)

// standing proposes what the specimen stands on and what stands beside it.
func (s *surface) standing(ctx context.Context, r *Result, progress func(float64, string)) ([]Proposal, error) {
	progress(0, "looking for a bed, bars and loose islands")
	normals, err := s.smoothNormals(ctx, bedRounds)
	if err != nil {
		return nil, err
	}
	if r.Orientation.InsideOut > 0 && 2*r.Orientation.InsideOut > s.t.Components {
		for i := range normals {
			normals[i] = r3.Scale(-1, normals[i])
		}
	}
	tolerance := bedFlat * s.box.Diagonal()
	if r.Resolution.Noise != nil {
		tolerance = max(tolerance, 3**r.Resolution.Noise)
	}
	bed, ok, err := s.bed(ctx, normals, tolerance)
	if err != nil {
		return nil, err
	}
	if !ok {
		return s.loose(ctx)
	}
	return s.onBed(bed, normals, tolerance), nil
}

// plane is all x with dot(x, normal) = offset; the specimen stands on the side
// of the normal.
type plane struct {
	normal r3.Vec
	offset float64
}

func (p plane) height(x r3.Vec) float64 { return r3.Dot(x, p.normal) - p.offset }

// bed looks for the plane that looks towards the specimen, is flat, and reaches
// out under it on all sides. The plane has the specimen in front of its faces,
// so that no flat side of a convex body is one.
func (s *surface) bed(ctx context.Context, normals []r3.Vec, tolerance float64) (best plane, ok bool, err error) {
	places := mesh.Sample(s.m, bedSample, 1)
	at, way := make([]r3.Vec, len(places)), make([]r3.Vec, len(places))
	for i, p := range places {
		at[i], way[i] = s.m.At(p), normals[p.Face]
	}
	most := 0
	for i := 0; i < len(at); i += max(1, len(at)/bedTries) {
		if err := ctx.Err(); err != nil {
			return best, false, err
		}
		p := plane{way[i], r3.Dot(at[i], way[i])}
		var in []int
		for reach := 8 * tolerance; ; reach = max(tolerance, reach/2) {
			in = in[:0]
			for j := range at {
				if math.Abs(p.height(at[j])) <= reach && r3.Dot(way[j], p.normal) >= bedNormal {
					in = append(in, j)
				}
			}
			if float64(len(in)) < bedShare*float64(len(at)) {
				in = nil
				break
			}
			p = fit(at, in, p.normal)
			if reach == tolerance {
				break
			}
		}
		if len(in) > most && s.holds(p, at, in, tolerance) {
			best, most, ok = p, len(in), true
		}
	}
	return best, ok, nil
}

// fit is the plane of least squares through some places, looking the way given.
func fit(at []r3.Vec, in []int, way r3.Vec) plane {
	points := make([]r3.Vec, len(in))
	for i, j := range in {
		points[i] = at[j]
	}
	mean, axes, _ := principal(points)
	n := axes[2]
	if r3.Dot(n, way) < 0 {
		n = r3.Scale(-1, n)
	}
	return plane{n, r3.Dot(mean, n)}
}

// holds says whether something stands on the plane and the part in it reaches
// out around that.
func (s *surface) holds(p plane, at []r3.Vec, in []int, tolerance float64) bool {
	x, y, _ := axesOn(p.normal)
	flat := func(v r3.Vec) [2]float64 { return [2]float64{r3.Dot(v, x), r3.Dot(v, y)} }
	var bed, above [][2]float64
	for _, j := range in {
		bed = append(bed, flat(at[j]))
	}
	below := 0
	for _, v := range at {
		switch h := p.height(v); {
		case h > lowHeight*tolerance:
			above = append(above, flat(v))
		case h < -tolerance:
			below++
		}
	}
	if float64(below) > bedBelow*float64(len(in)) {
		return false
	}
	if float64(len(above)) < aboveShare*float64(len(at)) {
		return false
	}
	outline := hull(bed)
	wide, over := hullArea(outline), hullArea(hull(above))
	inPlane := float64(len(in)) / float64(len(at)) * s.total
	if wide < bedWider*over || inPlane+over < bedFilled*wide {
		return false
	}
	held := 0
	for _, v := range above {
		if inHull(outline, v) {
			held++
		}
	}
	return float64(held) >= bedHolds*float64(len(above))
}

// onBed proposes the bed with all below it, and what stands on it beside the
// largest part.
func (s *surface) onBed(p plane, normals []r3.Vec, tolerance float64) []Proposal {
	n := s.m.FaceCount()
	isBed := make([]bool, n)
	for f := range uint32(n) {
		h := p.height(s.centre(f))
		isBed[f] = h < -tolerance || h <= tolerance && r3.Dot(normals[f], p.normal) >= bedNormal
	}
	parts := s.patches(func(f uint32) bool { return !isBed[f] })
	areas := make([]float64, len(parts))
	var rest []int // parts that stand up
	for i, part := range parts {
		areas[i] = s.sum(part)
		top := math.Inf(-1)
		for _, f := range part {
			a, b, c := s.m.Corners(f)
			top = max(top, p.height(a), p.height(b), p.height(c))
		}
		if top > lowHeight*tolerance {
			rest = append(rest, i)
			continue
		}
		for _, f := range part {
			isBed[f] = true
		}
	}
	if len(rest) == 0 {
		return nil
	}
	main := slices.MaxFunc(rest, func(i, j int) int { return compare(areas[i], areas[j]) })
	var faces []uint32
	for f, is := range isBed {
		if is {
			faces = append(faces, uint32(f))
		}
	}
	area := s.sum(faces)
	out := []Proposal{{Kind: Bed, Faces: faces, Area: area, Reason: fmt.Sprintf(
		"%.2g %% of the area lies in one plane on which the rest stands, or under it, as a bed or turntable does", 100*area/s.total)}}
	var loose [][]uint32
	for _, i := range rest {
		switch {
		case i == main:
		case s.straight(parts[i]):
			out = append(out, s.bar(parts[i]))
		case areas[i] <= islandOnBed*areas[main]:
			loose = append(loose, parts[i])
		}
	}
	return append(out, s.islands(loose, "stand", "on the bed apart from the largest part")...)
}

// compare is cmp.Compare for areas.
func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// unit follows a length in words, where it is known.
func (s *surface) unit() string {
	if s.mm {
		return "\u00a0mm"
	}
	return ""
}

// bar proposes a part as a scale bar.
func (s *surface) bar(part []uint32) Proposal {
	_, _, sizes := principal(s.corners(part))
	return Proposal{Kind: Bar, Faces: part, Area: s.sum(part), Reason: fmt.Sprintf(
		"a part by itself is straight and of one width, %.3g%s long and %.2g%s wide, as a scale bar is", sizes[0], s.unit(), sizes[1], s.unit())}
}

// islands proposes small parts, all together; verb (of several) and where say how
// they lie.
func (s *surface) islands(parts [][]uint32, verb, where string) []Proposal {
	if len(parts) == 0 {
		return nil
	}
	faces := sorted(slices.Concat(parts...))
	count := "1 small part"
	if len(parts) > 1 {
		count = fmt.Sprintf("%d small parts", len(parts))
	} else {
		verb += "s"
	}
	return []Proposal{{Kind: Island, Faces: faces, Area: s.sum(faces), Reason: fmt.Sprintf("%s (%d triangles) %s %s", count, len(faces), verb, where)}}
}

// loose proposes bars and islands of a scan without a bed: parts of the surface
// that touch the main one nowhere.
func (s *surface) loose(ctx context.Context) ([]Proposal, error) {
	if s.t.Components < 2 {
		return nil, nil
	}
	parts := make([][]uint32, s.t.Components)
	for f, c := range s.t.Component {
		if c >= 0 {
			parts[c] = append(parts[c], uint32(f))
		}
	}
	areas := make([]float64, len(parts))
	main := 0
	for i, part := range parts {
		areas[i] = s.sum(part)
		if areas[i] > areas[main] {
			main = i
		}
	}
	away := islandFar * s.box.Diagonal()
	if s.mm {
		away = islandMM
	}
	far := s.farFrom(parts[main], away)
	var out []Proposal
	var small [][]uint32
	for i, part := range parts {
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case i == main:
		case areas[i] >= islandShare*s.total:
			if s.straight(part) && far(part) {
				out = append(out, s.bar(part))
			}
		case far(part):
			small = append(small, part)
		}
	}
	return append(out, s.islands(small, "lie", fmt.Sprintf("more than %.3g%s from the largest part", away, s.unit()))...), nil
}
