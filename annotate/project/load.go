package project

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/quality"
	"rigatino/mesh/scan"
)

// Loaded is a use with its scan in memory.
type Loaded struct {
	Use  annotate.Use
	Scan annotate.Scan
	// Surface holds the mesh in the scan's own frame, mm as the scan states
	// them: Use.Scale.Factor is not applied, so that face ids, lines and picks
	// stay what they were when a scale is found later.
	Surface     *facemap.Surface
	ScanToPiece frame.Rigid // identity where Aligned is false
	// Aligned says that the place in the piece's frame is known: the scan gives
	// the piece its frame, or its alignment was accepted.
	Aligned bool
	Notes   []mesh.Finding
}

// keptFaces is how many faces of scans stay in memory when others are loaded;
// the two used last always do.
const keptFaces = 12_000_000

// cache keeps scans and comparisons that were made.
type cache struct {
	loading sync.Mutex // one scan at a time
	scans   []*keptScan
	changes map[string]*Comparison
	gaps    keptGaps
	looked  *keptLook // of the scan looked at last
}

// keptScan is a scan in memory.
type keptScan struct {
	id      string
	surface *facemap.Surface
	notes   []mesh.Finding
}

// keepScan makes the surface that is worked on. That takes two seconds for ten
// million faces; where ctx is done before, what was begun ends by itself.
func keepScan(ctx context.Context, s *scan.Scan) (*keptScan, error) {
	made := make(chan *keptScan, 1)
	go func() { made <- surfaceOf(s) }()
	select {
	case k := <-made:
		return k, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// surfaceOf makes the surface of a scan. Faces that look the wrong way are turned
// on it, with a note; the file stays as it was received.
func surfaceOf(s *scan.Scan) *keptScan {
	k := &keptScan{s.ID, facemap.NewSurface(s.Mesh), s.Notes}
	upright, turned := quality.Upright(s.Mesh, k.surface.Weld, k.surface.Topology)
	if turned == 0 {
		return k
	}
	k.surface = facemap.NewSurface(upright)
	k.notes = append(slices.Clip(k.notes), mesh.Finding{ID: "faces_turned_over", Severity: mesh.Note,
		Reason: fmt.Sprintf("%d triangles of the scan look inward or against their neighbours; they are turned over here, and the file stays as it is", turned),
		WayOut: "nothing to do; if the surface shows its inner side all the same, check whether the scan is mirrored"})
	return k
}

// LoadUse returns a use with its scan, from memory or from the project's files,
// whose checksums are compared.
func (p *Project) LoadUse(ctx context.Context, key annotate.UseKey, progress func(done float64, words string)) (*Loaded, error) {
	return p.LoadUseReading(ctx, key, nil, progress)
}

// LoadUseReading is LoadUse that shows what it reads: read is given the mesh as
// soon as it is in memory, before its neighbours are found, with what is known of
// the use; Surface is not made yet. It is not called where the scan was in memory.
func (p *Project) LoadUseReading(ctx context.Context, key annotate.UseKey, read func(l *Loaded, m *mesh.Mesh), progress func(done float64, words string)) (*Loaded, error) {
	p.mu.Lock()
	record := p.history.Record()
	p.mu.Unlock()
	u := record.Use(key)
	if u == nil {
		return nil, fmt.Errorf("use %v does not exist: add its scan first", key)
	}
	s, ok := record.Scan(u.Scan)
	if !ok {
		return nil, fmt.Errorf("use %v names a scan that is not in the record: add it again", key)
	}
	out := &Loaded{Use: *u, Scan: s}
	out.ScanToPiece, out.Aligned = scanToPiece(record, *u)
	opt := scan.Options{Unit: scan.Unit(s.Unit), Progress: progress}
	if read != nil {
		early := *out
		opt.Read = func(m *mesh.Mesh) { read(&early, m) }
	}
	kept, err := p.loadScan(ctx, s, opt)
	if err != nil {
		return nil, fmt.Errorf("load %v: %w", key, err)
	}
	out.Surface, out.Notes = kept.surface, kept.notes
	return out, nil
}

// factor is the scale factor of a use.
func (l *Loaded) factor() float64 { return l.Use.Scale.Calibrated() }

// calibrated returns the mesh with the scale factor applied, about zero.
func (l *Loaded) calibrated() *mesh.Mesh {
	f := l.factor()
	if f == 1 {
		return l.Surface.Mesh
	}
	return mesh.Transform(l.Surface.Mesh, func(v r3.Vec) r3.Vec { return r3.Scale(f, v) })
}

func vec(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

// part passes progress on as a stretch of a longer job.
func part(progress func(float64, string), from, to float64) func(float64, string) {
	if progress == nil {
		return nil
	}
	return func(done float64, words string) { progress(from+(to-from)*done, words) }
}

// support returns the faces of a use that are marked as support: out of every
// value and every alignment. nil for none.
func (p *Project) support(key annotate.UseKey) ([]bool, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	use := key.String()
	if !p.hasMap(use) {
		return nil, nil
	}
	m, err := p.liveMap(use)
	if err != nil {
		return nil, err
	}
	record := p.history.Record()
	regions := record.RegionsOf(use)
	var out []bool
	for f, number := range m.Labels() {
		if number != 0 && regions[number].Kind == annotate.Support {
			if out == nil {
				out = make([]bool, m.FaceCount())
			}
			out[f] = true
		}
	}
	return out, nil
}

func (p *Project) loadScan(ctx context.Context, s annotate.Scan, opt scan.Options) (*keptScan, error) {
	c := &p.cache
	c.loading.Lock()
	defer c.loading.Unlock()
	for i, k := range c.scans {
		if k.id == s.ID {
			c.scans = append(append(c.scans[:i:i], c.scans[i+1:]...), k)
			return k, nil
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	opened, err := p.openStored(ctx, s, opt)
	if err != nil {
		return nil, err
	}
	if n := opened.Mesh.FaceCount(); n != s.Triangles {
		return nil, fmt.Errorf("scan %s has %d triangles, the record says %d: this version of the program reads it differently, and maps would slide", s.Members[0].Name, n, s.Triangles)
	}
	k, err := keepScan(ctx, opened)
	if err != nil {
		return nil, err
	}
	c.scans = append(c.scans, k)
	faces := 0
	for i := len(c.scans) - 1; i >= 0; i-- {
		if faces += c.scans[i].surface.Mesh.FaceCount(); faces > keptFaces && i < len(c.scans)-2 {
			c.scans = c.scans[i+1:]
			break
		}
	}
	return k, nil
}

// openStored reads a scan from the project's files and compares checksums.
func (p *Project) openStored(ctx context.Context, s annotate.Scan, opt scan.Options) (*scan.Scan, error) {
	if len(s.Members) == 0 {
		return nil, errors.New("the scan has no files in the record: add it again")
	}
	path, ok := p.plainPath(s.Members)
	if !ok {
		return p.openLaidOut(ctx, s, opt)
	}
	// Opening hashes what it reads, so the file is read once.
	opened, err := scan.Open(ctx, path, opt)
	if err == nil && opened.ID == s.ID {
		return opened, nil
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	p.mu.Lock()
	_, damage := p.readFile(s.Members[0].Path, s.Members[0].SHA256)
	p.mu.Unlock()
	if damage != nil {
		return nil, damage
	}
	if err == nil {
		err = fmt.Errorf("file %s changed while it was read: try again", s.Members[0].Path)
	}
	return nil, err
}

// plainPath returns where the only file of a scan lies, if the project's folder
// is still where it was opened and no link leads elsewhere.
func (p *Project) plainPath(members []annotate.Member) (string, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(members) != 1 || p.root == nil || p.damage[members[0].Path] != nil {
		return "", false
	}
	path := filepath.Join(p.dir, filepath.FromSlash(members[0].Path))
	inside, err1 := p.root.Stat(members[0].Path)
	named, err2 := os.Stat(path)
	return path, err1 == nil && err2 == nil && os.SameFile(inside, named)
}

// openLaidOut opens a scan whose files name each other: they are laid out under
// their own names in a temporary folder.
func (p *Project) openLaidOut(ctx context.Context, s annotate.Scan, opt scan.Options) (opened *scan.Scan, err error) {
	dir, err := os.MkdirTemp("", "rigatino-scan-")
	if err != nil {
		return nil, fmt.Errorf("read scan: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("read scan: %w", err)
	}
	defer func() { err = errors.Join(err, root.Close()) }()
	for _, m := range s.Members {
		p.mu.Lock()
		data, err := p.readFile(m.Path, m.SHA256)
		p.mu.Unlock()
		if err != nil {
			return nil, err
		}
		if err := root.MkdirAll(filepath.Dir(filepath.FromSlash(m.Name)), 0o700); err != nil {
			return nil, fmt.Errorf("read scan %s: %w", m.Name, err)
		}
		if err := root.WriteFile(filepath.FromSlash(m.Name), data, 0o600); err != nil {
			return nil, fmt.Errorf("read scan %s: %w", m.Name, err)
		}
	}
	opened, err = scan.Open(ctx, filepath.Join(dir, filepath.FromSlash(s.Members[0].Name)), opt)
	if err == nil && opened.ID != s.ID {
		return nil, fmt.Errorf("the files of scan %s do not make up the scan in the record: restore the project from a copy", s.Members[0].Name)
	}
	return opened, err
}
