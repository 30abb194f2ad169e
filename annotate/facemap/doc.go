// Package facemap holds the map of one use of a scan: which region every face
// of the scan belongs to, in the layers substance, applied and condition.
//
// A Map knows region numbers only; what a number means stands in the record
// (annotate.Region.Number). Layer substance gives exactly one number per face,
// 0 for unassigned; layers applied and condition give any number of regions
// per face. Faces are named by their face id in the scan. Marking never changes
// geometry: a face that an outline crosses may be split into 4, 16 or 64 equal
// cells (Sub), whose labels count in areas and shading.
//
// Every operation (Stroke, StrokePath, Outline, Loop, SmoothOutline, AssignFaces,
// Rest, Carry, …) returns a Diff, which can be applied, inverted, joined and written to a journal. Encode
// and Decode are the file form; equal maps give equal bytes.
//
// A Map is not safe for concurrent change; a Surface is safe for concurrent
// use. Memory: 2 bytes a face, 1/8 byte a face for each applied or condition
// region where it lies, and about 200 bytes for each split face.
//
// Surface finds what tools take: GrowToEdges and SameColour give the faces round
// a place, SnapWay a line along a break, Sight what is seen from one place. Bends
// and colours are looked at on a scale in mm, not from face to face.
package facemap
