package main

import (
	"fmt"

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
	if out.result, err = register.Align(j.ctx, out.before, out.after, opt); err != nil {
		return nil, err
	}
	sayUnlikeSize(out.result, mesh.Bounds(out.before).Diagonal(), mesh.Bounds(out.after).Diagonal())
	return out, nil
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

// sayUnlikeSize puts before the reason of a refusal that the two scans, so many
// mm across, are of very different size.
func sayUnlikeSize(r *register.Result, before, after float64) {
	larger := max(before/after, after/before)
	if r.Verdict == annotate.VerdictAccepted || !(larger > unlikeSize) {
		return
	}
	r.Reason = fmt.Sprintf("one scan is %.0f times as large as the other (%.4g and %.4g mm across), and %s", larger, before, after, r.Reason)
	r.NextStep = "check the units of both, --unit-before and --unit-after; if they are right, " + r.NextStep
}

// unlikeSize is the ratio of the sizes of two scans from which on a wrong unit is
// a likely reason that they do not fit. A scan of a part may be so much smaller,
// so it is no reason by itself.
const unlikeSize = 5
