package render

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/scan"
	"rigatino/testdata/outside"
)

// bumpy is a closed body about 180 mm long with relief at several scales and a
// colour per vertex, like a scanned bone; about n triangles in rows.
func bumpy(n int) *mesh.Mesh {
	rows := int(math.Sqrt(float64(n) / 4))
	cols := 2 * rows
	m := &mesh.Mesh{
		Positions: make([]float32, 0, 3*(rows*cols+2)), Triangles: make([]uint32, 0, 6*rows*cols),
		Colours: make([]uint8, 0, 4*(rows*cols+2)),
	}
	add := func(th, ph float64) {
		st, ct := math.Sincos(th)
		sp, cp := math.Sincos(ph)
		r := 1 + 0.06*math.Sin(5*ph+3*ct*4)*st + 0.02*math.Sin(23*ph+9*th)*math.Sin(31*th)*st + 0.0008*math.Sin(173*ph)*math.Sin(211*th)*st
		m.Positions = append(m.Positions, float32(90*r*ct), float32(35*r*st*cp), float32(28*r*st*sp))
		c := uint8(150 + 60*math.Sin(40*th)*math.Sin(30*ph))
		m.Colours = append(m.Colours, c, c-30, c-60, 255)
	}
	add(0, 0)
	for i := range rows {
		for j := range cols {
			add(math.Pi*float64(i+1)/float64(rows+1), 2*math.Pi*(float64(j)+0.5*float64(i%2))/float64(cols))
		}
	}
	add(math.Pi, 0)
	at := func(i, j int) uint32 { return uint32(1 + i*cols + j%cols) }
	last := uint32(1 + rows*cols)
	for j := range cols {
		m.Triangles = append(m.Triangles, 0, at(0, j), at(0, j+1), last, at(rows-1, j+1), at(rows-1, j))
		for i := range rows - 1 {
			a, b, c, d := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
			if i%2 == 1 {
				b, c = at(i+1, j+1), at(i+1, j+2)
				m.Triangles = append(m.Triangles, a, b, d, d, b, c)
				continue
			}
			m.Triangles = append(m.Triangles, a, b, c, a, c, d)
		}
	}
	return m
}

// sizes are the triangle counts to measure; the large ones with
// RIGATINO_PROVE=1 only.
func sizes() []int {
	if os.Getenv("RIGATINO_PROVE") == "1" {
		return []int{100_000, 1_000_000, 4_000_000, 10_000_000}
	}
	return []int{100_000, 1_000_000}
}

// benchMeshes are the meshes of the benchmarks of frames: bodies of our own, or the
// file that RIGATINO_BENCH_GLB names.
func benchMeshes(b *testing.B) (names []string, read []func() *mesh.Mesh) {
	if path := os.Getenv("RIGATINO_BENCH_GLB"); path != "" {
		return []string{filepath.Base(path)}, []func() *mesh.Mesh{func() *mesh.Mesh {
			s, err := scan.Open(context.Background(), path, scan.Options{})
			if err != nil {
				b.Fatal(err)
			}
			return s.Mesh
		}}
	}
	for _, n := range sizes() {
		names = append(names, fmt.Sprintf("%dk", n/1000))
		read = append(read, func() *mesh.Mesh { return bumpy(n) })
	}
	return names, read
}

// benchScene shows all of a mesh, or comes so many times nearer.
func benchScene(b *testing.B, m *mesh.Mesh, nearer float64) *Scene {
	w := mesh.NewWeld(m)
	body, err := Prepare(context.Background(), m, Options{Weld: w, Topology: mesh.NewTopology(m, w)})
	if err != nil {
		b.Fatal(err)
	}
	centre, radius := body.Sphere()
	return &Scene{
		Camera:     LookFrom(r3.Vec{X: 0.2, Y: 0.4, Z: 1}, r3.Vec{Y: 1}).Whole(centre, radius, 1280, 800).Nearer(nearer),
		Background: color.RGBA{228, 225, 218, 255}, Bodies: []Placed{{Body: body}},
	}
}

// BenchmarkFrame draws 1280 × 800 pixels of a body that fills most of them; whole
// is one that is held by its sphere, as outside programs show it, turned by 5
// degrees from frame to frame.
func BenchmarkFrame(b *testing.B) {
	names, read := benchMeshes(b)
	for i, name := range names {
		s := benchScene(b, read[i](), 1.5)
		r := NewRenderer(0)
		f := NewFrame(1280, 800)
		for _, q := range []struct {
			name    string
			quality Quality
			zoom    float64
			turn    float64
		}{
			{"moving", Moving, 1, 0.01}, {"settled", Settled, 1, 0.01}, {"moving-near", Moving, 6, 0.01}, {"settled-near", Settled, 6, 0.01}, {"fine", Fine, 1, 0.01},
			{"moving-whole", Moving, 1 / 1.5, math.Pi / 36}, {"settled-whole", Settled, 1 / 1.5, math.Pi / 36},
		} {
			b.Run(q.name+"/"+name, func(b *testing.B) {
				c := s.Camera
				s.Camera = c.Nearer(q.zoom)
				start := outside.ProcessorTime()
				for b.Loop() {
					s.Camera = s.Camera.Turned(q.turn, 0.002)
					if err := r.Draw(context.Background(), f, s, q.quality); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64((outside.ProcessorTime()-start).Microseconds())/1000/float64(b.N), "cpu-ms/op")
				s.Camera = c
			})
		}
		marks := &Marks{Faces: make([]uint16, s.Bodies[0].Body.mesh.FaceCount()), Looks: make([]Look, 2)}
		hatch := NewPattern(4, func(u, v float64) (bool, bool) { return math.Mod(u+v+4000, 2) < 0.6, false })
		marks.Looks[1] = Look{Paper: color.RGBA{230, 180, 80, 255}, Opacity: 0.8, Inks: []Ink{{Pattern: hatch}}, Edge: 1}
		for i := range marks.Faces {
			marks.Faces[i] = uint16(i / 5000 % 2)
		}
		s.Bodies[0].Marks = marks
		b.Run("settled-map/"+name, func(b *testing.B) {
			for b.Loop() {
				if err := r.Draw(context.Background(), f, s, Settled); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run("reshade-200px/"+name, func(b *testing.B) {
			for b.Loop() {
				f.Reshade(s, image.Rect(540, 300, 740, 500))
			}
		})
		r.Close()
	}
}

// BenchmarkPrepare sorts and clusters a mesh; bytes is what the body takes.
func BenchmarkPrepare(b *testing.B) {
	for _, n := range sizes() {
		m := bumpy(n)
		w := mesh.NewWeld(m)
		b.Run(fmt.Sprintf("%dk", n/1000), func(b *testing.B) {
			var before, after runtime.MemStats
			var body *Body
			for b.Loop() {
				body = nil
				runtime.GC()
				runtime.ReadMemStats(&before)
				var err error
				if body, err = Prepare(context.Background(), m, Options{Weld: w}); err != nil {
					b.Fatal(err)
				}
			}
			runtime.GC()
			runtime.ReadMemStats(&after)
			b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/float64(m.FaceCount()), "B/triangle")
			runtime.KeepAlive(body)
		})
	}
}
