package report

import (
	"image"
	"time"

	"rigatino/annotate"
	"rigatino/annotate/tally"
	"rigatino/mesh/quantity"
)

// Content is everything that a report prints. Names of people and the place of
// find have been withheld from it already, unless released.
type Content struct {
	Record   annotate.Record
	Sheet    *tally.Sheet
	Number   int       // of the hand-over
	Made     time.Time // date of the hand-over
	SignedBy string    // empty prints DRAFT on every page

	Front   View   // on the first page
	Views   []View // the six named views
	Changes []Change
	Scans   []Scan
	TileMM  float64 // side of the hatch tile, printed in the legend
}

// View is a picture of the map with its scale bar drawn in.
type View struct {
	Name    string
	Picture image.Image
	// RestoredOfView is the share of what this view shows that is restored, nil
	// where it was not reckoned.
	RestoredOfView *float64
}

// Change is what was removed and added between two stages.
type Change struct {
	From, To, Piece string
	Removed, Added  *quantity.Measured
	SmallestMM      float64
	Consistent      bool
	Checks          []string // the cross-checks in words
	Areas           []ChangeArea
	Budget          []quantity.Term
	Picture         image.Image // nil for none
	View            string      // the side it shows
	CloseUp         image.Image // of the area CloseOn, where the picture shows it small; nil for none
	CloseOn         string
	FullMM, StepMM  float64 // end of its scale, and from contour to contour
}

// ChangeArea is one row of a change.
type ChangeArea struct {
	Name, Kind, What string
	Area, Volume     *quantity.Measured
	MeanMM, MostMM   float64
}

// Scan is the scan behind a use, as the last page tells it.
type Scan struct {
	Use, Format, SHA256 string
	Triangles           int
	MeanEdgeMM          float64 // 0 where it was not measured
	Scale, Alignment    string  // in words
	ScaleWorth          string  // what the scale is worth, a sentence without its stop
}
