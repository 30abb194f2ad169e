package obj

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"sync"

	"rigatino/mesh"
)

// Options says how to read.
type Options struct {
	// Resource returns the content of a material file or picture that the file
	// names, by a name inside the file's own folder, with slashes; an error
	// wrapping fs.ErrNotExist if it is missing. Without it all are taken as
	// missing.
	Resource func(name string) ([]byte, error)
	// Factor multiplies all coordinates before they are rounded to float32;
	// 0 means 1, the file's own unit.
	Factor float64
	// Progress, if not nil, is told how far reading is (0 to 1).
	Progress func(done float64, words string)
}

// File is what an OBJ file holds.
type File struct {
	Mesh *mesh.Mesh
	// Files lists all files that the OBJ and its material files name inside its
	// own folder, up to 1024, those included that nothing here looks at.
	Files    []string
	Findings []mesh.Finding
}

// reader holds the state of one Read.
type reader struct {
	ctx  context.Context
	opt  Options
	data []byte
	size int // of a block, in bytes
	file *File

	blocks []block
	base   []counts // what stands before each block, and all at the end
	place  []int32  // per corner of all faces: its vertex, texture coordinates, normal
	uv     []int32  // nil without any; none where one has not
	normal []int32

	materials []string       // names in order of first use
	images    map[string]int // place of each picture by name
}

// counts are numbers of what a file holds.
type counts struct{ vertices, uvs, normals, corners, faces, triangles int }

// Read reads the OBJ in data. name is the file's name for errors.
func Read(ctx context.Context, name string, data []byte, opt Options) (*File, error) {
	return readIn(ctx, name, data, opt, blockBytes)
}

