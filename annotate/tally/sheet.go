package tally

import (
	"rigatino/annotate"
	"rigatino/mesh/quantity"
)

// Schema is the version of the sheet's JSON form.
const Schema = 1

// Sheet is all values of a stage. Shares have unit "1" and are shares of S
// unless their method says otherwise.
type Sheet struct {
	Schema              int                  `json:"schema"`
	Stage               string               `json:"stage"`
	Surface             Surface              `json:"surface"`
	Pieces              []Piece              `json:"pieces"`
	Restored            Restored             `json:"restored"`
	ChangedInLook       *quantity.Measured   `json:"changed_in_look,omitempty"`
	RetouchOverOriginal *quantity.Measured   `json:"retouch_over_original,omitempty"`
	MatrixLeft          *quantity.Measured   `json:"matrix_left,omitempty"`
	Regions             []Region             `json:"regions"`
	Joins               []JoinLength         `json:"joins"`
	Volumes             []Volume             `json:"volumes"`
	Fills               []Fill               `json:"fills"`
	RestoredByVolume    *ByVolume            `json:"restored_by_volume,omitempty"`
	Scales              []Scale              `json:"scales"`
	OpenPoints          []annotate.OpenPoint `json:"open_points"`
}

// Surface is the areas of a stage or a piece.
type Surface struct {
	TotalMM2    float64                      `json:"total_mm2"`
	SpecimenMM2 float64                      `json:"specimen_mm2"`
	Specimen    *quantity.Measured           `json:"specimen,omitempty"`
	BySubstance map[string]quantity.Measured `json:"by_substance"`
	ByApplied   map[string]quantity.Measured `json:"by_applied"`
	ByCondition map[string]quantity.Measured `json:"by_condition"`
	OpeningsMM2 float64                      `json:"openings_mm2"`
	Openings    int                          `json:"openings"`
}

// Restored is the restored share of S and its range.
type Restored struct {
	Share     *quantity.Measured `json:"share,omitempty"`
	Low       *quantity.Measured `json:"low,omitempty"`
	High      *quantity.Measured `json:"high,omitempty"`
	WhyAbsent string             `json:"why_absent,omitempty"`
}

// Piece is the part of the sheet that one piece has.
type Piece struct {
	Piece    string   `json:"piece"`
	Surface  Surface  `json:"surface"`
	Restored Restored `json:"restored"`
}

// Region is the area of one region of the map.
type Region struct {
	ID    string            `json:"id"`
	Use   string            `json:"use"`
	Layer string            `json:"layer"`
	Kind  string            `json:"kind"`
	Area  quantity.Measured `json:"area"`
}

// JoinLength is the length of a join along the surface.
type JoinLength struct {
	ID     string            `json:"id"`
	Length quantity.Measured `json:"length"`
	Fit    string            `json:"fit"`
}

// Scale is what the scale of one scan on the sheet is worth.
type Scale struct {
	Use     string `json:"use"`
	Verdict string `json:"verdict"`
	// RelativeU is the relative standard uncertainty of a length; absent where no
	// bar counts. Areas have it twice, volumes three times.
	RelativeU float64 `json:"relative_u,omitempty"`
	Sentence  string  `json:"sentence"`
}

// Substance words that the definitions of the sheet speak of.
const (
	original        = "original"
	originalAbraded = "original_abraded"
	matrix          = "matrix"
	fill            = "fill"
	reconstruction  = "reconstruction"
	support         = "support"
	uncertain       = "uncertain"
	unassigned      = "unassigned"
	retouch         = "retouch"
)

// MostUnknown is the largest U/S at which a single restored share is stated.
// The threshold is our own.
const MostUnknown = 0.20
