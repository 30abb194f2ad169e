// Package ply reads and writes PLY, the polygon file format of Greg Turk (The
// Stanford 3D Scanning Repository, "The PLY Polygon File Format", 1994), ascii
// and binary of both byte orders.
//
// Elements and properties may come in any order and of any type; what is not
// known is skipped. Polygons become fans of triangles, triangle strips are
// expanded, and the number of a triangle is its place in that order. Read are
// coordinates (x y z), normals (nx ny nz), colours (red green blue alpha, as
// sRGB), texture coordinates per vertex (s t, u v, texture_u texture_v), and
// the comment TextureFile. PLY has no unit and says nothing of frames.
//
// Not read: range grids, colours and texture coordinates per face, and scans
// that are points without faces.
//
// Nothing in a file is trusted: no memory is set aside for a count before the
// bytes it speaks of are seen to be there.
package ply
