package facemap

import (
	"bytes"
	"encoding/binary"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"rigatino/mesh/solid"
)

const someScan = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"

// marked returns a small map that has something of everything.
func marked(t testing.TB) *Map {
	t.Helper()
	s := NewSurface(solid.Icosphere(3, 25))
	m, err := New(someScan, s.Mesh.FaceCount())
	if err != nil {
		t.Fatal(err)
	}
	stroke := func(p r3.Vec, r float64, levels uint8, paint Paint) {
		t.Helper()
		place, _, _ := s.Locate(p)
		must(t)(m.Stroke(s, place, Brush{RadiusMM: r, Levels: levels}, paint))
	}
	stroke(r3.Vec{X: 25}, 9, 2, Paint{Region: 1})
	stroke(r3.Vec{X: 20, Y: 9}, 6, 3, Paint{Region: 7, Layer: Applied})
	stroke(r3.Vec{X: 20, Y: -9}, 8, 1, Paint{Region: 5, Layer: Applied})
	stroke(r3.Vec{X: 24, Y: -3}, 7, 3, Paint{Region: 6, Layer: Condition})
	stroke(r3.Vec{Y: 25}, 5, 0, Paint{Region: 2})
	if _, err := m.CountElsewhere([]uint32{3, 4, 5, 900}); err != nil {
		t.Fatal(err)
	}
	return m
}

// failer is what testing.TB and rapid.T share.
type failer interface {
	Helper()
	Fatal(args ...any)
}

func encode(t failer, m *Map) []byte {
	t.Helper()
	data, err := m.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestRoundTrip(t *testing.T) {
	m := marked(t)
	if len(m.SplitFaces()) < 20 || len(m.OverlayRegions()) != 3 {
		t.Fatalf("the example is too plain: %d split faces, %d regions", len(m.SplitFaces()), len(m.OverlayRegions()))
	}
	data := encode(t, m)
	back, err := Decode(data)
	if err != nil {
		t.Fatal(err)
	}
	if back.ScanID() != someScan || back.FaceCount() != m.FaceCount() || back.ElsewhereCount() != 4 {
		t.Errorf("scan %s, %d faces, %d elsewhere", back.ScanID(), back.FaceCount(), back.ElsewhereCount())
	}
	if !bytes.Equal(encode(t, back), data) {
		t.Error("written again it has other bytes")
	}
	if name := FileName(data); len(name) != 64+len(".bin") || name == FileName(data[1:]) {
		t.Errorf("file name %q", name)
	}
}

func TestDecodeRefusesTruncations(t *testing.T) {
	data := encode(t, marked(t))
	for n := range data {
		if _, err := Decode(data[:n]); err == nil {
			t.Fatalf("the first %d of %d bytes were taken for a map", n, len(data))
		}
	}
}

func TestDecodeRefusesExtraBytes(t *testing.T) {
	data := encode(t, marked(t))
	if _, err := Decode(append(data, 0)); err == nil || !strings.Contains(err.Error(), "1 bytes follow") {
		t.Errorf("one byte more: %v", err)
	}
}

func TestDecodeRefusesABadHeader(t *testing.T) {
	data := encode(t, marked(t))
	for at := range len(magic) {
		bad := bytes.Clone(data)
		bad[at] ^= 1
		if _, err := Decode(bad); err == nil || !strings.Contains(err.Error(), "no map file") {
			t.Errorf("byte %d of the magic changed: %v", at, err)
		}
	}
	// Counts that the file cannot hold are refused before memory is taken.
	for field := range 5 {
		bad := bytes.Clone(data)
		binary.LittleEndian.PutUint32(bad[len(magic)+4+32+4*field:], 0xFFFFFFF0)
		if _, err := Decode(bad); err == nil {
			t.Errorf("count %d of four thousand million was believed", field)
		}
	}
}

func TestDecodeRefusesAnUnknownVersion(t *testing.T) {
	data := encode(t, marked(t))
	binary.LittleEndian.PutUint32(data[len(magic):], fileVersion+1)
	if _, err := Decode(data); err == nil || !strings.Contains(err.Error(), "version 2") {
		t.Errorf("version 2: %v", err)
	}
}

func FuzzDecode(f *testing.F) {
	s := NewSurface(solid.Icosphere(0, 25))
	small := newMap(f, s)
	place, _, _ := s.Locate(r3.Vec{X: 25})
	for region, layer := range []Layer{Substance, Applied, Condition, Applied} {
		must(f)(small.Stroke(s, place, Brush{RadiusMM: 8 + 2*float64(region), Levels: 1}, Paint{Layer: layer, Region: uint16(region + 1)}))
	}
	data := encode(f, small)
	f.Add(data)
	f.Add(data[:len(data)-7])
	empty, err := New("", 3)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(encode(f, empty))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Decode(data)
		if err != nil {
			return
		}
		if again := encode(t, m); !bytes.Equal(again, data) {
			t.Errorf("a file that was taken is written differently: %x\n%x", data, again)
		}
	})
}

