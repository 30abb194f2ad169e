package ply

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// gridStep is how many point spacings apart two points of a range grid may be to
// be joined.
const gridStep = 4

// cells reads the element range_grid: for each place of the grid, row by row,
// a list with its vertex, or an empty one.
func (r *reader) cells(e *element) error {
	list := faceList(e)
	grid := make([]int32, 0, min(e.count, len(r.body.data)))
	err := r.records(e, func(i int, _ []float64, lists [][]float64) error {
		if len(lists[list]) == 0 {
			grid = append(grid, -1)
			return nil
		}
		v := lists[list][0]
		if !(v >= 0 && v < float64(r.vertex.count)) || v != math.Trunc(v) {
			return damaged(fmt.Sprintf("place %d of the range grid", i), "has the vertex %s and there are %d", plain(v), r.vertex.count)
		}
		grid = append(grid, int32(v))
		return nil
	})
	r.grid = grid
	return err
}

// joinGrid makes triangles of a range grid, cell by cell, as Turk and Levoy do
// ("Zippered Polygon Meshes from Range Images", SIGGRAPH 1994, section 3): of
// four points the shorter diagonal is drawn, of three there is one triangle,
// and triangles with an edge of more than four point spacings are left out,
// since they would close a step in depth. The spacing is the larger of the
// median distances between neighbours along rows and along columns. Rows count
// upwards and columns to the right, as seen from the scanner.
func (r *reader) joinGrid() error {
	columns, rows := r.head.columns, r.head.rows
	if columns <= 0 || rows <= 0 || columns > len(r.grid) || rows > len(r.grid) {
		return damaged("the header", "has a range grid without num_cols and num_rows")
	}
	if columns*rows != len(r.grid) {
		return damaged("the range grid", "should have %d times %d places and has %d", columns, rows, len(r.grid))
	}
	limit := gridStep * max(r.spacing(columns, 1), r.spacing(columns, columns))
	near := func(a, b int32) bool { return r3.Norm(r3.Sub(r.at(int(a)), r.at(int(b)))) <= limit }
	open := 0
	triangle := func(a, b, c int32) {
		if near(a, b) && near(b, c) && near(c, a) {
			r.faces.triangles = append(r.faces.triangles, uint32(a), uint32(b), uint32(c))
		} else {
			open++
		}
	}
	for row := range rows - 1 {
		if err := r.ctx.Err(); err != nil {
			return err
		}
		for column := range columns - 1 {
			i := row*columns + column
			a, b, c, d := r.grid[i], r.grid[i+1], r.grid[i+columns+1], r.grid[i+columns]
			switch {
			case a >= 0 && b >= 0 && c >= 0 && d >= 0:
				if r3.Norm(r3.Sub(r.at(int(a)), r.at(int(c)))) <= r3.Norm(r3.Sub(r.at(int(b)), r.at(int(d)))) {
					triangle(a, b, c)
					triangle(a, c, d)
				} else {
					triangle(a, b, d)
					triangle(b, c, d)
				}
			case a >= 0 && b >= 0 && c >= 0:
				triangle(a, b, c)
			case a >= 0 && b >= 0 && d >= 0:
				triangle(a, b, d)
			case a >= 0 && c >= 0 && d >= 0:
				triangle(a, c, d)
			case b >= 0 && c >= 0 && d >= 0:
				triangle(b, c, d)
			}
		}
	}
	r.note("range_grid_joined", fmt.Sprintf("the file is one range scan of %d by %d places; its points were joined to %d triangles, and %d over steps in depth of more than %.3g (%d point spacings) were left out",
		columns, rows, len(r.faces.triangles)/3, open, limit, gridStep), "")
	return nil
}

// spacing is the median distance between a point and the one so many places on.
func (r *reader) spacing(columns, on int) float64 {
	var all []float64
	for i := 0; i+on < len(r.grid); i++ {
		if r.grid[i] < 0 || r.grid[i+on] < 0 || on == 1 && i%columns == columns-1 {
			continue
		}
		if d := r3.Norm(r3.Sub(r.at(int(r.grid[i])), r.at(int(r.grid[i+on])))); d > 0 && !math.IsInf(d, 0) {
			all = append(all, d)
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[len(all)/2]
}
