// Package volume measures how much matter the change areas between two aligned
// scans removed or added, each value with its uncertainty budget.
//
// The volume of an area is that inside a closed shell: the patch of the scan
// before, the patch of the scan after turned round, and a ribbon between their
// outlines, by the divergence theorem. It is exact for any thickness, for
// overhangs, undercuts, holes and several loops. Both outlines are the same
// curve: drawn on the scan after at a fixed distance outside the area's core
// and pulled back to the scan before by closest points. An outline at the
// limit of the gap would cut off thin edges; one at the zero of the gap runs
// away over the unchanged surface.
//
// What then limits the value is the level at which the two scans lie where
// nothing changed: an error of 0.01 mm there, times the surface. It is looked
// at on rings round the area. Where a ring is clean (the means of its parts
// agree with one shift of the scan after), the value is corrected by that
// shift, as GUM 3.2.4 asks for a recognised systematic effect, and the volume
// without the correction is kept beside it; where it is not, the value is as
// the alignment gives it and the level of the ring goes into the uncertainty.
//
// Faces are chords: on round surface they cut off volume, by an eighth of the
// edge's square over the radius, and the same shape scanned twice with edges of
// two lengths differs by it. It is estimated from the normals at corners and
// added, a recognised effect too, but where the ring shows that the scans lie
// on each other with their flat faces. Half of it stays in the uncertainty.
//
// Two outlines farther out and, where both scans are closed, a count along
// lines check the value. They are shown, never averaged in.
//
// An area without an outline (it wraps the specimen) is the difference of two
// closed surfaces. Where the outline of an area is the open rim of both scans (a
// specimen that lay on its bed) the ribbon runs between the rims, and how the
// matter went on there is in the uncertainty, or the reason why it is declined.
// Volumes are never made by subtracting two open surfaces, nor as area times
// distance.
//
// What is closed has the same volume about any origin: every shell is counted
// about one as far off as the specimen is long too, and the difference is in the
// uncertainty or the area is declined.
package volume
