package annotate

// Record is the words of a project: everything but geometry and labels. Every
// list is merged by ID when a record file is given to `rigatino record`.
type Record struct {
	Specimen   Specimen    `json:"specimen"`
	People     []Person    `json:"people,omitempty"`
	Pieces     []Piece     `json:"pieces,omitempty"`
	Stages     []Stage     `json:"stages,omitempty"`
	Scans      []Scan      `json:"scans,omitempty"`
	Uses       []Use       `json:"uses,omitempty"`
	Regions    []Region    `json:"regions,omitempty"`
	Lines      []Line      `json:"lines,omitempty"`
	Work       []Work      `json:"work,omitempty"`
	Changes    []Change    `json:"changes,omitempty"`
	Answers    []Answer    `json:"answers,omitempty"`
	Agreements []Agreement `json:"agreements,omitempty"`
	HandOvers  []HandOver  `json:"hand_overs,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Specimen is what the project is about. The place of find is withheld unless
// somebody released it, and so is what pictures of a scan say besides what they
// show: camera, time, place and maker.
type Specimen struct {
	Institution      string       `json:"institution,omitempty"`
	CatalogueNumber  string       `json:"catalogue_number,omitempty"`
	FieldNumber      string       `json:"field_number,omitempty"`
	JacketNumber     string       `json:"jacket_number,omitempty"`
	Title            string       `json:"title,omitempty"`
	Taxon            string       `json:"taxon,omitempty"`
	Element          string       `json:"element,omitempty"`
	Side             string       `json:"side,omitempty"`
	Formation        string       `json:"formation,omitempty"`
	Locality         string       `json:"locality,omitempty"`
	LocalityReleased bool         `json:"locality_released,omitempty"`
	NotesReleased    bool         `json:"picture_notes_released,omitempty"`
	Owner            string       `json:"owner,omitempty"`
	Rights           string       `json:"rights,omitempty"`
	Orientation      *Orientation `json:"orientation,omitempty"`
	Note             string       `json:"note,omitempty"`
	Cautions         []string     `json:"cautions,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Orientation names two directions of the specimen frame, so that views have
// anatomical names: the long axis points to LongAxisName, Face to FaceName.
type Orientation struct {
	LongAxis     [3]float64 `json:"long_axis"`
	LongAxisName string     `json:"long_axis_name"`
	Face         [3]float64 `json:"face"`
	FaceName     string     `json:"face_name"`

	Newer Newer `json:"-"` // members of a newer version
}

// Person is somebody who worked on the specimen. Names are withheld from
// hand-overs unless released; initials are shown instead.
type Person struct {
	ID       string `json:"id"`
	Name     string `json:"name,omitempty"`
	Initials string `json:"initials,omitempty"`
	Role     string `json:"role,omitempty"`
	Released bool   `json:"released,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Piece is the body or a fragment, with its own chain of scans and its own
// frame, that of the scan added to it first. From stage JoinedAt on, its surface is in the
// scans of JoinedInto and its own chain ends; PieceToSpecimen is set by then.
type Piece struct {
	ID              string       `json:"id"` // "body" for the main one
	Label           string       `json:"label,omitempty"`
	Since           string       `json:"since,omitempty"` // stage from which it is a piece of its own; empty: from the first
	JoinedInto      string       `json:"joined_into,omitempty"`
	JoinedAt        string       `json:"joined_at,omitempty"`
	PieceToSpecimen *[16]float64 `json:"piece_to_specimen,omitempty"`
	// DryFit is what PieceToSpecimen rests on, where the broken faces gave it.
	DryFit *DryFit `json:"dry_fit,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// DryFit is the evidence of two broken faces brought together: lengths in mm, areas
// in mm². Fit is a word of annotate/terms, what the join may be called on it.
type DryFit struct {
	Use         string  `json:"use"` // of the piece, stage/piece/part
	To          string  `json:"to"`  // use of the body
	Verdict     string  `json:"verdict"`
	Reason      string  `json:"reason,omitempty"`
	Fit         string  `json:"fit"`
	FitReason   string  `json:"fit_reason,omitempty"`
	ContactArea float64 `json:"contact_area_mm2"`
	BreakArea   float64 `json:"break_area_mm2"`
	GapMedian   float64 `json:"gap_median_mm"`
	GapSpread   float64 `json:"gap_spread_mm"`
	Gap95       float64 `json:"gap_95_mm"`
	SecondApart float64 `json:"second_apart_mm,omitempty"` // 0: there is no second position
	SecondArea  float64 `json:"second_area_mm2,omitempty"`
	Picks       []Pick  `json:"picks,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Stage is the specimen, never one piece, at one moment. ID is its kind, or
// kind-2, kind-3 when a kind comes again. Date is EDTF and may be open.
type Stage struct {
	ID   string `json:"id"`
	Kind string `json:"kind"`
	Date string `json:"date,omitempty"`
	Note string `json:"note,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Scan is mesh files as received. ID is the SHA-256 of the lines
// "sha256␠␠name\n" sorted by name; with one member, that member's hash.
type Scan struct {
	ID      string   `json:"id"`
	Members []Member `json:"members"`
	Format  string   `json:"format"`
	// Unit is mm, cm, m or in; UnitSource says whether the format fixes it
	// ("format") or a person said it ("given").
	Unit       string `json:"unit"`
	UnitSource string `json:"unit_source"`
	Triangles  int    `json:"triangles"`
	Vertices   int    `json:"vertices"`
	Note       string `json:"note,omitempty"`
	// Proposals are what looked like no specimen when the scan was added.
	Proposals []Proposal `json:"proposals,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Member is one file of a scan. Name is the name it had; Path is where the
// project keeps it, relative to the project folder.
type Member struct {
	Name   string `json:"name"`
	Path   string `json:"path,omitempty"`
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`

	Newer Newer `json:"-"` // members of a newer version
}

// Use is a scan in its place: the stage, piece and part it shows.
type Use struct {
	Stage     string     `json:"stage"`
	Piece     string     `json:"piece"`
	Part      string     `json:"part"` // whole, top, bottom, close_up
	Scan      string     `json:"scan"`
	Scale     Scale      `json:"scale"`
	Alignment *Alignment `json:"alignment,omitempty"` // nil for the scan that gives the piece its frame
	Declined  []string   `json:"declined,omitempty"`  // proposals of the scan that are not so here
	FitFaces  *FitFaces  `json:"fit_faces,omitempty"` // what carries its alignment, nil where nobody said

	Newer Newer `json:"-"` // members of a newer version
}

// Key names a use as stage/piece/part.
func (u Use) Key() UseKey { return UseKey{u.Stage, u.Piece, u.Part} }

// UseKey is the place of a use.
type UseKey struct{ Stage, Piece, Part string }

// String gives stage/piece/part.
func (k UseKey) String() string { return k.Stage + "/" + k.Piece + "/" + k.Part }

// Scale is what a scan's size is worth. Factor multiplies lengths after the
// unit; RelativeU is its relative standard uncertainty, absent with as_stated.
// With bars, all three follow from them.
type Scale struct {
	Verdict   string     `json:"verdict"` // as_stated, unverified, difference_only, verified
	Factor    float64    `json:"factor"`
	RelativeU float64    `json:"relative_u,omitempty"`
	Bars      []ScaleBar `json:"bars,omitempty"`
	// CommonU is the standard uncertainty of what the calibrations of all bars
	// have in common, mm.
	CommonU float64 `json:"common_u_mm,omitempty"`
	// LengthsChecked says that a person looked at the lengths again, so that a
	// factor that looks like a wrong unit is used.
	LengthsChecked bool `json:"lengths_checked,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// ScaleBar is a known length in the scan. From and To are its ends, in the
// scan's frame, mm as the scan states them; without them Measured is the length
// in the scan as somebody else measured it.
type ScaleBar struct {
	Name      string      `json:"name,omitempty"`
	From      *[3]float64 `json:"from_mm,omitempty"`
	To        *[3]float64 `json:"to_mm,omitempty"`
	Measured  float64     `json:"measured_mm,omitempty"`
	MeasuredU float64     `json:"measured_u_mm"` // standard uncertainty of the length in the scan, both ends together
	Length    float64     `json:"length_mm"`     // as stated by whoever calibrated the bar
	U         float64     `json:"length_u_mm"`   // its standard uncertainty
	HeldOut   bool        `json:"held_out,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Alignment is the motion from a scan's frame to its piece's frame, with its
// evidence. The verdict is the program's own; AcceptedBy cannot raise it.
type Alignment struct {
	To                string      `json:"to"` // use the motion was found against, stage/piece/part
	ScanToPiece       [16]float64 `json:"scan_to_piece"`
	Verdict           string      `json:"verdict"` // accepted, ambiguous, refused
	Reason            string      `json:"reason,omitempty"`
	NextStep          string      `json:"next_step,omitempty"`
	RelativeScale     float64     `json:"relative_scale,omitempty"`
	FitResidualRMS    float64     `json:"fit_residual_rms_mm"`
	CheckRMS          float64     `json:"check_rms_mm"`
	StableShareAfter  float64     `json:"stable_share_of_after"`
	StableShareBefore float64     `json:"stable_share_of_before"`
	WeakestDirection  string      `json:"weakest_direction,omitempty"`
	Covariance        []float64   `json:"covariance,omitempty"` // 6×6 row-major: rotation (rad) about the stable centre, then translation (mm)
	Centre            [3]float64  `json:"centre_mm"`            // stable centre, piece frame
	Picks             []Pick      `json:"picks,omitempty"`
	// Checks are pairs that took no part in the fit, with their distances under it.
	Checks        []Pick  `json:"checks,omitempty"`
	CheckPointRMS float64 `json:"check_points_rms_mm,omitempty"`
	CheckPointMax float64 `json:"check_points_max_mm,omitempty"`
	// ErrorUnknown is why nothing can be stated about the pose's error, empty where it
	// can: smooth error of the scans with no check points beside.
	ErrorUnknown string `json:"error_unknown,omitempty"`
	// WeakMotion is WeakestDirection as a motion, as long as it is drawn: turn (rad)
	// about Centre, then shift (mm), in the piece's frame.
	WeakMotion []float64  `json:"weak_motion,omitempty"`
	RoundTrip  *RoundTrip `json:"round_trip,omitempty"` // nil where it was aligned one way only
	AcceptedBy string     `json:"accepted_by,omitempty"`
	// ScaleChanged says that the scale of a scan it rests on was changed since:
	// ScanToPiece is where that carries the scan, and is not accepted.
	ScaleChanged bool `json:"scale_changed,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Pick is one pair of places that match, each in its own scan's frame, mm.
type Pick struct {
	Before [3]float64 `json:"before"`
	After  [3]float64 `json:"after"`

	Newer Newer `json:"-"` // members of a newer version
}

// Region is a set of faces of one use in one layer. Its faces are in the map
// under Number. A region is superseded by Until, never deleted from the past.
type Region struct {
	ID         string  `json:"id"`     // R1, R2 …
	Number     uint16  `json:"number"` // label in the map, from 1
	Use        string  `json:"use"`    // stage/piece/part
	Layer      string  `json:"layer"`  // substance, applied, condition
	Kind       string  `json:"kind"`   // a word of annotate/terms
	Basis      string  `json:"basis,omitempty"`
	Reason     string  `json:"reason,omitempty"`
	Certainty  string  `json:"certainty"` // seen, inferred, reported, assumed
	ExaminedBy string  `json:"examined_by,omitempty"`
	Material   string  `json:"material,omitempty"`
	Who        string  `json:"who,omitempty"` // person id
	When       string  `json:"when,omitempty"`
	Since      string  `json:"since,omitempty"` // stage id
	Until      string  `json:"until,omitempty"`
	Work       string  `json:"work,omitempty"`
	Evidence   string  `json:"evidence,omitempty"`
	Rest       bool    `json:"rest,omitempty"` // made by "all the rest"
	Note       string  `json:"note,omitempty"`
	BandMM     float64 `json:"band_mm,omitempty"` // half width of the uncertain band along its outline
	// ThicknessMM is how thick a fill or reconstruction is taken to be, least,
	// likeliest, most: only for estimates where nothing was scanned before it.
	ThicknessMM *[3]float64 `json:"thickness_mm,omitempty"`
	Density     *Density    `json:"density,omitempty"` // of its material

	Newer Newer `json:"-"` // members of a newer version
}

// Density is that of a material, in grams per cubic centimetre, with its
// standard uncertainty.
type Density struct {
	GramsPerCM3 float64 `json:"g_per_cm3"`
	U           float64 `json:"u"`

	Newer Newer `json:"-"` // members of a newer version
}

// Line is a join, a lost contact or a pin, as points on the surface of one
// use, in that scan's frame, mm.
type Line struct {
	ID     string       `json:"id"` // J1, J2 …
	Use    string       `json:"use"`
	Kind   string       `json:"kind"`          // join, contact_lost, pin
	Fit    string       `json:"fit,omitempty"` // close, part, placed
	Points [][3]float64 `json:"points_mm"`
	Pieces []string     `json:"pieces,omitempty"`
	Who    string       `json:"who,omitempty"`
	When   string       `json:"when,omitempty"`
	Work   string       `json:"work,omitempty"`
	Note   string       `json:"note,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Work is one dated action.
type Work struct {
	ID         string     `json:"id"`
	Stage      string     `json:"stage,omitempty"`
	When       string     `json:"when,omitempty"` // EDTF, may be an interval
	Who        string     `json:"who,omitempty"`  // person id; empty is unknown
	What       string     `json:"what"`
	Tool       string     `json:"tool,omitempty"`
	Materials  []Material `json:"materials,omitempty"`
	Reason     string     `json:"reason,omitempty"`
	Authorised string     `json:"authorised,omitempty"`
	Note       string     `json:"note,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Material is something used, as amounts and never as a bare percentage.
type Material struct {
	Name      string  `json:"name"`
	ResinG    float64 `json:"resin_g,omitempty"`
	SolventML float64 `json:"solvent_ml,omitempty"`
	Solvent   string  `json:"solvent,omitempty"`
	Basis     string  `json:"basis,omitempty"`
	AmountG   float64 `json:"amount_g,omitempty"`
	Note      string  `json:"note,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Change is what a person or the evidence said of one change area between two
// uses. Measured values stay with the tally; here is the answer only.
type Change struct {
	ID       string     `json:"id"` // C1, C2 …
	From     string     `json:"from"`
	To       string     `json:"to"`
	Kind     string     `json:"kind"` // removed, added
	What     string     `json:"what"` // matrix, fill, … unknown
	Centroid [3]float64 `json:"centroid_mm"`
	Evidence string     `json:"evidence,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Answer is what a person said to one proposal of the program: accepted, with
// what was made of it, or refused. The proposal is known by the two uses, its
// kind and its middle, in the piece's frame.
type Answer struct {
	ID       string     `json:"id"` // Q1, Q2 …
	From     string     `json:"from"`
	To       string     `json:"to"`
	Proposal string     `json:"proposal"`
	Centroid [3]float64 `json:"centroid_mm"`
	Verdict  string     `json:"verdict"` // accepted, refused
	Regions  []string   `json:"regions,omitempty"`
	Line     string     `json:"line,omitempty"`
	Change   string     `json:"change,omitempty"`
	Trimmed  bool       `json:"trimmed,omitempty"` // only part of its faces was taken
	Who      string     `json:"who,omitempty"`
	When     string     `json:"when,omitempty"`
	Note     string     `json:"note,omitempty"`

	Newer Newer `json:"-"` // members of a newer version
}

// Agreement is a person's approval of a plan or of a hand-over.
type Agreement struct {
	ID   string `json:"id"`
	Who  string `json:"who"`
	When string `json:"when"`
	What string `json:"what"`

	Newer Newer `json:"-"` // members of a newer version
}

// HandOver is one numbered package that left the house.
type HandOver struct {
	Number   int               `json:"number"`
	When     string            `json:"when"`
	Stage    string            `json:"stage"`
	SignedBy string            `json:"signed_by,omitempty"`
	Files    map[string]string `json:"files,omitempty"` // name → SHA-256

	Newer Newer `json:"-"` // members of a newer version
}

// OpenPoint is anything wrong, missing or doubtful, with its way out.
type OpenPoint struct {
	ID       string `json:"id"`
	Severity string `json:"severity"` // note, warning, refused
	About    string `json:"about,omitempty"`
	Reason   string `json:"reason"`
	WayOut   string `json:"way_out"`
}
