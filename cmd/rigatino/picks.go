package main

import (
	"encoding/json"
	"fmt"
	"os"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh/register"
)

// readPicks reads pairs of places that match, mm, each in its own scan's frame.
func readPicks(path string) ([]annotate.Pick, error) {
	if path == "" {
		return nil, nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the picks: %w", err)
	}
	var file struct {
		Unit  string          `json:"unit"`
		Pairs []annotate.Pick `json:"pairs"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		return nil, fmt.Errorf("%s is not a picks file: %w", path, err)
	}
	if file.Unit != "mm" {
		return nil, fmt.Errorf("%s: unit is %q: give the places in mm and say \"unit\":\"mm\"", path, file.Unit)
	}
	if len(file.Pairs) < 3 {
		return nil, fmt.Errorf("%s holds %d pairs: pick three or more, far apart and not in a line", path, len(file.Pairs))
	}
	return file.Pairs, nil
}

func registerPicks(picks []annotate.Pick) []register.Pick {
	var out []register.Pick
	v := func(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
	for _, p := range picks {
		out = append(out, register.Pick{Before: v(p.Before), After: v(p.After)})
	}
	return out
}
