package annotate

// The methods below let every record type carry the members it does not know.

// MarshalJSON writes the Record with the members of a newer version at its end.
func (r Record) MarshalJSON() ([]byte, error) {
	type plain Record
	return encodeNewer(plain(r), r.Newer)
}

// UnmarshalJSON reads a Record and keeps the members it does not know.
func (r *Record) UnmarshalJSON(data []byte) error {
	type plain Record
	return decodeNewer(data, (*plain)(r), &r.Newer)
}

// MarshalJSON writes the Specimen with the members of a newer version at its end.
func (s Specimen) MarshalJSON() ([]byte, error) {
	type plain Specimen
	return encodeNewer(plain(s), s.Newer)
}

// UnmarshalJSON reads a Specimen and keeps the members it does not know.
func (s *Specimen) UnmarshalJSON(data []byte) error {
	type plain Specimen
	return decodeNewer(data, (*plain)(s), &s.Newer)
}

// MarshalJSON writes the Orientation with the members of a newer version at its end.
func (o Orientation) MarshalJSON() ([]byte, error) {
	type plain Orientation
	return encodeNewer(plain(o), o.Newer)
}

// UnmarshalJSON reads a Orientation and keeps the members it does not know.
func (o *Orientation) UnmarshalJSON(data []byte) error {
	type plain Orientation
	return decodeNewer(data, (*plain)(o), &o.Newer)
}

// MarshalJSON writes the Person with the members of a newer version at its end.
func (p Person) MarshalJSON() ([]byte, error) {
	type plain Person
	return encodeNewer(plain(p), p.Newer)
}

// UnmarshalJSON reads a Person and keeps the members it does not know.
func (p *Person) UnmarshalJSON(data []byte) error {
	type plain Person
	return decodeNewer(data, (*plain)(p), &p.Newer)
}

// MarshalJSON writes the Piece with the members of a newer version at its end.
func (p Piece) MarshalJSON() ([]byte, error) {
	type plain Piece
	return encodeNewer(plain(p), p.Newer)
}

// UnmarshalJSON reads a Piece and keeps the members it does not know.
func (p *Piece) UnmarshalJSON(data []byte) error {
	type plain Piece
	return decodeNewer(data, (*plain)(p), &p.Newer)
}

// MarshalJSON writes the DryFit with the members of a newer version at its end.
func (f DryFit) MarshalJSON() ([]byte, error) {
	type plain DryFit
	return encodeNewer(plain(f), f.Newer)
}

// UnmarshalJSON reads a DryFit and keeps the members it does not know.
func (f *DryFit) UnmarshalJSON(data []byte) error {
	type plain DryFit
	return decodeNewer(data, (*plain)(f), &f.Newer)
}

// MarshalJSON writes the Stage with the members of a newer version at its end.
func (s Stage) MarshalJSON() ([]byte, error) {
	type plain Stage
	return encodeNewer(plain(s), s.Newer)
}

// UnmarshalJSON reads a Stage and keeps the members it does not know.
func (s *Stage) UnmarshalJSON(data []byte) error {
	type plain Stage
	return decodeNewer(data, (*plain)(s), &s.Newer)
}

// MarshalJSON writes the Scan with the members of a newer version at its end.
func (s Scan) MarshalJSON() ([]byte, error) {
	type plain Scan
	return encodeNewer(plain(s), s.Newer)
}

// UnmarshalJSON reads a Scan and keeps the members it does not know.
func (s *Scan) UnmarshalJSON(data []byte) error {
	type plain Scan
	return decodeNewer(data, (*plain)(s), &s.Newer)
}

// MarshalJSON writes the Member with the members of a newer version at its end.
func (m Member) MarshalJSON() ([]byte, error) {
	type plain Member
	return encodeNewer(plain(m), m.Newer)
}

// UnmarshalJSON reads a Member and keeps the members it does not know.
func (m *Member) UnmarshalJSON(data []byte) error {
	type plain Member
	return decodeNewer(data, (*plain)(m), &m.Newer)
}

// MarshalJSON writes the Use with the members of a newer version at its end.
func (u Use) MarshalJSON() ([]byte, error) {
	type plain Use
	return encodeNewer(plain(u), u.Newer)
}

// UnmarshalJSON reads a Use and keeps the members it does not know.
func (u *Use) UnmarshalJSON(data []byte) error {
	type plain Use
	return decodeNewer(data, (*plain)(u), &u.Newer)
}

// MarshalJSON writes the Scale with the members of a newer version at its end.
func (s Scale) MarshalJSON() ([]byte, error) {
	type plain Scale
	return encodeNewer(plain(s), s.Newer)
}

// UnmarshalJSON reads a Scale and keeps the members it does not know.
func (s *Scale) UnmarshalJSON(data []byte) error {
	type plain Scale
	return decodeNewer(data, (*plain)(s), &s.Newer)
}

// MarshalJSON writes the ScaleBar with the members of a newer version at its end.
func (s ScaleBar) MarshalJSON() ([]byte, error) {
	type plain ScaleBar
	return encodeNewer(plain(s), s.Newer)
}

// UnmarshalJSON reads a ScaleBar and keeps the members it does not know.
func (s *ScaleBar) UnmarshalJSON(data []byte) error {
	type plain ScaleBar
	return decodeNewer(data, (*plain)(s), &s.Newer)
}

// MarshalJSON writes the Alignment with the members of a newer version at its end.
func (a Alignment) MarshalJSON() ([]byte, error) {
	type plain Alignment
	return encodeNewer(plain(a), a.Newer)
}

