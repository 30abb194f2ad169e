package main

import (
	"encoding/json"
	"fmt"
	"os"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh/register"
)

// readPicks reads pairs of places that match, mm, each in its own scan's frame,
// and pairs that take no part in the fit and measure it. A file may hold the latter
// alone.
func readPicks(path string) (picks, checks []annotate.Pick, err error) {
	if path == "" {
		return nil, nil, nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, fmt.Errorf("read the picks: %w", err)
	}
	var file struct {
		Unit   string          `json:"unit"`
		Pairs  []annotate.Pick `json:"pairs"`
		Checks []annotate.Pick `json:"checks"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		return nil, nil, fmt.Errorf("%s is not a picks file: %w", path, err)
	}
	if file.Unit != "mm" {
		return nil, nil, fmt.Errorf("%s: unit is %q: give the places in mm and say \"unit\":\"mm\"", path, file.Unit)
	}
	if n := len(file.Pairs); n < 3 && (n > 0 || len(file.Checks) == 0) {
		return nil, nil, fmt.Errorf("%s holds %d pairs: pick three or more, far apart and not in a line", path, n)
	}
	return file.Pairs, file.Checks, nil
}

func registerPicks(picks []annotate.Pick) []register.Pick {
	var out []register.Pick
	v := func(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
	for _, p := range picks {
		out = append(out, register.Pick{Before: v(p.Before), After: v(p.After)})
	}
	return out
}
