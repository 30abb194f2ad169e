package session

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/annotate"
	"rigatino/annotate/handover/picture"
	"rigatino/annotate/project"
	"rigatino/mesh"
	"rigatino/mesh/frame"
	"rigatino/mesh/render"
)

// Leftover is how far a scan still lies off the one it was laid on.
type Leftover = project.Leftover

// leftover is what the specimen shows of it.
type leftover struct {
	*Leftover
	by    annotate.Alignment // that it was measured under
	hist  *Histogram
	drawn []float32 // GapMM, no farther than the scale goes: change beyond has no contours
	shown bool
}

// fullResiduals is where the scale of what is left over ends, in fit residuals: a
// scan's noise stays well inside, an error of the pose does not.
const fullResiduals = 10

// of tells whether it is of the use in view as that is aligned now.
func (l leftover) of(d *Desk) bool {
	r := d.Project.Record()
	u := r.Use(d.View)
	return l.Leftover != nil && l.Of == d.View && u != nil && u.Alignment != nil && u.Alignment.ScanToPiece == l.by.ScanToPiece && u.Alignment.To == l.by.To
}

// MeasureLeftover measures what the alignment of a use left over. It may run on any
// goroutine; KeepLeftover puts it on the desk.
func (d *Desk) MeasureLeftover(ctx context.Context, key annotate.UseKey, progress func(float64, string)) (*Leftover, error) {
	return d.Project.Leftover(ctx, key, progress)
}

// KeepLeftover keeps what is left over, to be shown.
func (d *Desk) KeepLeftover(l *Leftover) {
	r := d.Project.Record()
	u, b := r.Use(l.Of), d.bodies[l.Of]
	if u == nil || u.Alignment == nil || b == nil {
		return
	}
	full := picture.FullScale(fullResiduals * l.ResidualMM)
	drawn := make([]float32, len(l.GapMM))
	end := float32(full + picture.StepOf(full)/2) // between two contours
	for v, gap := range l.GapMM {
		drawn[v] = min(max(gap, -end), end) // not a number stays so
	}
	d.leftover = leftover{Leftover: l, by: *u.Alignment, hist: histogramOf(b.Surface.Mesh, b.Use.Scale.Calibrated(), l.GapMM, l.ResidualMM, full), drawn: drawn}
}

// ShowLeftover colours the use in view by what is left over, or no longer; it is
// false where that has not been measured for the alignment as it is.
func (d *Desk) ShowLeftover(on bool) bool {
	d.leftover.shown = on && d.leftover.of(d)
	return d.leftover.shown
}

// ShowsLeftover tells whether the use in view is coloured by what is left over.
func (d *Desk) ShowsLeftover() bool { return d.leftover.shown && d.leftover.of(d) }

// LeftoverHistogram is how much surface lies how far off; its sides are lower and
// higher than the other date.
func (d *Desk) LeftoverHistogram() *Histogram { return d.leftover.hist }

// LeftoverAt says in words how far off a place of the use in view lies.
func (d *Desk) LeftoverAt(at mesh.SurfacePoint) string {
	b := d.bodies[d.View]
	if b == nil || !d.ShowsLeftover() {
		return ""
	}
	sum := 0.0
	for k := range 3 {
		sum += at.Weights[k] * float64(d.leftover.GapMM[b.Surface.Mesh.Triangles[3*at.Face+uint32(k)]])
	}
	switch {
	case math.IsNaN(sum):
		return "where the other date shows nothing"
	case sum < 0:
		return fmt.Sprintf("%.3f\u00a0mm lower than the other date", -sum)
	}
	return fmt.Sprintf("%.3f\u00a0mm higher than the other date", sum)
}

// Slide is the motion that an alignment holds least, as it is drawn.
type Slide struct {
	Way  []r3.Vec // of one place, to and fro, in the scene
	Name string   // turning about the long axis, sliding along …
	// TurnDeg, or else ShiftMM, is how large that motion may be, at k = 2; 0 where
	// the alignment does not say.
	TurnDeg, ShiftMM float64
	// Magnified is how many times as large the way is drawn; 0 where that is not known.
	Magnified float64
}

// Words names the motion with its size.
func (s Slide) Words() string {
	switch {
	case s.TurnDeg > 0:
		return fmt.Sprintf("%s, ± %s°", s.Name, twoDigits(s.TurnDeg))
	case s.ShiftMM > 0:
		return fmt.Sprintf("%s, ± %s\u00a0mm", s.Name, twoDigits(s.ShiftMM))
	}
	return s.Name
}

