package render

import (
	"context"
	"math"
	"runtime/debug"
	"slices"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// Body is a mesh prepared for drawing. It may be drawn by several renderers at
// once. The mesh must not change while the body is in use.
type Body struct {
	mesh   *mesh.Mesh
	full   *level
	proxy  *level // nil for small meshes
	box    mesh.Box
	centre r3.Vec // of the bounding sphere, the mesh's frame
	radius float64
	solid  bool

	materials []material
	textures  atomic.Pointer[[]*texture] // by Mesh.Images; nil until loaded
}

// Options change how a mesh is prepared. The zero value is right for most.
type Options struct {
	// Weld and Topology of the mesh, where the caller has them. With a topology
	// of a closed body whose faces look outward, faces that look away are not
	// drawn, which saves a third of the time; without one every face is drawn
	// from both sides.
	Weld     *mesh.Weld
	Topology *mesh.Topology
	// ProxyTriangles is how many triangles the coarse copy for moving pictures
	// should have about; 0 is 500 000. Meshes of up to 1.6 times as many get none.
	ProxyTriangles int
	// Sketch of the same mesh, where there is one: its coarse copy is used again.
	Sketch   *Body
	Progress func(done float64, words string)
}

const defaultProxy = 500_000

// proxyTarget is how many triangles the coarse copy of a mesh should have about
// where so many were asked for, 0 where it needs none.
func proxyTarget(m *mesh.Mesh, target int) int {
	if target <= 0 {
		target = defaultProxy
	}
	if m.FaceCount() <= target*8/5 {
		return 0
	}
	return target
}

// begin returns a body without triangles.
func begin(m *mesh.Mesh, box mesh.Box) *Body {
	return &Body{mesh: m, materials: materialsOf(m), box: box, centre: box.Centre(), radius: box.Diagonal() / 2}
}

// Sketch makes a body of the coarse copy alone, from the mesh as it was read,
// unwelded: something to be seen and turned while Prepare makes the rest. It takes
// a third of a second for ten million triangles. It is nil where the mesh is so
// small that Prepare is as quick.
func Sketch(ctx context.Context, m *mesh.Mesh, opt Options) (*Body, error) {
	target := proxyTarget(m, opt.ProxyTriangles)
	if target == 0 {
		return nil, nil
	}
	b := begin(m, bounds(m))
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	b.full = newProxy(m, b.box, target)
	b.tintLevels(nil)
	return b, ctx.Err()
}

// newProxy is the level of the coarse copy.
func newProxy(m *mesh.Mesh, box mesh.Box, target int) *level {
	p := cluster(m, box, target)
	l := newLevel(p.mesh, mortonOrder(p.mesh, box), p.normals, true)
	l.fromProxy(p)
	return l
}

// Prepare sorts a mesh into clusters. It takes about a second for four million
// triangles and 26 bytes a triangle beside the mesh. The mesh's textures are
// not decoded: see LoadTextures.
func Prepare(ctx context.Context, m *mesh.Mesh, opt Options) (*Body, error) {
	tell := opt.Progress
	if tell == nil {
		tell = func(float64, string) {}
	}
	const words = "Preparing the picture"
	tell(0, words)
	sketch := opt.Sketch
	if sketch != nil && sketch.mesh != m {
		sketch = nil
	}
	var b *Body
	if sketch != nil {
		b = begin(m, sketch.box)
	} else {
		b = begin(m, bounds(m))
	}
	if t := opt.Topology; t != nil && t.Closed() && t.Oriented() && t.Degenerate == 0 && t.Duplicate == 0 {
		b.solid = mesh.Volume(m) > 0
	}
	if target := proxyTarget(m, opt.ProxyTriangles); target > 0 {
		if sketch != nil {
			b.proxy = sketch.full
		} else {
			b.proxy = newProxy(m, b.box, target)
		}
	}
	giveBack(m)
	order := mortonOrder(m, b.box)
	giveBack(m)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	tell(0.3, words)
	normals := cornerNormals(m, opt.Weld)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	tell(0.6, words)
	b.full = newLevel(m, order, normals, b.proxy == nil) // of many faces, four bytes each count
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	tell(0.9, words)
	b.tintLevels(nil)
	giveBack(m)
	tell(1, words)
	return b, ctx.Err()
}

// giveBack lets the tables that welding and sorting have left be used again
// before as much more is asked for: left alone, the collector lets the memory
// grow to twice what is in use first. On a large mesh, which has few pointers, it
// takes some milliseconds.
func giveBack(m *mesh.Mesh) {
	if m.FaceCount() > 500_000 {
		debug.FreeOSMemory()
	}
}

// Mesh returns the mesh behind the body.
func (b *Body) Mesh() *mesh.Mesh { return b.mesh }

// Sphere returns the bounding sphere in the mesh's frame.
func (b *Body) Sphere() (centre r3.Vec, radius float64) { return b.centre, b.radius }

// Box is the box round the body's faces in the mesh's frame.
func (b *Body) Box() mesh.Box { return b.box }

// colourless says whether the scan is plain stone all over.
func (b *Body) colourless() bool {
	for _, m := range b.materials {
		if m.image >= 0 || !m.plain {
			return false
		}
	}
	return len(b.mesh.Colours) == 0
}

// bounds is the box round all corners that are numbers: mesh.Bounds, but safe
// from a scan with a few broken vertices.
func bounds(m *mesh.Mesh) mesh.Box {
	box := mesh.Bounds(m)
	size := r3.Sub(box.Max, box.Min)
	if s := size.X + size.Y + size.Z; !math.IsNaN(s) && !math.IsInf(s, 0) {
		return box
	}
	box, some := mesh.Box{}, false
	for _, v := range m.Triangles {
		p := m.Vertex(v)
		if s := p.X + p.Y + p.Z; math.IsNaN(s) || math.IsInf(s, 0) {
			continue
		}
		if !some {
			box, some = mesh.Box{Min: p, Max: p}, true
		}
		box.Min = r3.Vec{X: min(box.Min.X, p.X), Y: min(box.Min.Y, p.Y), Z: min(box.Min.Z, p.Z)}
		box.Max = r3.Vec{X: max(box.Max.X, p.X), Y: max(box.Max.Y, p.Y), Z: max(box.Max.Z, p.Z)}
	}
	return box
}

// cornerNormals returns a packed smooth normal for every file vertex: the
// file's own where it has one, else that of the welded surface, so that texture seams do not show as edges.
func cornerNormals(m *mesh.Mesh, w *mesh.Weld) []uint32 {
	n := m.VertexCount()
	out := make([]uint32, n)
	if len(m.Normals) == 3*n {
		_ = mesh.Parallel(context.Background(), (n+sortBlock-1)/sortBlock, func(b int) {
			for i := b * sortBlock; i < min(n, (b+1)*sortBlock); i++ {
				s := m.Normals[3*i : 3*i+3 : 3*i+3]
				out[i] = mesh.PackNormal(float64(s[0]), float64(s[1]), float64(s[2]))
			}
		})
		return out
	}
	if w == nil {
		w = mesh.NewWeld(m)
	}
	sums := areaNormals(m, w)
	_ = mesh.Parallel(context.Background(), (n+sortBlock-1)/sortBlock, func(b int) {
		for i := b * sortBlock; i < min(n, (b+1)*sortBlock); i++ {
			s := sums[3*w.Of[i] : 3*w.Of[i]+3 : 3*w.Of[i]+3]
			out[i] = mesh.PackNormal(float64(s[0]), float64(s[1]), float64(s[2]))
		}
	})
	return out
}

// areaNormals adds up, for every welded vertex, the area vectors of the faces
// round it (Gouraud 1971). Weights by angle, as mesh.VertexNormals has them,
// would be truer where a fan is cut unevenly, but take four times as long and
// are not told apart in a picture.
func areaNormals(m *mesh.Mesh, w *mesh.Weld) []float32 {
	sums := make([]float32, 3*w.Count)
	for f := range m.FaceCount() {
		t := m.Triangles[3*f : 3*f+3 : 3*f+3]
		a, b, c := m.Positions[3*t[0]:3*t[0]+3], m.Positions[3*t[1]:3*t[1]+3], m.Positions[3*t[2]:3*t[2]+3]
		ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
		vx, vy, vz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
		x, y, z := uy*vz-uz*vy, uz*vx-ux*vz, ux*vy-uy*vx
		if s := x + y + z; s-s != 0 {
			continue // a corner that is no number would spoil its neighbours
		}
		for _, k := range t {
			o := sums[3*w.Of[k] : 3*w.Of[k]+3 : 3*w.Of[k]+3]
			o[0] += x
			o[1] += y
			o[2] += z
		}
	}
	return sums
}

// slots is the number of triangle places in a cluster: the triangle's number
// divided by it is its cluster.
const (
	slotBits = 7
	slots    = 1 << slotBits
)

// level is one resolution of a body.
type level struct {
	clusters []clusterInfo
	xyz      []float32 // 3 per cluster vertex, as in the mesh, about its origin
	vertex   []uint32  // the mesh vertex behind each cluster vertex
	normal   []uint32  // packed smooth normal of each cluster vertex
	corner   []uint8   // 3 cluster vertices per slot
	flat     []uint32  // packed face normal per slot
	face     []uint32  // mesh face per slot
	drawn    int       // triangles that are not empty slots
	proxy    bool
	tint     atomic.Pointer[[]uint32] // one colour per slot for moving pictures: R, G<<8, B<<16
}

// clusterInfo is what is asked of a cluster before its triangles are looked at.
type clusterInfo struct {
	centre   [3]float32
	radius   float32
	axis     [3]float32 // mean normal
	cone     float32    // sine of the cone's half angle; 2 when the cone says nothing
	first    uint32     // first cluster vertex
	vertices uint16
	used     uint8 // triangles
}

// newLevel cuts the faces, in the order given, into clusters of slots triangles, or
// half as many where they have too many corners. It keeps order. With facets the
// normals of faces are kept too.
func newLevel(m *mesh.Mesh, order, normals []uint32, facets bool) *level {
	starts := make([]uint32, 0, len(order)/slots+2) // of the clusters in order
	for at := 0; at < len(order); at += slots {
		starts = append(starts, uint32(at))
	}
	starts = append(starts, uint32(len(order)))
	l := &level{drawn: len(order)}
	counts := l.number(m, order, starts)
	if slices.ContainsFunc(counts, func(n uint16) bool { return n > maxVertices }) {
		var halved []uint32
		for i, n := range counts {
			halved = append(halved, starts[i])
			if n > maxVertices {
				halved = append(halved, starts[i]+slots/2)
			}
		}
		starts = append(halved, uint32(len(order)))
		counts = l.number(m, order, starts)
	}
	total := uint32(0)
	for i := range l.clusters {
		c := &l.clusters[i]
		c.first, c.vertices, c.used = total, counts[i], uint8(starts[i+1]-starts[i])
		total += uint32(counts[i])
	}
	if places := slots * len(l.clusters); cap(order) >= places && places < len(order)+slots { // all are full
		l.face = order[:places]
		clear(l.face[len(order):])
	} else {
		l.face = make([]uint32, places)
		for i := range l.clusters {
			copy(l.face[slots*i:], order[starts[i]:starts[i+1]])
		}
	}
	l.vertex = make([]uint32, total)
	l.xyz = make([]float32, 3*total)
	l.normal = make([]uint32, total)
	if facets {
		l.flat = make([]uint32, len(l.face))
	}
	l.each(func(i int) {
		c := &l.clusters[i]
		for s := range int(c.used) {
			at := slots*i + s
			f := l.face[at]
			for k := range 3 {
				l.vertex[c.first+uint32(l.corner[3*at+k])] = m.Triangles[3*int(f)+k]
			}
		}
		l.finish(m, normals, i)
	})
	return l
}

// maxVertices is how many vertices a cluster may have.
const maxVertices = 256

// each calls do for every cluster, several at once.
func (l *level) each(do func(i int)) {
	const block = 64
	n := len(l.clusters)
	_ = mesh.Parallel(context.Background(), (n+block-1)/block, func(b int) {
		for i := b * block; i < min(n, (b+1)*block); i++ {
			do(i)
		}
	})
}

// number gives the vertices of each cluster numbers of its own, in order of their
// first use, and returns how many each has. Corners of clusters that have more than
// maxVertices are of no use.
func (l *level) number(m *mesh.Mesh, order, starts []uint32) []uint16 {
	l.clusters = make([]clusterInfo, len(starts)-1)
	l.corner = make([]uint8, 3*slots*len(l.clusters))
	counts := make([]uint16, len(l.clusters))
	l.each(func(i int) {
		// Open addressing; a place holds 1 + the vertex.
		var table [1024]uint32
		var numbers [1024]uint16
		n := uint16(0)
		for s, f := range order[starts[i]:starts[i+1]] {
			t := m.Triangles[3*int(f) : 3*int(f)+3 : 3*int(f)+3]
			for k, v := range t {
				at := v * 0x9E3779B1 >> 22
				for table[at] != v+1 && table[at] != 0 {
					at = (at + 1) & 1023
				}
				if table[at] == 0 {
					table[at], numbers[at] = v+1, n
					n++
				}
				l.corner[3*(slots*i+s)+k] = uint8(numbers[at])
			}
		}
		counts[i] = n
	})
	return counts
}

// finish fills in what a cluster's triangles determine.
func (l *level) finish(m *mesh.Mesh, normals []uint32, i int) {
	c := &l.clusters[i]
	lo := [3]float32{math.MaxFloat32, math.MaxFloat32, math.MaxFloat32}
	hi := [3]float32{-math.MaxFloat32, -math.MaxFloat32, -math.MaxFloat32}
	for v := int(c.first); v < int(c.first)+int(c.vertices); v++ {
		p := m.Positions[3*l.vertex[v] : 3*l.vertex[v]+3 : 3*l.vertex[v]+3]
		copy(l.xyz[3*v:], p)
		l.normal[v] = normals[l.vertex[v]]
		for k := range 3 {
			lo[k], hi[k] = min(lo[k], p[k]), max(hi[k], p[k])
		}
	}
	var r2 float64
	for k := range 3 {
		c.centre[k] = lo[k] + (hi[k]-lo[k])/2
	}
	for v := int(c.first); v < int(c.first)+int(c.vertices); v++ {
		var d2 float64
		for k := range 3 {
			d := float64(l.xyz[3*v+k]) - float64(c.centre[k])
			d2 += d * d
		}
		r2 = max(r2, d2)
	}
	c.radius = float32(math.Sqrt(r2) * (1 + 1e-6))

	var sum r3.Vec
	var unit [slots]r3.Vec
	for s := range int(c.used) {
		n := l.cross(i, s)
		length := math.Sqrt(r3.Norm2(n)) // float32 coordinates cannot overflow it
		if length > 0 {
			unit[s] = r3.Scale(1/length, n)
			sum = r3.Add(sum, unit[s])
		}
		if l.flat != nil {
			l.flat[i*slots+s] = mesh.PackNormal(n.X, n.Y, n.Z)
		}
	}
	c.cone = 2
	length := r3.Norm(sum)
	if length == 0 {
		return
	}
	axis := r3.Scale(1/length, sum)
	cos := 1.0
	for s := range int(c.used) {
		if unit[s] != (r3.Vec{}) {
			cos = min(cos, r3.Dot(axis, unit[s]))
		}
	}
	c.axis = [3]float32{float32(axis.X), float32(axis.Y), float32(axis.Z)}
	if cos > 0.05 {
		c.cone = float32(math.Sqrt(1 - cos*cos))
	}
}

// cross is twice the area vector of a slot.
// facet is the normal of a face, times 511; where none are kept it is found anew, to
// the same bits.
func (l *level) facet(at uint32) (x, y, z float32) {
	if l.flat != nil {
		return mesh.UnpackNormal(l.flat[at])
	}
	n := l.cross(int(at)/slots, int(at)%slots)
	return mesh.UnpackNormal(mesh.PackNormal(n.X, n.Y, n.Z))
}

func (l *level) cross(cluster, slot int) r3.Vec {
	a, b, c := l.corners(uint32(cluster*slots + slot))
	return r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
}

// corners returns the corner points of a slot about the mesh's origin.
func (l *level) corners(id uint32) (a, b, c r3.Vec) {
	i, j, k := l.places(id)
	at := func(v int) r3.Vec {
		p := l.xyz[3*v : 3*v+3 : 3*v+3]
		return r3.Vec{X: float64(p[0]), Y: float64(p[1]), Z: float64(p[2])}
	}
	return at(i), at(j), at(k)
}

// places returns the cluster vertices of a slot.
func (l *level) places(id uint32) (i, j, k int) {
	first := int(l.clusters[id>>slotBits].first)
	t := l.corner[3*int(id) : 3*int(id)+3 : 3*int(id)+3]
	return first + int(t[0]), first + int(t[1]), first + int(t[2])
}
