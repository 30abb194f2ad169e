package tool

import (
	"context"
	"fmt"
	"image"
	"os"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/annotate/handover/picture"
	"rigatino/mesh"
	"rigatino/mesh/render"
	"rigatino/mesh/solid"
)

// BenchmarkDab is a stroke of 100 dabs of a brush of 10 mm radius with what the
// window does for each: the place under the pointer, the faces that are seen and
// hang together, the map, the looks, and the pixels coloured anew with the
// brush's ring. It reports the median and the slowest dab, and what undoing the
// stroke takes. RIGATINO_PROVE=1 takes 5.2 million faces.
func BenchmarkDab(b *testing.B) {
	level := 8
	if os.Getenv("RIGATINO_PROVE") == "1" {
		level = 9
	}
	const big, w, h = 100.0, 1280, 800
	m := solid.Icosphere(level, big)
	s := facemap.NewSurface(m)
	s.Ready()
	body, err := render.Prepare(context.Background(), m, render.Options{Weld: s.Weld, Topology: s.Topology})
	if err != nil {
		b.Fatal(err)
	}
	labels, err := facemap.New("", m.FaceCount())
	if err != nil {
		b.Fatal(err)
	}
	regions := []annotate.Region{{ID: "R1", Number: 1, Layer: "substance", Kind: "fill", Certainty: "seen"}}
	looks := picture.NewLooks(labels, regions, picture.MapOnSurface, 4)
	scene := render.Scene{
		Camera: render.LookFrom(r3.Vec{Z: 1}, r3.Vec{Y: 1}).Whole(r3.Vec{}, big, w, h),
		Bodies: []render.Placed{{Body: body, Marks: looks.Marks()}},
	}
	r := render.NewRenderer(0)
	defer r.Close()
	f := render.NewFrame(w, h)
	if err := r.Draw(context.Background(), f, &scene, render.Settled); err != nil {
		b.Fatal(err)
	}
	b.Run(fmt.Sprintf("%dk", m.FaceCount()/1000), func(b *testing.B) {
		for b.Loop() {
			brush := facemap.Brush{RadiusMM: 10, TurnDeg: 50, Sight: s.NewSight(scene.Camera.Eye())}
			var took []time.Duration
			var diffs []facemap.Diff
			var last *mesh.SurfacePoint
			for i := range 100 {
				start := time.Now()
				x, y := 450+4*float64(i), 380+30*float64(i%10)/10
				p, ok := f.Pick(x, y)
				if !ok {
					b.Fatal("the pointer is beside the specimen")
				}
				path := []mesh.SurfacePoint{p.Place}
				if last != nil {
					path = []mesh.SurfacePoint{*last, p.Place}
				}
				last = &p.Place
				out, err := labels.StrokePath(s, path, brush, facemap.Paint{Region: 1})
				if err != nil {
					b.Fatal(err)
				}
				looks.Update(out.Diff.Faces(), regions)
				var dirty image.Rectangle
				if scene.Ring != nil {
					dirty = f.RingRect(scene.Ring)
				}
				scene.Ring = &render.Ring{Centre: p.Point, RadiusMM: 10}
				scene.Bodies[0].Marks = looks.Marks()
				f.Reshade(&scene, dirty.Union(f.RingRect(scene.Ring)))
				took = append(took, time.Since(start))
				diffs = append(diffs, out.Diff)
			}
			all := facemap.Join(diffs...)
			start := time.Now()
			if err := labels.Apply(all.Inverse()); err != nil {
				b.Fatal(err)
			}
			looks.Update(all.Faces(), regions)
			undo := time.Since(start)
			slices.Sort(took)
			b.ReportMetric(float64(took[50].Microseconds())/1000, "ms/dab")
			b.ReportMetric(float64(took[99].Microseconds())/1000, "ms/slowest")
			b.ReportMetric(float64(undo.Microseconds())/1000, "ms/undo")
			b.ReportMetric(float64(len(all.Faces())), "faces")
		}
	})
}