// UnmarshalJSON reads a Alignment and keeps the members it does not know.
func (a *Alignment) UnmarshalJSON(data []byte) error {
	type plain Alignment
	return decodeNewer(data, (*plain)(a), &a.Newer)
}

// MarshalJSON writes the Pick with the members of a newer version at its end.
func (p Pick) MarshalJSON() ([]byte, error) {
	type plain Pick
	return encodeNewer(plain(p), p.Newer)
}

// UnmarshalJSON reads a Pick and keeps the members it does not know.
func (p *Pick) UnmarshalJSON(data []byte) error {
	type plain Pick
	return decodeNewer(data, (*plain)(p), &p.Newer)
}

// MarshalJSON writes the Region with the members of a newer version at its end.
func (r Region) MarshalJSON() ([]byte, error) {
	type plain Region
	return encodeNewer(plain(r), r.Newer)
}

// UnmarshalJSON reads a Region and keeps the members it does not know.
func (r *Region) UnmarshalJSON(data []byte) error {
	type plain Region
	return decodeNewer(data, (*plain)(r), &r.Newer)
}

// MarshalJSON writes the Density with the members of a newer version at its end.
func (d Density) MarshalJSON() ([]byte, error) {
	type plain Density
	return encodeNewer(plain(d), d.Newer)
}

// UnmarshalJSON reads a Density and keeps the members it does not know.
func (d *Density) UnmarshalJSON(data []byte) error {
	type plain Density
	return decodeNewer(data, (*plain)(d), &d.Newer)
}

// MarshalJSON writes the Line with the members of a newer version at its end.
func (l Line) MarshalJSON() ([]byte, error) {
	type plain Line
	return encodeNewer(plain(l), l.Newer)
}

// UnmarshalJSON reads a Line and keeps the members it does not know.
func (l *Line) UnmarshalJSON(data []byte) error {
	type plain Line
	return decodeNewer(data, (*plain)(l), &l.Newer)
}

// MarshalJSON writes the Work with the members of a newer version at its end.
func (w Work) MarshalJSON() ([]byte, error) {
	type plain Work
	return encodeNewer(plain(w), w.Newer)
}

// UnmarshalJSON reads a Work and keeps the members it does not know.
func (w *Work) UnmarshalJSON(data []byte) error {
	type plain Work
	return decodeNewer(data, (*plain)(w), &w.Newer)
}

// MarshalJSON writes the Material with the members of a newer version at its end.
func (m Material) MarshalJSON() ([]byte, error) {
	type plain Material
	return encodeNewer(plain(m), m.Newer)
}

// UnmarshalJSON reads a Material and keeps the members it does not know.
func (m *Material) UnmarshalJSON(data []byte) error {
	type plain Material
	return decodeNewer(data, (*plain)(m), &m.Newer)
}

// MarshalJSON writes the Change with the members of a newer version at its end.
func (c Change) MarshalJSON() ([]byte, error) {
	type plain Change
	return encodeNewer(plain(c), c.Newer)
}

// UnmarshalJSON reads a Change and keeps the members it does not know.
func (c *Change) UnmarshalJSON(data []byte) error {
	type plain Change
	return decodeNewer(data, (*plain)(c), &c.Newer)
}

// MarshalJSON writes the Answer with the members of a newer version at its end.
func (a Answer) MarshalJSON() ([]byte, error) {
	type plain Answer
	return encodeNewer(plain(a), a.Newer)
}

// UnmarshalJSON reads an Answer and keeps the members it does not know.
func (a *Answer) UnmarshalJSON(data []byte) error {
	type plain Answer
	return decodeNewer(data, (*plain)(a), &a.Newer)
}

// MarshalJSON writes the Agreement with the members of a newer version at its end.
func (a Agreement) MarshalJSON() ([]byte, error) {
	type plain Agreement
	return encodeNewer(plain(a), a.Newer)
}

// UnmarshalJSON reads a Agreement and keeps the members it does not know.
func (a *Agreement) UnmarshalJSON(data []byte) error {
	type plain Agreement
	return decodeNewer(data, (*plain)(a), &a.Newer)
}

// MarshalJSON writes the HandOver with the members of a newer version at its end.
func (h HandOver) MarshalJSON() ([]byte, error) {
	type plain HandOver
	return encodeNewer(plain(h), h.Newer)
}

// UnmarshalJSON reads a HandOver and keeps the members it does not know.
func (h *HandOver) UnmarshalJSON(data []byte) error {
	type plain HandOver
	return decodeNewer(data, (*plain)(h), &h.Newer)
}

// MarshalJSON writes the FitFaces with the members of a newer version at its end.
func (f FitFaces) MarshalJSON() ([]byte, error) {
	type plain FitFaces
	return encodeNewer(plain(f), f.Newer)
}

// UnmarshalJSON reads a FitFaces and keeps the members it does not know.
func (f *FitFaces) UnmarshalJSON(data []byte) error {
	type plain FitFaces
	return decodeNewer(data, (*plain)(f), &f.Newer)
}

// MarshalJSON writes the RoundTrip with the members of a newer version at its end.
func (r RoundTrip) MarshalJSON() ([]byte, error) {
	type plain RoundTrip
	return encodeNewer(plain(r), r.Newer)
}

// UnmarshalJSON reads a RoundTrip and keeps the members it does not know.
func (r *RoundTrip) UnmarshalJSON(data []byte) error {
	type plain RoundTrip
	return decodeNewer(data, (*plain)(r), &r.Newer)
}
