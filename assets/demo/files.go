package demo

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/mesh/gltf"
)

// What lies in the demo folder beside the project.
const (
	ProjectFolder = "TVM 2041.rigatino"
	ScanFolder    = "scans"    // STAGE-PIECE.glb
	PickFolder    = "picks"    // STAGE-PIECE.json, for that scan against the one before
	OutlineFolder = "outlines" // STAGE-PIECE-REGION.json, the true edges
	LineFolder    = "lines"    // J1.json, J2.json
	RecordFile    = "record.json"
	TruthFile     = "truth.json"
	ReadMeFile    = "READ ME.txt"
)

// Name is what the files of a scan are called.
func (s Scan) Name() string { return s.Stage + "-" + s.Piece }

// picksFile is the form of a file of picked pairs.
type picksFile struct {
	Unit  string          `json:"unit"`
	Pairs []annotate.Pick `json:"pairs"`
}

// lineFile is the form of a file with a line.
type lineFile struct {
	Kind   string       `json:"kind,omitempty"`
	Fit    string       `json:"fit,omitempty"`
	Unit   string       `json:"unit"`
	Points [][3]float64 `json:"points"`
}

func point(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

func points(list []r3.Vec) [][3]float64 {
	out := make([][3]float64, len(list))
	for i, p := range list {
		out[i] = point(p)
	}
	return out
}

func (p Picks) pairs() []annotate.Pick {
	out := make([]annotate.Pick, len(p.Pairs))
	for i, q := range p.Pairs {
		out[i] = annotate.Pick{Before: point(q.Before), After: point(q.After)}
	}
	return out
}

// writeFiles writes everything but the project.
func writeFiles(dir string, scans []Scan, truth *Truth) error {
	for _, sub := range []string{ScanFolder, PickFolder, OutlineFolder, LineFolder} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o755); err != nil {
			return fmt.Errorf("make the demo's folders: %w", err)
		}
	}
	for _, s := range scans {
		var data bytes.Buffer
		if err := gltf.Write(&data, s.Mesh, 0.001); err != nil {
			return fmt.Errorf("write the demo's scan %s: %w", s.Name(), err)
		}
		if err := write(data.Bytes(), dir, ScanFolder, s.Name()+".glb"); err != nil {
			return err
		}
	}
	for _, p := range Given(scans) {
		name := scans[p.After].Name()
		if scans[p.Before].Piece != scans[p.After].Piece {
			name = scans[p.After].Stage + "-" + scans[p.Before].Piece
		}
		if err := writeJSON(picksFile{"mm", p.pairs()}, dir, PickFolder, name+".json"); err != nil {
			return err
		}
	}
	last := scans[len(scans)-1]
	for _, o := range Outlines(last) {
		if err := writeJSON(lineFile{Unit: "mm", Points: points(o.Points)}, dir, OutlineFolder, last.Name()+"-"+o.Name+".json"); err != nil {
			return err
		}
	}
	for _, l := range JoinLines(last) {
		if err := writeJSON(lineFile{annotate.LineJoin, l.Fit, "mm", points(l.Points)}, dir, LineFolder, l.Name+".json"); err != nil {
			return err
		}
	}
	if err := writeJSON(truth, dir, TruthFile); err != nil {
		return err
	}
	return write([]byte(readMe), dir, ReadMeFile)
}

func writeJSON(v any, path ...string) error {
	data, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	return write(append(data, '\n'), path...)
}

func write(data []byte, path ...string) error {
	if err := os.WriteFile(filepath.Join(path...), data, 0o644); err != nil {
		return fmt.Errorf("write the demo: %w", err)
	}
	return nil
}

const readMe = `TVM 2041, the demo specimen of Rigatino. Everything in it is invented: specimen,
museum, people, place, work and scans.

TVM 2041.rigatino   the project, as the program's own commands made it
scans               what a scanner would have given: eight scans, each in its own
                    frame, in metres
picks               places picked in two scans to align them, mm, each in its own
                    scan's frame; wrong by 0.1 % of the specimen's diagonal
outlines            the true edges of the regions on the last scan, mm
lines               the join on the last scan, mm
record.json         what was written down
truth.json          what is true: volumes and areas of the formulas the scans were
                    made from, found without any mesh
`
