// Package obj reads and writes OBJ, the text format of polygons that Wavefront
// published ("Object Files (.obj)", Advanced Visualizer manual, appendix B1,
// 1995), with its material files (MTL, "MTL material format", same place).
//
// Read are vertices (v), with the colours that scan programs append to them
// (r g b, sRGB, 0 to 1 or 0 to 255), texture coordinates (vt), normals (vn),
// faces (f) with any number of corners, negative (relative) numbers, lines
// continued with a backslash, and materials (mtllib, usemtl): their name, Kd, d
// and map_Kd. Objects and groups are read as one surface. Lines end in LF, CR
// LF or CR. The number of a triangle is its place in the file; polygons are cut
// as mesh.SplitPolygon says. A point that is used with several texture
// coordinates or normals becomes several vertices (mesh.Seams).
//
// A material with a picture shows the picture as it is: Kd is the colour where
// there is none, and taken as sRGB, by common practice. OBJ has no unit and says
// nothing of frames.
//
// Not read: curves and free-form surfaces, smoothing groups, lines and points,
// all other maps and properties of materials, shifts and scales of textures.
// OBJ has neither a version nor a mark of its end: a file that was cut off
// between two lines is a smaller file, and only one that ends inside a line can
// be told.
//
// The file is cut into blocks at line ends, which are read side by side and put
// together in order. Nothing in a file is trusted: the memory that is set aside
// grows with what has been read, never with what a number says.
package obj
