// Package change finds what two aligned scans of one piece differ by: matter
// removed and matter added, each a set of change areas.
//
// Every vertex of either scan is given its gap: the signed distance to the
// other scan, positive outside it, undefined where the closest place is on an
// open rim. The other scan is taken for round between its corners as their
// normals say: against its flat faces, chords, unchanged surface would seem to
// have grown, the more the coarser the scan. Gaps are averaged over neighbours, and their spread on the
// unchanged part of the surface says what the pair can show at all. Where the
// averaged gap passes a limit lies a core; cores of the two scans that face
// each other are one change area. Each scan keeps its own gap, because neither
// sees everything: the floor of a pit sees its former lid, while no closest
// point of the lid reaches the floor.
//
// A scan is not as good everywhere. An area no wider than ten independent values
// of the error (by its variogram) must stand out from the values of the other
// sign round it, which are error and not change of its kind; what the alignment
// leaves open is added as it is at the place.
//
// What is said of an area here (depths, surface) comes from closest distances
// and is no volume: area times distance is wrong by a quarter and more on
// curved or undercut matter. Package volume measures volumes.
//
// Not seen: a change thinner than SmallestMM, error that is common to both
// scans, and error of a scan that is smooth over more than a change area, which
// looks like a change. Lengths are mm; positions are in the frame of the scan
// before.
package change