func FuzzDiff(f *testing.F) {
	f.Add([]byte("AQAAAAA="))
	s := NewSurface(solid.Icosphere(2, 25))
	m := newMap(f, s)
	place, _, _ := s.Locate(r3.Vec{X: 25})
	text, err := must(f)(m.Stroke(s, place, Brush{RadiusMM: 12, Levels: 2}, Paint{Region: 3, Layer: Condition})).Diff.MarshalText()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Fuzz(func(t *testing.T, text []byte) {
		var d Diff
		if d.UnmarshalText(text) != nil {
			return
		}
		clean := newMap(t, s)
		before := encode(t, clean)
		if clean.Apply(d) != nil {
			if !bytes.Equal(encode(t, clean), before) {
				t.Error("a change that was refused has changed something")
			}
		}
	})
}

// randomEdit makes one operation of any kind.
func randomEdit(t *rapid.T, s *Surface, m *Map) Diff {
	place, _, _ := s.Locate(r3.Vec{
		X: rapid.Float64Range(-25, 25).Draw(t, "x"), Y: rapid.Float64Range(-25, 25).Draw(t, "y"), Z: rapid.Float64Range(-25, 25).Draw(t, "z"),
	})
	b := Brush{RadiusMM: rapid.Float64Range(0.1, 20).Draw(t, "radius"), Levels: rapid.Uint8Range(0, 3).Draw(t, "levels")}
	var p Paint
	switch n := rapid.Uint16Range(0, 9).Draw(t, "region"); {
	case n < 4:
		p = Paint{Region: n, Drop: []uint16{8, 9}}
	case n < 8:
		p = Paint{Layer: Applied, Region: n, Erase: rapid.Bool().Draw(t, "erase")}
	default:
		p = Paint{Layer: Condition, Region: n, Only: func(sub uint16) bool { return sub == 1 }}
	}
	var d Diff
	switch rapid.IntRange(0, 5).Draw(t, "kind") {
	case 0:
		faces := rapid.SliceOfN(rapid.Uint32Range(0, uint32(m.FaceCount()-1)), 0, 40).Draw(t, "faces")
		d = must(t)(m.AssignFaces(faces, p)).Diff
	case 1:
		d = must(t)(m.Rest(rapid.Uint16Range(1, 3).Draw(t, "rest"))).Diff
	case 2:
		var err error
		d, err = m.CountElsewhere(rapid.SliceOfN(rapid.Uint32Range(0, uint32(m.FaceCount()-1)), 0, 40).Draw(t, "faces"))
		if err != nil {
			t.Fatal(err)
		}
	default:
		d = must(t)(m.Stroke(s, place, b, p)).Diff
	}
	return d
}

// Any row of operations: the diffs undone one by one, or joined and undone at
// once, give back the identical bytes; redone they lead to the same map; text
// and file forms lose nothing.
func TestDiffsAreInvertible(t *testing.T) {
	s := NewSurface(solid.Icosphere(2, 25))
	rapid.Check(t, func(t *rapid.T) {
		m, _ := New(someScan, s.Mesh.FaceCount())
		states := [][]byte{encode(t, m)}
		var diffs []Diff
		for range rapid.IntRange(1, 8).Draw(t, "steps") {
			diffs = append(diffs, randomEdit(t, s, m))
			states = append(states, encode(t, m))
		}
		last := states[len(states)-1]
		if back, err := Decode(last); err != nil || !bytes.Equal(encode(t, back), last) {
			t.Fatalf("the file form loses something: %v", err)
		}
		for i := len(diffs) - 1; i >= 0; i-- {
			if err := m.Apply(diffs[i].Inverse()); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(encode(t, m), states[i]) {
				t.Fatalf("undoing step %d does not give the bytes before it", i)
			}
		}
		text, err := Join(diffs...).MarshalText()
		if err != nil {
			t.Fatal(err)
		}
		var all Diff
		if err := all.UnmarshalText(text); err != nil {
			t.Fatal(err)
		}
		if err := m.Apply(all); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(encode(t, m), last) {
			t.Fatal("the joined diff leads elsewhere")
		}
		if err := m.Apply(all.Inverse()); err != nil || !bytes.Equal(encode(t, m), states[0]) {
			t.Fatalf("the joined diff is not undone: %v", err)
		}
	})
}

