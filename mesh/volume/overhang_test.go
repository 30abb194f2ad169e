package volume

import (
	"math"
	"testing"

	"rigatino/mesh/change"
	"rigatino/mesh/frame"
)

// Bodies of revolution whose polyhedra have exact volumes: overhanging matter
// taken off, an undercut pit emptied and filled, a hole drilled through and
// plugged (two loops on either scan), a piece broken off. Closest distances
// reach none of these (a closest-point prism is off by 100 % and more);
// the shell has the polyhedra to rounding, adds what their chords cut off the
// round bodies, and has those with noise within its uncertainty.
func TestOverhangAndUndercut(t *testing.T) {
	base := [][2]float64{{0, 0}, {24, 0}, {24, 10}, {0, 10}}
	mushroom := [][2]float64{{0, 0}, {24, 0}, {24, 10}, {4, 10}, {4, 15}, {10, 16}, {10, 19}, {0, 20}}
	stub := [][2]float64{{0, 0}, {24, 0}, {24, 10}, {4, 10}, {4, 13}, {0, 13.5}}
	block := [][2]float64{{0, 0}, {20, 0}, {20, 30}, {0, 30}}
	// Pieces of the arc are shorter than a step, so that none is split and all
	// corners lie on the circle.
	flaskOf := func(steps int) [][2]float64 {
		return arc([][2]float64{{0, 0}, {20, 0}, {20, 30}, {3, 30}}, 0, 17, 9, math.Acos(3.0/9), -math.Pi/2, steps)
	}
	flask, round := flaskOf(28), flaskOf(1<<14)
	disc := [][2]float64{{0, 0}, {20, 0}, {20, 6}, {0, 6}}
	drilled := [][2]float64{{3, 0}, {20, 0}, {20, 6}, {3, 6}, {3, 0}}
	const n = 96
	for _, row := range []struct {
		name          string
		before, after [][2]float64
	}{
		{"overhang taken off", mushroom, base},
		{"overhang put on", base, mushroom},
		{"pit emptied", block, flask},
		{"pit filled", flask, block},
		{"hole drilled", disc, drilled},
		{"hole plugged", drilled, disc},
		{"piece broken off", mushroom, stub},
	} {
		exact := ngonVolume(row.before, n) - ngonVolume(row.after, n)
		smooth := func(outline [][2]float64) float64 {
			if len(outline) == len(flask) {
				outline = round
			}
			return ngonVolume(outline, 1<<14)
		}
		truth := smooth(row.before) - smooth(row.after)
		kind := change.Removed
		if truth < 0 {
			kind, truth, exact = change.Added, -truth, -exact
		}
		for _, noise := range []float64{0, 0.03} {
			// Without noise the polygons of the walls coincide, so that nothing
			// but the change differs; with noise they do not.
			before, after := turned(row.before, 1, n, 0), turned(row.after, 1.1, n, 0)
			if noise > 0 {
				before, after = shaken(before, noise, 1), shaken(turned(row.after, 1.1, n, 0.02), noise, 2)
			}
			_, r := measure(t, before, after, frame.Identity(), change.Options{})
			if len(r.Areas) != 1 || r.Areas[0].Volume == nil || r.Areas[0].Kind != kind {
				t.Errorf("%s, noise %v: areas %+v", row.name, noise, r.Areas)
				continue
			}
			v := r.Areas[0].Volume
			if noise == 0 {
				// float32 coordinates.
				near(t, row.name, r.Areas[0].RawMM3, exact, 3e-6*exact)
				near(t, row.name+" with what the chords cut off", v.Value, truth, 0.1*math.Abs(truth-exact))
			} else {
				near(t, row.name+" with noise", v.Value, truth, 0.004*truth)
			}
			if !v.Covers(truth) || !r.Consistent {
				t.Errorf("%s, noise %v: %v (%v), truth %v", row.name, noise, v, r.Areas[0].Checks, truth)
			}
			if !(v.U > 0) {
				t.Errorf("%s: no uncertainty", row.name)
			}
		}
	}
}
