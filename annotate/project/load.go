//go:build landed

package project

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/frame"
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
}

// keptScan is a scan in memory.
type keptScan struct {
	id      string
	surface *facemap.Surface
	notes   []mesh.Finding
}

// LoadUse returns a use with its scan, from memory or from the project's files,
// whose checksums are compared.
func (p *Project) LoadUse(ctx context.Context, key annotate.UseKey, progress func(done float64, words string)) (*Loaded, error) {
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
	kept, err := p.loadScan(ctx, s, progress)
	if err != nil {
		return nil, fmt.Errorf("load %v: %w", key, err)
	}
	out := &Loaded{Use: *u, Scan: s, Surface: kept.surface, Notes: kept.notes, ScanToPiece: frame.Identity()}
	out.ScanToPiece, out.Aligned = scanToPiece(record, *u)
	return out, nil
}

// scanToPiece returns where a use lies in its piece's frame, if that is known.
func scanToPiece(record annotate.Record, u annotate.Use) (frame.Rigid, bool) {
	if base, ok := record.BaseUse(u.Piece); ok && base.Key() == u.Key() {
		return frame.Identity(), true
	}
	if a := u.Alignment; a != nil && a.Verdict == annotate.VerdictAccepted {
		return frame.FromMatrix(a.ScanToPiece), true
	}
	return frame.Identity(), false
}

func (p *Project) loadScan(ctx context.Context, s annotate.Scan, progress func(float64, string)) (*keptScan, error) {
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
	opened, err := p.openStored(ctx, s, progress)
	if err != nil {
		return nil, err
	}
	if n := opened.Mesh.FaceCount(); n != s.Triangles {
		return nil, fmt.Errorf("scan %s has %d triangles, the record says %d: this version of the program reads it differently, and maps would slide", s.Members[0].Name, n, s.Triangles)
	}
	k := &keptScan{s.ID, facemap.NewSurface(opened.Mesh), opened.Notes}
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

// openStored reads a scan from the project's files. A scan of several files is
// laid out under their own names in a temporary folder, since they name each
// other.
func (p *Project) openStored(ctx context.Context, s annotate.Scan, progress func(float64, string)) (opened *scan.Scan, err error) {
	if len(s.Members) == 0 {
		return nil, errors.New("the scan has no files in the record: add it again")
	}
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
		if err := root.MkdirAll(filepath.Dir(m.Name), 0o700); err != nil {
			return nil, fmt.Errorf("read scan %s: %w", m.Name, err)
		}
		if err := root.WriteFile(m.Name, data, 0o600); err != nil {
			return nil, fmt.Errorf("read scan %s: %w", m.Name, err)
		}
	}
	opened, err = scan.Open(ctx, filepath.Join(dir, filepath.FromSlash(s.Members[0].Name)), scan.Options{Unit: scan.Unit(s.Unit), Progress: progress})
	return opened, err
}
