package render

import (
	"bytes"
	"context"
	"image/color"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
)

// prepared returns the body of a mesh; solid tells the renderer about its
// topology, so that faces that look away are left out.
func prepared(t testing.TB, m *mesh.Mesh, solid bool) *Body {
	t.Helper()
	var opt Options
	if solid {
		opt.Weld = mesh.NewWeld(m)
		opt.Topology = mesh.NewTopology(m, opt.Weld)
	}
	b, err := Prepare(context.Background(), m, opt)
	if err != nil {
		t.Fatal(err)
	}
	if solid && !b.solid {
		t.Fatal("the body is not closed")
	}
	return b
}

func drawn(t testing.TB, s *Scene, w, h int, q Quality, threads int) *Frame {
	t.Helper()
	r := NewRenderer(threads)
	defer r.Close()
	f := NewFrame(w, h)
	if err := r.Draw(context.Background(), f, s, q); err != nil {
		t.Fatal(err)
	}
	return f
}

var grey = color.RGBA{128, 128, 128, 255}

// views to try things from: along axes, askew, from very near and very far.
func tryCameras(radius float64, w, h int) map[string]Camera {
	whole := func(back, up r3.Vec) Camera { return LookFrom(back, up).Whole(r3.Vec{}, radius, w, h) }
	askew := whole(r3.Vec{X: 0.3, Y: -0.5, Z: 0.8}, r3.Vec{Y: 1, Z: 0.2})
	flat := askew
	flat.Orthographic = true
	off := askew.Moved(0.4*radius, -0.3*radius).Nearer(1.7)
	wide := askew
	wide.FieldOfView = 1.9
	return map[string]Camera{
		"front":        whole(r3.Vec{Z: 1}, r3.Vec{Y: 1}),
		"askew":        askew,
		"orthographic": flat,
		"off axis":     off,
		"wide":         wide.Whole(r3.Vec{}, radius, w, h),
		"near":         askew.Nearer(2.2),
		"far":          askew.Nearer(0.05),
	}
}

// meets is the brute-force reference: the first face on a ray, by Möller and
// Trumbore's test over all faces in float64. margin is how far inside its
// triangle the place lies, as the least weight.
func meets(m *mesh.Mesh, from, dir r3.Vec, nearest float64) (face int, depth, margin float64) {
	face, depth = -1, math.Inf(1)
	for f := range m.FaceCount() {
		a, b, c := m.Corners(uint32(f))
		e1, e2 := r3.Sub(b, a), r3.Sub(c, a)
		p := r3.Cross(dir, e2)
		det := r3.Dot(e1, p)
		if det == 0 {
			continue
		}
		s := r3.Sub(from, a)
		u := r3.Dot(s, p) / det
		q := r3.Cross(s, e1)
		v := r3.Dot(dir, q) / det
		if u < 0 || v < 0 || u+v > 1 {
			continue
		}
		if t := r3.Dot(e2, q) / det; t >= nearest && t < depth {
			face, depth, margin = f, t, min(u, v, 1-u-v)
		}
	}
	return face, depth, margin
}

// sampleAt returns triangle and depth of a pixel; ok is false for background.
func (f *Frame) sampleAt(x, y int) (face uint32, depth float64, ok bool) {
	d := f.depth[y*f.vw+x]
	if d == 0 {
		return 0, 0, false
	}
	id := uint32(d)
	p := f.bodyOf(id)
	return p.level.face[id-p.base], float64(f.view.depthOf(math.Float32frombits(uint32(d >> 32)))), true
}

// same fails unless two frames hold the same picture.
func same(t *testing.T, what string, a, b *Frame) {
	t.Helper()
	if !bytes.Equal(a.Picture.Pix, b.Picture.Pix) {
		n := 0
		for i := range a.Picture.Pix {
			if a.Picture.Pix[i] != b.Picture.Pix[i] {
				n++
			}
		}
		t.Errorf("%s: pictures differ in %d of %d bytes", what, n, len(a.Picture.Pix))
	}
}
