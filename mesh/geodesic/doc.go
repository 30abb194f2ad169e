// Package geodesic finds the shortest way over a surface from place to place,
// as a join is measured along the specimen.
//
// The way is first searched with A* over a graph of the welded vertices and
// three points on every edge (Steiner points), which comes within 1 % and so
// settles on which side of every bump it goes. It is then pulled taut: the faces
// it crosses are unfolded into the plane and the shortest way through that strip
// is found as string is pulled through a funnel (Lee and Preparata, Networks
// 14:393, 1984); where it bends round a vertex and the way round the other side
// is less than a half turn, the strip is led round there, which always shortens
// it (the condition of Sharp and Crane, ACM Trans. Graphics 39(6), 2020, that
// they reach by edge flips). What is left is straight everywhere: exact for its
// side of every bump, and never too short.
//
// Walking along edges alone would be 3 to 40 % too long, however fine the mesh.
// Among needles a hundred times as long as wide three points an edge are too
// few, and the way may go the wrong side of something.
//
// Not supported: distance fields, ways across gaps of the surface.
package geodesic
