package render

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rigatino/mesh/frame"
)

// Scene is everything in a picture. Nothing in it may change while it is being
// drawn.
type Scene struct {
	Camera     Camera
	Light      Light // the zero Light is DefaultLight
	Background color.RGBA
	// BackFace tints surface seen from its inside, as through a hole in an open
	// scan; the zero colour leaves it as it is.
	BackFace color.RGBA
	Bodies   []Placed
	// Clip is the part of the picture to draw, in pixels; the rest of the frame
	// keeps what it showed. The zero rectangle is all of it. For the glass of a
	// loupe nothing more is wanted.
	Clip image.Rectangle
	// PixelScale multiplies every width that is given in pixels: 2 for a screen
	// with two device pixels to the point, more for print; 0 is 1.
	PixelScale float64
	Lines      []Line
	Ring       *Ring
}

// Placed is a body in its place, and how its surface is shown.
type Placed struct {
	Body        *Body
	BodyToScene *frame.Rigid // nil leaves the body where it is
	// Plain, unless transparent, is drawn instead of the scan's own texture or
	// colours.
	Plain  color.RGBA
	Marks  *Marks
	Change *Change
}

// Light comes from far away. Strengths are shares of a colour's coded value: a
// surface that faces both light and eye has Ambient + Key + Fill.
type Light struct {
	Toward  r3.Vec // towards the light; x to the right, y up, z out of the picture
	Key     float64
	Fill    float64 // from the eye
	Ambient float64
	// Raking light shades even surfaces that ask to be shown without any.
	Raking bool
}

// DefaultLight comes from the upper left, over the shoulder.
func DefaultLight() Light {
	return Light{Toward: r3.Vec{X: -0.45, Y: 0.6, Z: 0.66}, Key: 0.55, Fill: 0.2, Ambient: 0.34}
}

// RakingLight grazes the surface from one side so that relief stands out:
// azimuth is the direction it comes from, radians anticlockwise from the
// picture's right; elevation is how steeply it leaves the picture's plane.
func RakingLight(azimuth, elevation float64) Light {
	s, c := math.Sincos(azimuth)
	z, flat := math.Sincos(elevation)
	return Light{Toward: r3.Vec{X: c * flat, Y: s * flat, Z: z}, Key: 1.0, Fill: 0.05, Ambient: 0.13, Raking: true}
}

// Marks says what is laid over the surface of a body, face by face.
type Marks struct {
	// Faces holds for every face of the scan an index into Looks, or Split for
	// a face whose parts differ. Faces beyond its end have index 0.
	Faces []uint16
	// At returns the index of a place on a face that is Split.
	At func(face uint32, weights [3]float64) uint16
	// Looks are the different ways a face can look; index 0 should be that of
	// faces nobody has marked.
	Looks []Look
	// TileMM is the length on the surface after which patterns repeat; 0 is
	// that of the patterns themselves.
	TileMM float64
	// Outline is the colour of the line between faces of different Edge.
	Outline color.RGBA
}

// Split in Marks.Faces stands for a face whose parts have different looks.
const Split = math.MaxUint16

// Look is how a set of faces is drawn over the scan.
type Look struct {
	Paper   color.RGBA
	Opacity float64 // of Paper: 0 shows the scan alone, 1 paper alone
	// Inks are drawn in order, each over the last.
	Inks []Ink
	// Edge groups faces: an outline is drawn where it changes, unless both
	// sides have 0.
	Edge uint32
}

// Ink is a pattern in its colours.
type Ink struct {
	Pattern *Pattern
	Colour  color.RGBA
	Halo    color.RGBA // round the ink; transparent for none
}

// Change colours a surface by how far it moved. Values below zero are removed,
// above zero added, not a number undefined.
type Change struct {
	Values []float32 // per vertex of the mesh, mm
	// SmallestMM is the smallest change that can be shown: below it the surface
	// keeps Unchanged. FullMM is where the ramps end.
	SmallestMM, FullMM float64
	Removed, Added     *[256]color.RGBA
	Unchanged          color.RGBA
	// Undefined is drawn where there is no value.
	Undefined Look
	// StepMM is the thickness from one contour to the next; 0 draws none.
	StepMM  float64
	Contour color.RGBA // thin lines inside what was removed
	Rim     color.RGBA // thick edge round what was added
	TileMM  float64    // of Undefined's pattern
}