func twoDigits(v float64) string {
	return fmt.Sprintf("%.*f", max(0, 1-int(math.Floor(math.Log10(v)))), v)
}

// slideSteps is how many places of the way are drawn to either side.
const slideSteps = 24

// Slide is the motion that the alignment of the use in view holds least: of a
// turning, the way of a place on the side that is seen; of a sliding, that of the
// middle of what holds it. ok is false where the alignment says none.
func (d *Desk) Slide(c render.Camera) (s Slide, ok bool) {
	b := d.bodies[d.View]
	r := d.Project.Record()
	u := r.Use(d.View)
	if b == nil || u == nil || u.Alignment == nil || len(u.Alignment.WeakMotion) != 6 || u.Alignment.Verdict == annotate.VerdictRefused {
		return s, false
	}
	a := u.Alignment
	turn, shift := r3.Vec{X: a.WeakMotion[0], Y: a.WeakMotion[1], Z: a.WeakMotion[2]}, r3.Vec{X: a.WeakMotion[3], Y: a.WeakMotion[4], Z: a.WeakMotion[5]}
	centre := vec(a.Centre)
	s.Name, _, _ = strings.Cut(a.WeakestDirection, ";")
	turning := strings.HasPrefix(s.Name, "turning")
	axis, block := shift, 3
	if turning {
		axis, block = turn, 0
	}
	size := r3.Norm(axis)
	if !(size > 0) {
		return s, false
	}
	axis = r3.Scale(1/size, axis)
	if wide := 2 * deviation(a.Covariance, axis, block); wide > 0 {
		s.Magnified = size / wide
		if turning {
			s.TurnDeg = wide * 180 / math.Pi
		} else {
			s.ShiftMM = wide
		}
	}
	// Everything about the motion is in the piece's frame.
	toScene := d.inScene(b.Loaded, frame.Identity())
	at, step := centre, func(t float64) frame.Rigid { return frame.Small(centre, r3.Vec{}, r3.Scale(t, shift)) }
	if turning {
		along := r3.Scale(r3.Dot(shift, axis), axis)
		on := r3.Add(centre, r3.Scale(1/(size*size), r3.Cross(turn, shift))) // of the axis that the motion screws about
		step = func(t float64) frame.Rigid { return frame.Small(on, r3.Scale(t, turn), r3.Scale(t, along)) }
		side := toScene.Inverse().Turn(c.Back)
		if side = r3.Sub(side, r3.Scale(r3.Dot(side, axis), axis)); r3.Norm(side) < 0.1 { // seen along the axis
			side = toScene.Inverse().Turn(c.Right)
			side = r3.Sub(side, r3.Scale(r3.Dot(side, axis), axis))
		}
		at = r3.Add(on, r3.Scale(b.farFrom(a.ScanToPiece, on, axis), r3.Unit(side)))
	}
	for k := -slideSteps; k <= slideSteps; k++ {
		s.Way = append(s.Way, toScene.Apply(step(float64(k)/slideSteps).Apply(at)))
	}
	return s, true
}

// deviation is the standard uncertainty along a direction of one block, turn or
// shift, of a covariance; 0 where there is none.
func deviation(c []float64, along r3.Vec, from int) float64 {
	if len(c) != 36 {
		return 0
	}
	v, sum := [3]float64{along.X, along.Y, along.Z}, 0.0
	for i := range 3 {
		for k := range 3 {
			sum += v[i] * v[k] * c[6*(from+i)+from+k]
		}
	}
	return math.Sqrt(math.Max(sum, 0))
}

// farFrom is how far, mm, a scan reaches from an axis in its piece's frame: what
// nine tenths of its corners do not pass.
func (b *Body) farFrom(scanToPiece [16]float64, on, axis r3.Vec) float64 {
	g, m := frame.FromMatrix(scanToPiece), b.Surface.Mesh
	factor := b.Use.Scale.Calibrated()
	step := max(1, m.VertexCount()/4000)
	var far []float64
	for v := 0; v < m.VertexCount(); v += step {
		p := r3.Sub(g.Apply(r3.Scale(factor, m.Vertex(uint32(v)))), on)
		far = append(far, r3.Norm(r3.Sub(p, r3.Scale(r3.Dot(p, axis), axis))))
	}
	slices.Sort(far)
	if len(far) == 0 {
		return 0
	}
	return far[len(far)*9/10]
}
