package annotate

import "fmt"

// FaceRun is a run of scan faces: the first, and how many there are.
type FaceRun [2]uint32

// FitFaces says which faces of a use carry its alignment, as somebody marked them
// with strokes or a list: Trust alone carry it, where there are any; Never carry
// none of it. Runs are sorted and apart. They are no map: what is never trusted may
// well be original, and what is trusted need not be.
type FitFaces struct {
	Trust []FaceRun `json:"trust,omitempty"`
	Never []FaceRun `json:"never,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// RunsOf gives the marked faces as runs.
func RunsOf(mask []bool) []FaceRun {
	var out []FaceRun
	for f, is := range mask {
		n := len(out)
		switch {
		case !is:
		case n > 0 && out[n-1][0]+out[n-1][1] == uint32(f):
			out[n-1][1]++
		default:
			out = append(out, FaceRun{uint32(f), 1})
		}
	}
	return out
}

// MaskOf marks the faces of runs on a scan of so many faces; nil for none. Runs
// that leave the scan are an error: they belong to another.
func MaskOf(runs []FaceRun, faces int) ([]bool, error) {
	if len(runs) == 0 {
		return nil, nil
	}
	out := make([]bool, faces)
	for _, r := range runs {
		end := uint64(r[0]) + uint64(r[1])
		if end > uint64(faces) {
			return nil, fmt.Errorf("faces %d to %d are marked to carry the fit or not, and the scan has %d faces: mark them on this scan", r[0], end-1, faces)
		}
		for f := uint64(r[0]); f < end; f++ {
			out[f] = true
		}
	}
	return out, nil
}

// RoundTrip is how far a scan lies, by its alignment with one scan, from where an
// earlier alignment with another put it: mm over the scan.
type RoundTrip struct {
	By  string  `json:"by"` // use that the earlier alignment was with
	RMS float64 `json:"rms_mm"`
	Max float64 `json:"max_mm"`

	Newer Newer `json:"-"` // members of a newer version
}