func TestApplyRefusesWhatDoesNotFit(t *testing.T) {
	m := marked(t)
	before := encode(t, m)
	d := must(t)(m.Rest(4)).Diff
	after := encode(t, m)
	if err := m.Apply(d); err == nil {
		t.Error("the same change went through twice")
	}
	if !bytes.Equal(encode(t, m), after) {
		t.Error("the change that was refused left traces")
	}
	if err := m.Apply(d.Inverse()); err != nil || !bytes.Equal(encode(t, m), before) {
		t.Errorf("not undone: %v", err)
	}
}

// Cells against the definition: corners halve, every cell has 1/4^level of the
// area, and the cell found for a place holds that place.
func TestCellsOfAFace(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for level := uint8(0); level <= MaxLevel; level++ {
		for cell := range Cells(level) {
			c := CellCorners(level, cell)
			det := c[0][0]*(c[1][1]*c[2][2]-c[1][2]*c[2][1]) - c[0][1]*(c[1][0]*c[2][2]-c[1][2]*c[2][0]) + c[0][2]*(c[1][0]*c[2][1]-c[1][1]*c[2][0])
			if want := 1 / float64(Cells(level)); det != want {
				t.Errorf("level %d cell %d has share %g with sign, want %g", level, cell, det, want)
			}
			if got := CellAt(level, centreOf(0, level, cell).Weights); got != cell {
				t.Errorf("level %d: the middle of cell %d is found in cell %d", level, cell, got)
			}
			a := random.Float64()
			b := (1 - a) * random.Float64()
			var p [3]float64
			for k := range 3 {
				p[k] = a*c[0][k] + b*c[1][k] + (1-a-b)*c[2][k]
			}
			if got := CellAt(level, p); got != cell {
				t.Errorf("level %d: a place in cell %d is found in cell %d", level, cell, got)
			}
		}
	}
}

func TestPaintIsChecked(t *testing.T) {
	m := marked(t)
	for name, p := range map[string]Paint{
		"no layer":            {Layer: 3, Region: 1},
		"no region":           {Layer: Applied},
		"erase nothing":       {Erase: true},
		"region twice":        {Layer: Condition, Region: 5},
		"substance of region": {Region: 7},
	} {
		if _, err := m.AssignFaces([]uint32{1}, p); err == nil {
			t.Errorf("%s: %+v was accepted", name, p)
		}
	}
	if _, err := m.AssignFaces([]uint32{1280}, Paint{Region: 1}); err == nil {
		t.Error("face 1280 of 1280 was accepted")
	}
}

// A condition asked for on one substance only does not reach over to another,
// cell by cell.
func TestOnlyAndDrop(t *testing.T) {
	s := NewSurface(solid.Icosphere(3, 25))
	m := newMap(t, s)
	place := at(t, s, r3.Vec{X: 25})
	must(t)(m.Stroke(s, place, Brush{RadiusMM: 10, Levels: 3}, Paint{Region: 1}))
	bone := areaOf(s, m, 1)
	out := must(t)(m.Stroke(s, place, Brush{RadiusMM: 20, Levels: 3}, Paint{Layer: Condition, Region: 9, Only: func(sub uint16) bool { return sub == 1 }}))
	if out.Skipped == 0 {
		t.Error("nothing is said to be skipped")
	}
	near(t, "condition on region 1 only", areaOf(s, m, 9), bone, 1e-12)
	must(t)(m.Stroke(s, place, Brush{RadiusMM: 20}, Paint{Region: 2, Drop: []uint16{9}}))
	if got := areaOf(s, m, 9); got != 0 {
		t.Errorf("%g mm² of the condition are left on what became region 2", got)
	}
}
