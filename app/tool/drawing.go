package tool

import (
	"context"
	"errors"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate/facemap"
	"rigatino/mesh"
	"rigatino/mesh/colour"
	"rigatino/mesh/geodesic"
)

// Drawing is a line on its way: the places that somebody set, and between them
// the way over the surface, along the break where it snaps.
type Drawing struct {
	Surface *facemap.Surface
	// Colour of a face, nil where the scan has none.
	Colour func(face uint32) colour.Lab
	// Straight draws the shortest way between two places instead of the one
	// along the break.
	Straight bool

	places []mesh.SurfacePoint
	legs   [][]r3.Vec // legs[i] leads from place i to place i+1, both ends included
}

// Places are the places set so far. Do not change them.
func (d *Drawing) Places() []mesh.SurfacePoint { return d.places }

// Add sets the next place. Where no way leads there the line stays as it was.
func (d *Drawing) Add(at mesh.SurfacePoint) error {
	if n := len(d.places); n > 0 {
		leg, err := d.leg(d.places[n-1], at)
		if err != nil {
			return err
		}
		d.legs = append(d.legs, leg)
	}
	d.places = append(d.places, at)
	return nil
}

// TakeBack drops the last place.
func (d *Drawing) TakeBack() {
	if n := len(d.places); n > 0 {
		d.places = d.places[:n-1]
		d.legs = d.legs[:max(n-2, 0)]
	}
}

// Move puts place i somewhere else, with the ways that lead to it.
func (d *Drawing) Move(i int, to mesh.SurfacePoint) error {
	if i < 0 || i >= len(d.places) {
		return errors.New("the line has no such point")
	}
	var before, after []r3.Vec
	var err error
	if i > 0 {
		if before, err = d.leg(d.places[i-1], to); err != nil {
			return err
		}
	}
	if i+1 < len(d.places) {
		if after, err = d.leg(to, d.places[i+1]); err != nil {
			return err
		}
	}
	d.places[i] = to
	if before != nil {
		d.legs[i-1] = before
	}
	if after != nil {
		d.legs[i] = after
	}
	return nil
}

// Way is the line so far, mm in the scan's frame.
func (d *Drawing) Way() []r3.Vec {
	var out []r3.Vec
	for i, leg := range d.legs {
		if i > 0 {
			leg = leg[1:]
		}
		out = append(out, leg...)
	}
	if len(out) == 0 && len(d.places) == 1 {
		out = append(out, d.Surface.Mesh.At(d.places[0]))
	}
	return out
}

// leg is the way between two places.
func (d *Drawing) leg(from, to mesh.SurfacePoint) ([]r3.Vec, error) {
	s := d.Surface
	if d.Straight {
		_, way, err := geodesic.Path(context.Background(), s.Mesh, s.Weld, s.Topology, from, to)
		return way, err
	}
	return s.SnapWay(context.Background(), from, to, facemap.Snap{Colour: d.Colour})
}
