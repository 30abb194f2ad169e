package main

import (
	"rigatino/annotate"
	"rigatino/mesh"
	"rigatino/mesh/register"
)

// pair is two scan files laid on one another.
type pair struct {
	before, after *mesh.Mesh
	result        *register.Result
	points        []annotate.OpenPoint
}

// pair opens two files and aligns them.
func (j *job) pair(before, after string, flags pairFlags, picks []annotate.Pick) (*pair, error) {
	for _, path := range []string{before, after} {
		if missing(path) {
			return nil, usagef("%s is no project and no file", path)
		}
	}
	b, err := j.openScan(before, "--unit-before", flags.UnitBefore)
	if err != nil {
		return nil, err
	}
	a, err := j.openScan(after, "--unit-after", flags.UnitAfter)
	if err != nil {
		return nil, err
	}
	out := &pair{before: b.Mesh, after: a.Mesh}
	out.points = append(findings(before, b.Notes), findings(after, a.Notes)...)
	out.result, err = register.Align(j.ctx, b.Mesh, a.Mesh, register.Options{Picks: registerPicks(picks), Similarity: flags.Similarity, Progress: j.progress})
	return out, err
}
