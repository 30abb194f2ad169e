package stl

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh"
	"rigatino/mesh/numeral"
)

// Options says how to read.
type Options struct {
	// Factor multiplies all coordinates before they are rounded to float32;
	// 0 means 1, the file's own unit.
	Factor float64
	// Progress, if not nil, is told how far reading is (0 to 1).
	Progress func(done float64, words string)
}

// File is what an STL file holds.
type File struct {
	Mesh     *mesh.Mesh
	Findings []mesh.Finding
}

// reader holds the state of one Read.
type reader struct {
	ctx       context.Context
	opt       Options
	data      []byte
	file      *File
	weld      welder
	triangles []uint32
}

// Read reads the STL in data. name is the file's name for errors.
func Read(ctx context.Context, name string, data []byte, opt Options) (*File, error) {
	r := &reader{ctx: ctx, opt: opt, data: data, file: &File{Mesh: &mesh.Mesh{}}}
	if r.opt.Factor == 0 {
		r.opt.Factor = 1
	}
	if err := r.read(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return r.file, nil
}

func (r *reader) read() error {
	form := kindOf(r.data)
	if form == neither && bytes.HasPrefix(r.data, []byte("solid")) {
		form = text // what there is of one
	}
	var err error
	if form == text {
		err = r.text()
	} else {
		err = r.binary()
	}
	if err != nil {
		return err
	}
	if len(r.triangles) == 0 {
		return errors.New("the file holds no triangles; save the scan again in the program it came from")
	}
	return r.finish()
}

// step is called before triangle i now and then.
func (r *reader) step(i int, done float64) error {
	if i%(1<<15) != 0 {
		return nil
	}
	if r.opt.Progress != nil {
		r.opt.Progress(0.9*done, "reading triangles")
	}
	return r.ctx.Err()
}

// corner welds a corner of triangle i.
func (r *reader) corner(p r3.Vec) bool {
	if r.opt.Factor*max(math.Abs(p.X), math.Abs(p.Y), math.Abs(p.Z)) <= math.MaxFloat32 {
		r.triangles = append(r.triangles, r.weld.add(p))
		return true
	}
	return false // also for what is not a number
}

func (r *reader) binary() error {
	if len(r.data) < headerBytes {
		return damaged("the header", "breaks off after %d of %d bytes", len(r.data), headerBytes)
	}
	n, rest := count(r.data), len(r.data)-headerBytes
	if n > int64(rest/facetBytes) {
		return damaged("the file", "should have %d triangles and ends after %d", n, rest/facetBytes)
	}
	if n > math.MaxInt32 {
		return fmt.Errorf("the file has %d triangles, more than the %d that are read; save the scan in parts", n, math.MaxInt32)
	}
	r.triangles = make([]uint32, 0, 3*n)
	attributes := 0
	for i := range int(n) {
		if err := r.step(i, float64(i)/float64(n)); err != nil {
			return err
		}
		f := r.data[headerBytes+facetBytes*i : headerBytes+facetBytes*(i+1)]
		for k := 12; k < 48; k += 12 {
			p := r3.Vec{X: float(f[k:]), Y: float(f[k+4:]), Z: float(f[k+8:])}
			if !r.corner(p) {
				return damaged(fmt.Sprintf("triangle %d (byte %d)", i, headerBytes+facetBytes*i), "has a corner at (%g, %g, %g), which is no place", p.X, p.Y, p.Z)
			}
		}
		if f[48]|f[49] != 0 {
			attributes++
		}
	}
	if attributes > 0 {
		r.note("stl_attributes_ignored", fmt.Sprintf("%d triangles carry two bytes of their own, which programs use for colours each in its own way; they are ignored", attributes))
	}
	if left := int64(rest) - facetBytes*n; left > 0 {
		r.note("stl_extra_bytes", fmt.Sprintf("%d bytes after the last triangle are ignored", left))
	}
	return nil
}

func float(p []byte) float64 {
	return float64(math.Float32frombits(binary.LittleEndian.Uint32(p)))
}

// finish makes the mesh.
func (r *reader) finish() error {
	m, places, f := r.file.Mesh, r.weld.places, r.opt.Factor
	r.weld.slots = nil
	m.Triangles = slices.Clip(r.triangles)
	m.Materials = []mesh.Material{{BaseColour: [4]float32{1, 1, 1, 1}, Image: -1, DoubleSided: true}}
	m.Origin = mesh.ChooseOrigin(len(m.Triangles), func(i int) r3.Vec { return r3.Scale(f, places[m.Triangles[i]]) })
	m.Positions = make([]float32, 3*len(places))
	const block = 1 << 16
	return mesh.Parallel(r.ctx, (len(places)+block-1)/block, func(b int) {
		for i := b * block; i < min(len(places), (b+1)*block); i++ {
			p := r3.Sub(r3.Scale(f, places[i]), m.Origin)
			m.Positions[3*i], m.Positions[3*i+1], m.Positions[3*i+2] = float32(p.X), float32(p.Y), float32(p.Z)
		}
	})
}

func (r *reader) note(id, reason string) {
	r.file.Findings = append(r.file.Findings, mesh.Finding{ID: id, Severity: mesh.Note, Reason: reason, WayOut: mesh.NothingToDo})
}

// scanner goes through the words of the text form.
type scanner struct {
	data []byte
	at   int
}

// where names the line of the next word.
func (s *scanner) where() string {
	at := numeral.Skip(s.data, s.at)
	return fmt.Sprintf("line %d", 1+bytes.Count(s.data[:min(at, len(s.data))], []byte("\n")))
}

// word returns the next word, nil at the end.
func (s *scanner) word() []byte {
	begin := numeral.Skip(s.data, s.at)
	s.at = numeral.Word(s.data, begin)
	return s.data[begin:s.at]
}

// is reads the next word if it is the given one, in any case.
func (s *scanner) is(want string) bool {
	begin := numeral.Skip(s.data, s.at)
	end := begin + len(want)
	if end > len(s.data) || end < len(s.data) && s.data[end] > ' ' {
		return false
	}
	if got := s.data[begin:end]; string(got) != want && !bytes.EqualFold(got, []byte(want)) {
		return false
	}
	s.at = end
	return true
}

// must is is, or an error.
func (s *scanner) must(want string) error {
	if s.is(want) {
		return nil
	}
	where, got := s.where(), s.word()
	if len(got) == 0 {
		return damaged(where, "breaks off where %q should be", want)
	}
	return damaged(where, "has %q where %q should be", clip(got), want)
}

// vector reads three numbers.
func (s *scanner) vector() (r3.Vec, error) {
	var x [3]float64
	for k := range x {
		begin := numeral.Skip(s.data, s.at)
		var ok bool
		if x[k], s.at, ok = numeral.Float(s.data, begin); !ok {
			s.at = begin
			where, got := s.where(), s.word()
			if len(got) == 0 {
				return r3.Vec{}, damaged(where, "breaks off where a number should be")
			}
			return r3.Vec{}, damaged(where, "has %q where a number should be", clip(got))
		}
	}
	return r3.Vec{X: x[0], Y: x[1], Z: x[2]}, nil
}

// name skips the name behind solid and endsolid: the rest of the line, or of a
// file that is one line what comes before its first triangle.
func (s *scanner) name() {
	rest := s.data[s.at:]
	if i := bytes.IndexAny(rest, "\r\n"); i >= 0 {
		rest = rest[:i]
	}
	// Only the beginning, so that a file of one line is not looked through again
	// and again.
	lower := bytes.ToLower(rest[:min(len(rest), 4096)])
	if i := bytes.Index(lower, []byte("facet normal")); i >= 0 {
		rest = rest[:i]
	}
	s.at += len(rest)
}

// clip shortens what is shown of a broken file.
func clip(word []byte) string {
	if len(word) > 24 {
		return string(word[:24]) + "…"
	}
	return string(word)
}

func (r *reader) text() error {
	s := &scanner{data: bytes.TrimPrefix(r.data, []byte("\xef\xbb\xbf"))}
	for s.is("solid") {
		s.name()
		for {
			if err := r.step(len(r.triangles)/3, float64(s.at)/float64(len(r.data))); err != nil {
				return err
			}
			if s.is("endsolid") {
				s.name()
				break
			}
			if err := r.facet(s); err != nil {
				return err
			}
		}
	}
	if left := len(s.data) - numeral.Skip(s.data, s.at); left > 0 {
		r.note("stl_extra_bytes", fmt.Sprintf("%d bytes after the last solid are ignored", left))
	}
	return nil
}

// facet reads one triangle.
func (r *reader) facet(s *scanner) error {
	if !s.is("facet") {
		return s.must("endsolid") // what ends a solid is what can be missing here
	}
	if err := s.must("normal"); err != nil {
		return err
	}
	if _, err := s.vector(); err != nil {
		return err
	}
	for _, word := range []string{"outer", "loop"} {
		if err := s.must(word); err != nil {
			return err
		}
	}
	for range 3 {
		if err := s.must("vertex"); err != nil {
			return err
		}
		here := s.at
		p, err := s.vector()
		if err != nil {
			return err
		}
		if !r.corner(p) {
			s.at = here
			return damaged(s.where(), "has a corner at (%g, %g, %g), which is no place", p.X, p.Y, p.Z)
		}
	}
	if err := s.must("endloop"); err != nil {
		return err
	}
	return s.must("endfacet")
}
