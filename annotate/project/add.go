package project

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"

	"rigatino/annotate"
	"rigatino/annotate/history"
	"rigatino/annotate/terms"
	"rigatino/mesh"
	"rigatino/mesh/scan"
)

// ErrNoUnit says that a scan's format states no unit and nobody gave one.
var ErrNoUnit = errors.New("the scan states no unit: say which one it is in, mm, cm, m or in")

// Adding says which scan is added, and where it belongs.
type Adding struct {
	Path  string
	Stage string // kind of the stage, or the id of one that exists
	Date  string // EDTF
	Piece string // empty: body
	Part  string // empty: whole
	Unit  string // mm, cm, m, in; empty where the format states it
	Note  string

	// Read, if not nil, is given the mesh as soon as it was read: see scan.Options.
	Read     func(m *mesh.Mesh)
	Progress func(done float64, words string)
}

// Added is what came of it.
type Added struct {
	Use      annotate.Use
	Scan     annotate.Scan
	NewPiece bool // nobody named the piece before
	Notes    []mesh.Finding
}

// AddScan takes a scan into the project, bit for bit, as one action. The stage is
// made if there is none of its kind and date; so is the piece.
func (p *Project) AddScan(ctx context.Context, a Adding) (Added, error) {
	if a.Piece == "" {
		a.Piece = annotate.Body
	}
	if a.Part == "" {
		a.Part = annotate.PartWhole
	}
	if err := a.check(); err != nil {
		return Added{}, err
	}
	record := p.Record().Clone()
	if _, err := a.place(&record); err != nil { // before reading a large file for nothing
		return Added{}, err
	}
	s, err := scan.Open(ctx, a.Path, scan.Options{Unit: scan.Unit(a.Unit), Read: a.Read, Progress: a.Progress})
	if err != nil {
		return Added{}, err
	}
	if s.Unit == "" {
		return Added{}, fmt.Errorf("%s: %w", a.Path, ErrNoUnit)
	}
	out := Added{Notes: s.Notes, Scan: annotate.Scan{
		ID: s.ID, Format: s.Format, Unit: string(s.Unit), UnitSource: "given",
		Triangles: s.Mesh.FaceCount(), Vertices: s.Mesh.VertexCount(), Note: a.Note,
	}}
	if s.UnitFixed {
		out.Scan.UnitSource = "format"
	}
	if out.Scan.Members, err = p.takeIn(ctx, filepath.Dir(a.Path), s.Members); err != nil {
		return Added{}, fmt.Errorf("add scan %s: %w", a.Path, err)
	}
	kept, err := keepScan(ctx, s)
	if err != nil {
		return Added{}, err
	}
	_, err = p.do(fmt.Sprintf("scan added to %s", a.Stage), func(d *history.Draft) error {
		return a.enter(&d.Record, &out)
	})
	if err != nil {
		return Added{}, err
	}
	out.Notes = kept.notes
	p.cache.loading.Lock()
	defer p.cache.loading.Unlock()
	p.cache.scans = append(p.cache.scans, kept)
	return out, nil
}

func (a Adding) check() error {
	if err := annotate.CheckWord(terms.Part, a.Part); err != nil {
		return err
	}
	if strings.ContainsAny(a.Piece, "/ \\") {
		return fmt.Errorf("piece %q: a piece's id is one word without slashes or blanks", a.Piece)
	}
	return nil
}

// place finds the stage and makes sure that its place is free.
func (a Adding) place(r *annotate.Record) (annotate.Stage, error) {
	stage, err := r.PutStage(a.Stage, a.Date)
	if err != nil {
		return stage, err
	}
	key := annotate.UseKey{Stage: stage.ID, Piece: a.Piece, Part: a.Part}
	if r.Use(key) != nil {
		return stage, fmt.Errorf("stage %s of %s has a scan of piece %s, part %s already: name another part or another date", stage.ID, orNoDate(stage.Date), a.Piece, a.Part)
	}
	if q, ok := r.Piece(a.Piece); ok && q.JoinedAt != "" && r.StageIndex(q.JoinedAt) <= r.StageIndex(stage.ID) {
		return stage, fmt.Errorf("piece %s was joined into %s at stage %s: from then on its surface is in the scans of %s", q.ID, q.JoinedInto, q.JoinedAt, q.JoinedInto)
	}
	return stage, nil
}

func orNoDate(date string) string {
	if date == "" {
		return "no date"
	}
	return date
}

// enter writes the use, and what it needs, into the record.
func (a Adding) enter(r *annotate.Record, out *Added) error {
	stage, err := a.place(r)
	if err != nil {
		return err
	}
	if old, ok := r.Scan(out.Scan.ID); !ok {
		r.Scans = append(r.Scans, out.Scan)
	} else if old.Unit != out.Scan.Unit {
		return fmt.Errorf("the same scan stands in the project in %s, now it is said to be in %s: one of the two is wrong", old.Unit, out.Scan.Unit)
	} else {
		out.Scan = old
	}
	known := false
	for i := range r.Pieces {
		q := &r.Pieces[i]
		if q.ID != a.Piece {
			continue
		}
		known = true
		if q.Since != "" && r.StageIndex(stage.ID) < r.StageIndex(q.Since) {
			q.Since = stage.ID
		}
	}
	if !known {
		r.Pieces = append(r.Pieces, annotate.Piece{ID: a.Piece, Since: stage.ID})
		out.NewPiece = true
	}
	out.Use = annotate.Use{
		Stage: stage.ID, Piece: a.Piece, Part: a.Part, Scan: out.Scan.ID,
		Scale: annotate.Scale{Verdict: annotate.ScaleAsStated, Factor: 1},
	}
	r.Uses = append(r.Uses, out.Use)
	return nil
}

// takeIn copies the files of a scan into the project, named by their content.
func (p *Project) takeIn(ctx context.Context, dir string, members []scan.Member) ([]annotate.Member, error) {
	p.mu.Lock()
	writes := p.writes
	p.mu.Unlock()
	if !writes {
		return nil, errReadOnly
	}
	var out []annotate.Member
	for _, m := range members {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		to := "scans/" + m.SHA256 + extension(m.Name)
		out = append(out, annotate.Member{Name: m.Name, Path: to, SHA256: m.SHA256, Bytes: m.Bytes})
		p.mu.Lock()
		_, err := p.readFile(to, m.SHA256)
		if err == nil {
			p.mu.Unlock()
			continue // the same file is there, whole
		}
		delete(p.damage, to)
		err = p.copyIn(filepath.Join(dir, filepath.FromSlash(m.Name)), to, m.SHA256)
		p.mu.Unlock()
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// extension returns a file's extension if it is a plain one.
func extension(name string) string {
	ext := strings.ToLower(path.Ext(name))
	if len(ext) > 8 || strings.Trim(ext, ".abcdefghijklmnopqrstuvwxyz0123456789") != "" {
		return ""
	}
	return ext
}

func (p *Project) copyIn(from, to, sum string) error {
	f, err := os.Open(from)
	if err != nil {
		return err
	}
	err = writeFrom(p.disk, to, func(w io.Writer) error {
		copied := sha256.New()
		if _, err := io.Copy(io.MultiWriter(w, copied), f); err != nil {
			return err
		}
		if hex.EncodeToString(copied.Sum(nil)) != sum {
			return fmt.Errorf("%s changed while it was copied: add it again", from)
		}
		return nil
	})
	return errors.Join(err, f.Close())
}

// do makes one action under the project's lock.
func (p *Project) do(label string, change func(*history.Draft) error) (bool, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.writes {
		return false, errReadOnly
	}
	return p.history.Do(label, change)
}
