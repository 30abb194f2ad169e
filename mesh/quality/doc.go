// Package quality looks at the surface of a scan: what is wrong with it, how
// fine it is, and which parts of it are no specimen. It changes nothing.
//
// Inspect finds repeated faces and faces without area; faces that look the
// wrong way; where the surface runs through itself, with exact signs; openings
// with their areas; edge lengths and an estimate of the noise. It proposes
// parts of the surface by their faces, each with its reason, for a person to
// accept or not: the bed on which the specimen was scanned, scale bars and loose
// islands; holes that a scan program closed; walls inside that cannot be seen
// from anywhere outside.
//
// A proposal is a guess from shape. A bed is found where it is flat: a cloth or
// a heap of sand is not. A closed hole is found where it differs from the
// surface about it in coarseness, smoothness or texture: on a scan that a
// program smoothed as a whole it may not. What the ground hides from below is
// not proposed. Lengths are in the unit of the mesh.
package quality
