package handover

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"rigatino/annotate"
	"rigatino/annotate/handover/glb"
	"rigatino/annotate/handover/report"
	"rigatino/annotate/project"
	"rigatino/annotate/tally"
)

// Names of the files of a hand-over.
const (
	ModelFile   = "annotated.glb"
	ReportFile  = "report.pdf"
	TallyFile   = "tally.json"
	RegionsFile = "regions.csv"
	JoinsFile   = "joins.csv"
	WorkFile    = "work.csv"
)

// Options say what is handed over.
type Options struct {
	Stage    string    // id; empty for the last stage with a map
	Made     time.Time // date of the hand-over; the zero time takes today's
	SignedBy string    // name to print; empty makes it a draft
	Progress func(done float64, words string)
}

// Result is what was handed over.
type Result struct {
	Number int
	Stage  string
	Files  map[string]string // name → SHA-256
	Sheet  *tally.Sheet
}

// Make writes the hand-over of a stage into a folder, which is made if it is not
// there; files of an earlier hand-over in it are replaced, all at the end. It is
// noted in the record and in the project's log.
func Make(ctx context.Context, p *project.Project, dir string, opt Options) (*Result, error) {
	say := opt.Progress
	if say == nil {
		say = func(float64, string) {}
	}
	if opt.Made.IsZero() {
		opt.Made = time.Now()
	}
	m, err := gather(ctx, p, opt.Stage, part(say, 0, 0.5))
	if err != nil {
		return nil, err
	}
	out := &Result{Number: 1, Stage: m.stage, Sheet: m.sheet, Files: map[string]string{}}
	for _, h := range m.record.HandOvers {
		out.Number = max(out.Number, h.Number+1)
	}
	say(0.5, "Drawing the views")
	content, err := m.content(ctx, p, out.Number, opt, part(say, 0.5, 0.85))
	if err != nil {
		return nil, err
	}
	say(0.85, "Writing the model")
	files := []struct {
		name  string
		write func(io.Writer) error
	}{
		{ModelFile, func(w io.Writer) error { return glb.Write(w, m.model(opt.Made)) }},
		{ReportFile, func(w io.Writer) error { return report.Write(w, content) }},
		{TallyFile, func(w io.Writer) error { return writeJSON(w, m.sheet) }},
		{RegionsFile, m.regionsTable},
		{JoinsFile, m.joinsTable},
		{WorkFile, m.workTable},
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make the hand-over's folder: %w", err)
	}
	written := map[string][]byte{}
	for i, f := range files {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		say(0.85+0.13*float64(i)/float64(len(files)), "Writing "+f.name)
		var buf bytes.Buffer
		if err := f.write(&buf); err != nil {
			return nil, fmt.Errorf("write %s: %w", f.name, err)
		}
		written[f.name] = buf.Bytes()
		sum := sha256.Sum256(buf.Bytes())
		out.Files[f.name] = hex.EncodeToString(sum[:])
	}
	for _, name := range slices.Sorted(maps.Keys(written)) {
		if err := replace(filepath.Join(dir, name), written[name]); err != nil {
			return nil, err
		}
	}
	err = p.Edit(fmt.Sprintf("hand-over %d", out.Number), func(r *annotate.Record) error {
		r.HandOvers = append(r.HandOvers, annotate.HandOver{Number: out.Number, When: opt.Made.Format(time.DateOnly), Stage: m.stage, SignedBy: opt.SignedBy, Files: out.Files})
		return nil
	})
	if err == nil {
		err = p.Note("handed over", fmt.Sprintf("hand-over %d of stage %s", out.Number, m.stage), out.Files)
	}
	say(1, "Handed over")
	return out, err
}

// replace writes a file whole or leaves the old one: a temporary file beside it,
// synced, takes its name.
func replace(path string, data []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = fmt.Errorf("write %s: %w", path, errors.Join(err, os.Remove(f.Name())))
		}
	}()
	if _, err = f.Write(data); err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	return err
}

// writeJSON writes one document, indented, keys in a fixed order.
func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// part passes progress on as a stretch of a longer job.
func part(progress func(float64, string), from, to float64) func(float64, string) {
	return func(done float64, words string) { progress(from+(to-from)*done, words) }
}
