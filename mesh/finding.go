package mesh

// NothingToDo is the way out of a finding that is only good to know.
const NothingToDo = "nothing needs to be done"

// Severities of a Finding.
const (
	Note    = "note"    // worth knowing
	Warning = "warning" // a value may be wrong because of it
	Refused = "refused" // it could not be used
)

// Finding is something wrong, missing or doubtful about a scan as it was read.
// Readers return findings beside the mesh instead of failing where the surface
// itself is whole. The members are those of an open point of the record.
type Finding struct {
	ID       string `json:"id"`       // which kind of finding, in lower case with underscores
	Severity string `json:"severity"` // note, warning or refused
	Reason   string `json:"reason"`   // one sentence
	WayOut   string `json:"way_out"`  // what to do about it
}
