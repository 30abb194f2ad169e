package tally

import (
	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/facemap"
	"rigatino/mesh/quantity"
)

// Input is one stage with everything that its sheet needs.
type Input struct {
	Stage  string
	Bodies []Body
	// Volumes are those of the pairs of stages that were compared.
	Volumes []Volume
	// FillScans are volumes that scans before and after a fill gave.
	FillScans []FillScan
	// Fills and ByVolume, if set, were taken over from a file and stand for what
	// would be reckoned.
	Fills    []Fill
	ByVolume *ByVolume
	// OpenPoints are those already known, as of the record's rules.
	OpenPoints []annotate.OpenPoint
	// WithoutScan names the pieces that are there at the stage and have no scan.
	WithoutScan []string
}

// Body is one use of a scan that counts at the stage.
type Body struct {
	Piece   string
	Use     string // stage/piece/part
	Surface *facemap.Surface
	Map     *facemap.Map
	Regions []annotate.Region // those of this use
	Joins   []Join
	Scale   annotate.Scale
	// MeanEdgeMM is the scan's own, where the surface here is a copy of it that
	// was cut finer; 0 takes the surface's.
	MeanEdgeMM float64
}

// Join is a line of kind join with its way over the surface.
type Join struct {
	ID, Fit string
	Way     []r3.Vec // mm in the scan's frame, as Trace gives it
}

// Volume is what was removed and added between two stages of a piece.
type Volume struct {
	From       string             `json:"from"`
	To         string             `json:"to"`
	Piece      string             `json:"piece"`
	Removed    *quantity.Measured `json:"removed,omitempty"`
	Added      *quantity.Measured `json:"added,omitempty"`
	Consistent bool               `json:"consistent"`
	// Carried is set where the values were taken over from a file and could not
	// be reckoned again.
	Carried bool `json:"carried,omitempty"`
}
