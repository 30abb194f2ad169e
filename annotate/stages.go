package annotate

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rigatino/annotate/terms"
)

// ParseUseKey reads stage/piece/part.
func ParseUseKey(text string) (UseKey, error) {
	p := strings.Split(text, "/")
	if len(p) != 3 || p[0] == "" || p[1] == "" || p[2] == "" {
		return UseKey{}, fmt.Errorf("%q names no use: write stage/piece/part, such as fill/body/whole", text)
	}
	return UseKey{p[0], p[1], p[2]}, nil
}

// Stage returns the stage with an id.
func (r *Record) Stage(id string) (Stage, bool) {
	i := r.StageIndex(id)
	if i < 0 {
		return Stage{}, false
	}
	return r.Stages[i], true
}

// StageIndex returns the place of a stage in the course of events, -1 if there
// is none with this id. The list of stages is kept in that order.
func (r *Record) StageIndex(id string) int {
	return slices.IndexFunc(r.Stages, func(s Stage) bool { return s.ID == id })
}

// PutStage returns the stage of a kind and date, which it adds if there is none
// yet: with the kind as id, or kind-2, kind-3 when the kind comes again. The
// kind may also be the id of a stage that exists; its date must then agree or
// be left out. A new stage stands after all that are not later.
func (r *Record) PutStage(kind, date string) (Stage, error) {
	when, err := ParseDate(date)
	if err != nil {
		return Stage{}, err
	}
	for _, s := range r.Stages {
		if (s.Kind == kind || s.ID == kind) && s.Date == date {
			return s, nil
		}
	}
	if s, ok := r.Stage(kind); ok && date == "" {
		return s, nil
	} else if ok && s.ID != s.Kind {
		return Stage{}, fmt.Errorf("stage %s has the date %s, not %s: name the kind %s for a new stage", s.ID, s.Date, date, s.Kind)
	}
	if err := CheckWord(terms.StageKind, kind); err != nil {
		return Stage{}, err
	}
	n := 1
	for slices.ContainsFunc(r.Stages, func(s Stage) bool { return s.ID == numbered(kind, n) }) {
		n++
	}
	s := Stage{ID: numbered(kind, n), Kind: kind, Date: date}
	at := len(r.Stages)
	for at > 0 {
		other, err := ParseDate(r.Stages[at-1].Date)
		if err != nil || !when.before(other) {
			break
		}
		at--
	}
	r.Stages = slices.Insert(r.Stages, at, s)
	return s, nil
}

func numbered(kind string, n int) string {
	if n == 1 {
		return kind
	}
	return kind + "-" + strconv.Itoa(n)
}

// FindStage returns the stage that a person names: by id, or by kind if only
// one stage is of that kind.
func (r *Record) FindStage(name string) (Stage, error) {
	if s, ok := r.Stage(name); ok {
		return s, nil
	}
	var ids []string
	for _, s := range r.Stages {
		ids = append(ids, s.ID)
	}
	if len(ids) == 0 {
		return Stage{}, fmt.Errorf("stage %q does not exist: the project has no stages yet, add a scan first", name)
	}
	return Stage{}, fmt.Errorf("stage %q does not exist: the project has %s", name, strings.Join(ids, ", "))
}

// Use returns the use at a place, by pointer into the record.
func (r *Record) Use(key UseKey) *Use {
	for i := range r.Uses {
		if r.Uses[i].Key() == key {
			return &r.Uses[i]
		}
	}
	return nil
}

// UsesAt returns the uses of a piece at a stage, in the order in which parts
// count.
func (r *Record) UsesAt(stage, piece string) []Use {
	var out []Use
	for _, u := range r.Uses {
		if u.Stage == stage && u.Piece == piece {
			out = append(out, u)
		}
	}
	slices.SortStableFunc(out, func(a, b Use) int { return terms.Order(terms.Part, a.Part) - terms.Order(terms.Part, b.Part) })
	return out
}

