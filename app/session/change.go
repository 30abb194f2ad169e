package session

import (
	"fmt"
	"math"
	"strconv"

	"rigatino/annotate"
	"rigatino/annotate/handover/picture"
	"rigatino/annotate/project"
	"rigatino/mesh"
	"rigatino/mesh/quantity"
)

// ChangeScale is where the scale of a comparison ends and how far apart its
// contours are, mm.
func (d *Desk) ChangeScale(c *project.Comparison) (fullMM, stepMM float64) {
	full := fullScale(c)
	return full, picture.StepOf(full)
}

// GapAt says in words how far the surface moved at a place of the later scan.
func (d *Desk) GapAt(at mesh.SurfacePoint) (string, bool) {
	c := d.Changed
	b := d.bodies[d.View]
	if c == nil || c.To != d.View || b == nil {
		return "", false
	}
	sum := 0.0
	for k := range 3 {
		sum += at.Weights[k] * float64(c.Change.AfterGap[b.Surface.Mesh.Triangles[3*at.Face+uint32(k)]])
	}
	switch {
	case math.IsNaN(sum):
		return "where the other scan shows nothing", true
	case math.Abs(sum) < c.Change.SmallestMM:
		return "as before, as far as this pair can show", true
	case sum < 0:
		return fmt.Sprintf("%.2f\u00a0mm lower than before", -sum), true
	}
	return fmt.Sprintf("%.2f\u00a0mm higher than before", sum), true
}

// SayWhat records what a change area was.
func (d *Desk) SayWhat(i int, what string) error {
	c := d.Changed
	if c == nil || i >= len(c.Change.Areas) {
		return fmt.Errorf("there is no such change area")
	}
	a := c.Change.Areas[i]
	err := d.Project.Edit("said what "+ChangeID(i)+" was", func(r *annotate.Record) error {
		entry := annotate.Change{
			From: c.From.String(), To: c.To.String(), Kind: string(a.Kind), What: what,
			Centroid: [3]float64{a.CentroidMM.X, a.CentroidMM.Y, a.CentroidMM.Z}, Evidence: "said by a person",
		}
		for k := range r.Changes {
			x := &r.Changes[k]
			if x.From == entry.From && x.To == entry.To && x.Kind == entry.Kind && x.Centroid == entry.Centroid {
				x.What = what
				return nil
			}
		}
		entry.ID = annotate.NextID("C", r.Changes, func(x annotate.Change) string { return x.ID })
		r.Changes = append(r.Changes, entry)
		return nil
	})
	if err == nil {
		c.What[i] = what
	}
	return err
}

// Beside prints a volume found another way, mm³, to the digits of the one it
// stands beside; to four digits where that was not measured.
func Beside(m *quantity.Measured, mm3 float64) string {
	if m == nil {
		return quantity.Measured{Value: mm3, Unit: quantity.CubicMillimetre}.String()
	}
	return m.Beside(mm3)
}

// SurfaceWords prints a surface that is only summed, not measured, to three
// digits.
func SurfaceWords(mm2 float64) string {
	if mm2 >= 1000 {
		return strconv.FormatFloat(mm2/100, 'g', 3, 64) + "\u00a0cm²"
	}
	return strconv.FormatFloat(mm2, 'g', 3, 64) + "\u00a0mm²"
}

// Words prints a measured value that may be absent.
func Words(m *quantity.Measured) string {
	if m == nil {
		return "not measured"
	}
	return m.String()
}