// readIn is Read in blocks of a size.
func readIn(ctx context.Context, name string, data []byte, opt Options, size int) (*File, error) {
	r := &reader{ctx: ctx, opt: opt, data: data, size: size, file: &File{Mesh: &mesh.Mesh{}}}
	if r.opt.Factor == 0 {
		r.opt.Factor = 1
	}
	if err := r.read(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return r.file, nil
}

func (r *reader) read() error {
	r.data = joined(bytes.TrimPrefix(r.data, []byte("\xef\xbb\xbf")))
	var mutex sync.Mutex
	done := 0
	var err error
	r.blocks, err = readBlocks(r.ctx, r.data, r.size, func(int) {
		if r.opt.Progress == nil {
			return
		}
		mutex.Lock()
		defer mutex.Unlock()
		done++
		r.opt.Progress(min(1, 0.8*float64(done)*float64(r.size)/float64(len(r.data)+r.size)), "reading lines")
	})
	if err != nil {
		return err
	}
	for i := range r.blocks {
		if f := r.blocks[i].flaw; f != nil {
			return f.words(r.data)
		}
	}
	for _, step := range []func() error{r.count, r.corners, r.triangles, r.appearance, r.remarks} {
		if err := step(); err != nil {
			return err
		}
		if err := r.ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// count adds up what stands before each block.
func (r *reader) count() error {
	var sum counts
	for i := range r.blocks {
		b := &r.blocks[i]
		r.base = append(r.base, sum)
		sum.vertices += len(b.places) / 3
		sum.uvs += len(b.uvs) / 2
		sum.normals += len(b.normals) / 3
		sum.corners += len(b.corners)
		sum.faces += b.faces
		sum.triangles += len(b.corners) - 2*b.faces
	}
	r.base = append(r.base, sum)
	switch {
	case max(sum.vertices, sum.uvs, sum.normals) > mostOf || sum.corners > math.MaxInt32:
		return fmt.Errorf("the file has more than the %d vertices or %d corners of faces that are read; save the scan in parts", mostOf, math.MaxInt32)
	case sum.vertices == 0:
		return errors.New("the file holds no vertices; " + again)
	case sum.faces == 0:
		return errors.New("the file holds points and no faces; build a mesh of triangles from them and save that")
	}
	return nil
}

func (r *reader) all() counts { return r.base[len(r.blocks)] }

// corners turns the numbers of all corners into ones counted from the first in
// the file.
func (r *reader) corners() error {
	all := r.all()
	r.place = make([]int32, all.corners)
	for i := range r.blocks {
		if r.blocks[i].textured != nil && r.uv == nil {
			r.uv = make([]int32, all.corners)
		}
		if r.blocks[i].lit != nil && r.normal == nil {
			r.normal = make([]int32, all.corners)
		}
	}
	bad := make([]string, len(r.blocks))
	err := mesh.Parallel(r.ctx, len(r.blocks), func(i int) {
		b, before := &r.blocks[i], r.base[i]
		for _, kind := range []struct {
			what        string
			from, to    []int32
			before, all int
		}{
			{"vertices", b.corners, r.place, before.vertices, all.vertices},
			{"texture coordinates", b.textured, r.uv, before.uvs, all.uvs},
			{"normals", b.lit, r.normal, before.normals, all.normals},
		} {
			if kind.to == nil {
				continue
			}
			to := kind.to[before.corners : before.corners+len(b.corners)]
			for k := range to {
				if kind.from == nil || kind.from[k] == none {
					to[k] = none
					continue
				}
				var ok bool
				if to[k], ok = absolute(kind.from[k], kind.before, kind.all); !ok && bad[i] == "" {
					bad[i] = r.outside(b, k, kind.from[k], kind.all, kind.what)
				}
			}
		}
	})
	if err != nil {
		return err
	}
	for i, text := range bad {
		if text != "" {
			return errors.New(text)
		}
		// They are kept once, and memory is what large scans are short of.
		r.blocks[i].corners, r.blocks[i].textured, r.blocks[i].lit = nil, nil, nil
	}
	return nil
}

// outside says in which line a corner stands whose number is none there is.
func (r *reader) outside(b *block, corner int, x int32, all int, what string) string {
	line := r.line(b, corner, func(b *block) int { return len(b.corners) })
	number := fmt.Sprint(int64(x) + 1)
	if x < 0 {
		number = "of a negative number beyond the first"
	}
	return flawed(line, "has the corner %s and there are %d %s", number, all, what).words(r.data).Error()
}

// line finds the line of the thing number k of a block by reading it once more,
// line by line; count says how many a line has.
func (r *reader) line(b *block, k int, count func(b *block) int) (at int) {
	for at = b.at; at < len(r.data); {
		end := endOfLine(r.data, at)
		part := block{at: at}
		part.read(r.data[:end])
		if k -= count(&part); k < 0 {
			break
		}
		at = end + 1
	}
	return at
}

// point returns where a vertex lies, as stored.
func (r *reader) point(v int32) (x, y, z float64) {
	lo, hi := 0, len(r.blocks)
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; r.base[mid].vertices <= int(v) {
			lo = mid
		} else {
			hi = mid
		}
	}
	p := r.blocks[lo].places[3*(int(v)-r.base[lo].vertices):]
	return p[0], p[1], p[2]
}

func (r *reader) find(id, severity, reason, way string) {
	if way == "" {
		way = mesh.NothingToDo
	}
	r.file.Findings = append(r.file.Findings, mesh.Finding{ID: id, Severity: severity, Reason: reason, WayOut: way})
}

// remarks says what was left out.
func (r *reader) remarks() error {
	var sum block
	polygons, strange := 0, -1
	for i := range r.blocks {
		b := &r.blocks[i]
		sum.small += b.small
		sum.lines += b.lines
		sum.curves += b.curves
		sum.unknown += b.unknown
		polygons += len(b.others)
		if b.unknown > 0 && strange < 0 {
			strange = b.strange
		}
	}
	if polygons > 0 {
		r.find("polygons_split", mesh.Note, fmt.Sprintf("%d polygons were cut into triangles", polygons), "")
	}
	if sum.small > 0 {
		r.find("faces_too_small", mesh.Note, fmt.Sprintf("%d faces with fewer than three corners were left out", sum.small), "")
	}
	if sum.lines > 0 {
		r.find("lines_left_out", mesh.Note, fmt.Sprintf("%d drawn lines or points are no surface and were left out", sum.lines), "")
	}
	if sum.curves > 0 {
		r.find("curves_left_out", mesh.Warning, "the file has curves or free-form surfaces, which are not read",
			"if a part of the specimen is missing, save the scan as a mesh of triangles")
	}
	if sum.unknown > 0 {
		word := r.data[strange:]
		for k, c := range word {
			if c <= ' ' {
				word = word[:k]
				break
			}
		}
		r.find("lines_unknown", mesh.Note, fmt.Sprintf("%d lines begin with words that the format does not have and were ignored, the first is line %d (%q)",
			sum.unknown, lineAt(r.data, strange), clip(word)), "")
	}
	if last := bytes.TrimRight(r.data, " \t\x00\x1a"); last[len(last)-1] != '\n' && last[len(last)-1] != '\r' {
		r.find("last_line_open", mesh.Note, "the last line has no end, as in a file that was cut off",
			"compare the size of the file with the one it was copied from")
	}
	return nil
}
