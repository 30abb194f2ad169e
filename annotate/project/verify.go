package project

import (
	"context"
	"fmt"
	"slices"
)

// Verify compares the checksum of every file of the project and returns what is
// wrong, a sentence a file, which is among the open points from then on. Opening
// compares only sizes, so that a project of large scans opens at once.
func (p *Project) Verify(ctx context.Context, progress func(done float64, words string)) []error {
	p.mu.Lock()
	files := slices.Clone(p.saved.Files)
	p.mu.Unlock()
	var out []error
	for i, f := range files {
		if err := ctx.Err(); err != nil {
			return append(out, err)
		}
		if progress != nil {
			progress(float64(i)/float64(len(files)), fmt.Sprintf("comparing checksums, file %d of %d", i+1, len(files)))
		}
		p.mu.Lock()
		_, err := p.readFile(f.Path, f.SHA256)
		p.mu.Unlock()
		if err != nil {
			out = append(out, err)
		}
	}
	return out
}
