package propose

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"testing"

	"rigatino/mesh"
	"rigatino/mesh/change"
	"rigatino/mesh/colour"
	"rigatino/mesh/frame"
	"rigatino/mesh/solid"
)

// pictured is a square of 50 mm with a picture laid on it: left half one colour,
// right half another, as glTF places pictures (v downwards from the top).
func pictured(t *testing.T, left, right color.RGBA) *mesh.Mesh {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, 64, 32))
	for x := range 64 {
		for y := range 32 {
			img.Set(x, y, map[bool]color.RGBA{true: left, false: right}[x < 32])
		}
	}
	var data bytes.Buffer
	if err := png.Encode(&data, img); err != nil {
		t.Fatal(err)
	}
	m := solid.Plane(50, 10)
	for i := range m.VertexCount() {
		v := m.Vertex(uint32(i))
		m.UVs = append(m.UVs, float32(v.X/50+0.5), float32(0.5-v.Y/50))
	}
	m.Materials = []mesh.Material{{BaseColour: [4]float32{1, 1, 1, 1}}}
	m.Images = []mesh.Image{{Name: "skin", MIME: "image/png", Data: data.Bytes()}}
	return m
}

// Colours come from the picture where there is one, averaged over about an edge;
// from the vertices first where they carry any; and a picture that cannot be read
// gives none, which is not an error (IEC 61966-2-1 for the transfer curve).
func TestColoursOfScans(t *testing.T) {
	brown, grey := color.RGBA{118, 84, 58, 255}, color.RGBA{176, 171, 158, 255}
	m := pictured(t, brown, grey)
	side := func(m *mesh.Mesh) *change.Side {
		c, err := change.Compare(t.Context(), m, m, frame.Identity(), change.Options{})
		if err != nil {
			t.Fatal(err)
		}
		return c.After
	}
	s := side(m)
	got := linearColours(m, s)
	if got == nil {
		t.Fatal("no colours from a picture")
	}
	for v, c := range got {
		want := colour.FromRGB(brown.R, brown.G, brown.B)
		x := s.Vertex(uint32(v)).X
		if x > 0 {
			want = colour.FromRGB(grey.R, grey.G, grey.B)
		}
		if math.Abs(x) < 6 {
			continue // averaged over both
		}
		if math.Abs(c.R-want.R)+math.Abs(c.G-want.G)+math.Abs(c.B-want.B) > 1e-9 {
			t.Fatalf("at x = %.1f the colour is %v, wanted %v", x, c, want)
		}
	}
	m.Images[0].Data = m.Images[0].Data[:40]
	if linearColours(m, s) != nil {
		t.Error("colours from a picture that cannot be read")
	}
	for range m.VertexCount() {
		m.Colours = append(m.Colours, 10, 20, 30, 255)
	}
	if got = linearColours(m, s); got == nil || got[0] != colour.FromRGB(10, 20, 30) {
		t.Error("the vertices' own colours were not taken")
	}
	plain := solid.Plane(50, 10)
	if linearColours(plain, side(plain)) != nil {
		t.Error("colours of a scan that has none")
	}
}
