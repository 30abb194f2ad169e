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
func (j *job) pair(before, after string, flags pairFlags) (*pair, error) {
	picks, checks, err := readPicks(flags.Picks)
	if err != nil {
		return nil, err
	}
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
	opt := register.Options{Picks: registerPicks(picks), Checks: registerPicks(checks), Similarity: flags.Similarity, Progress: j.progress}
	if opt.AfterTrust, err = readMask(flags.Trust, a.Mesh.FaceCount()); err != nil {
		return nil, err
	}
	if opt.AfterNever, err = readMask(flags.Never, a.Mesh.FaceCount()); err != nil {
		return nil, err
	}
	out.result, err = register.Align(j.ctx, b.Mesh, a.Mesh, opt)
	return out, err
}
