// Package mesh holds the triangle mesh of a scan and what can be asked of it
// alone: topology, weld map, areas, volumes, sampling and smoothing.
//
// A Mesh is a few flat slices. Vertex i has its coordinates at
// Positions[3i:3i+3], given about Origin, so that a scan far from zero keeps
// its float32 precision; triangle f has its corners at Triangles[3f:3f+3],
// counter-clockwise as seen from outside. Lengths are millimetres unless a
// scan says no unit, in which case they are the file's own. Sums are made in
// float64 and in fixed blocks, so that results do not depend on the number of
// processors.
//
// The index of a triangle is its face id: the order in which the file stores
// it. Marking never changes geometry. Working meshes that are welded, sorted,
// sampled or simplified carry Source, the scan face behind each triangle.
//
// A mesh costs 12 bytes a vertex and 12 a triangle (about 18 bytes a triangle
// on a closed scan), before normals (12 a vertex), texture coordinates (8) and
// colours (4).
package mesh