// Chain returns all uses of a piece in the course of events, parts of one
// stage in the order in which they count.
func (r *Record) Chain(piece string) []Use {
	var out []Use
	for _, s := range r.Stages {
		out = append(out, r.UsesAt(s.ID, piece)...)
	}
	return out
}

// BaseUse returns the use whose scan gives a piece its frame: the one that was
// added first, whatever was added for an earlier stage since.
func (r *Record) BaseUse(piece string) (Use, bool) {
	for _, u := range r.Uses {
		if u.Piece == piece {
			return u, true
		}
	}
	return Use{}, false
}

// FindUse returns the use that a person names by stage, piece and part; piece
// and part may be left out where that is not ambiguous.
func (r *Record) FindUse(stage, piece, part string) (Use, error) {
	s, err := r.FindStage(stage)
	if err != nil {
		return Use{}, err
	}
	if piece == "" {
		piece = Body
	}
	uses := r.UsesAt(s.ID, piece)
	if len(uses) == 0 {
		return Use{}, fmt.Errorf("piece %q has no scan at stage %s: add one, or name another piece", piece, s.ID)
	}
	if part == "" && len(uses) == 1 {
		return uses[0], nil
	}
	var parts []string
	for _, u := range uses {
		if u.Part == part {
			return u, nil
		}
		parts = append(parts, u.Part)
	}
	if part == "" {
		return Use{}, fmt.Errorf("stage %s has several scans of piece %q: name the part, one of %s", s.ID, piece, strings.Join(parts, ", "))
	}
	return Use{}, fmt.Errorf("stage %s has no part %q of piece %q, only %s", s.ID, part, piece, strings.Join(parts, ", "))
}

// Scan returns the scan with an id.
func (r *Record) Scan(id string) (Scan, bool) {
	for _, s := range r.Scans {
		if s.ID == id {
			return s, true
		}
	}
	return Scan{}, false
}

// Piece returns the piece with an id.
func (r *Record) Piece(id string) (Piece, bool) {
	for _, p := range r.Pieces {
		if p.ID == id {
			return p, true
		}
	}
	return Piece{}, false
}

// PresentAt returns the pieces that are pieces of their own at a stage: from
// the stage Since on and until they are joined into another.
func (r *Record) PresentAt(stage string) []Piece {
	at := r.StageIndex(stage)
	var out []Piece
	for _, p := range r.Pieces {
		if p.Since != "" && r.StageIndex(p.Since) > at {
			continue
		}
		if joined := r.StageIndex(p.JoinedAt); p.JoinedAt != "" && joined >= 0 && joined <= at {
			continue
		}
		out = append(out, p)
	}
	return out
}

// Region returns the region with an id.
func (r *Record) Region(id string) (Region, bool) {
	for _, g := range r.Regions {
		if g.ID == id {
			return g, true
		}
	}
	return Region{}, false
}

// RegionsOf returns the regions of a use by their number in its map.
func (r *Record) RegionsOf(use string) map[uint16]Region {
	out := map[uint16]Region{}
	for _, g := range r.Regions {
		if g.Use == use {
			out[g.Number] = g
		}
	}
	return out
}

// NextID returns the next free id with a prefix: R1, R2 … for regions, J1 …
// for lines. Ids that were used are not used again while their entry stands.
func NextID[T any](prefix string, list []T, id func(T) string) string {
	highest := 0
	for _, e := range list {
		if n, err := strconv.Atoi(strings.TrimPrefix(id(e), prefix)); err == nil && strings.HasPrefix(id(e), prefix) {
			highest = max(highest, n)
		}
	}
	return prefix + strconv.Itoa(highest+1)
}

// NextRegion returns the id and the number in the map of the next region of a
// use.
func (r *Record) NextRegion(use string) (id string, number uint16, err error) {
	highest := 0
	for _, g := range r.Regions {
		if g.Use == use {
			highest = max(highest, int(g.Number))
		}
	}
	if highest >= 1<<16-1 {
		return "", 0, fmt.Errorf("use %s has %d regions, the most a map can number", use, highest)
	}
	return NextID("R", r.Regions, func(g Region) string { return g.ID }), uint16(highest + 1), nil
}
