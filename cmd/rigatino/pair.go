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
	out, err := j.twoScans(before, after, flags)
	if err != nil {
		return nil, err
	}
	opt := register.Options{Picks: registerPicks(picks), Checks: registerPicks(checks), Similarity: flags.Similarity, Progress: j.progress}
	if opt.AfterTrust, err = readMask(flags.Trust, out.after.FaceCount()); err != nil {
		return nil, err
	}
	if opt.AfterNever, err = readMask(flags.Never, out.after.FaceCount()); err != nil {
		return nil, err
	}
	out.result, err = register.Align(j.ctx, out.before, out.after, opt)
	return out, err
}

// twoScans opens two files that are to be laid on, or brought to, one another.
func (j *job) twoScans(before, after string, flags pairFlags) (*pair, error) {
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
	return &pair{before: b.Mesh, after: a.Mesh, points: append(append([]annotate.OpenPoint{}, findings(before, b.Notes)...), findings(after, a.Notes)...)}, nil
}
