// Package ply reads and writes PLY, the polygon file format of Greg Turk (The
// Stanford 3D Scanning Repository, "The PLY Polygon File Format", 1994), ascii
// and binary of both byte orders.
//
// Elements and properties may come in any order and of any type; what is not
// known is skipped. Polygons are cut as mesh.SplitPolygon says, triangle strips
// are expanded, and the number of a triangle is its place in that order. Read
// are coordinates (x y z), normals (nx ny nz), colours (red green blue alpha, as
// sRGB) of vertices or faces, texture coordinates of vertices (s t, u v,
// texture_u texture_v) or of the corners of faces (the list texcoord, with
// texnumber for one of several pictures), and the comment TextureFile. A vertex
// between faces that look different becomes several (mesh.Seams). A range grid
// (obj_info num_cols and num_rows, element range_grid) without faces is joined
// to triangles but for steps in depth. PLY has no unit and says nothing of
// frames.
//
// Not read: scans that are points without faces, colours of faces where the
// vertices have some, and names for the same things beyond those above.
//
// An ascii body with one record in a line, as nearly all are, is read in blocks
// side by side; any other is read number by number.
//
// Nothing in a file is trusted: no memory is set aside for a count before the
// bytes it speaks of are seen to be there.
package ply
