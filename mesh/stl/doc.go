// Package stl reads and writes STL, the stereolithography format of loose
// triangles (3D Systems, "StereoLithography Interface Specification", 1989),
// text and binary.
//
// Which of the two a file is goes by its content: binary files whose header
// begins with the word solid are common, and are told by their length or by
// their first triangles. Corners at exactly equal coordinates are welded into
// one vertex as they are read, numbered in order of first appearance; triangles
// keep their order, degenerate ones included. STL has no unit, and says nothing
// of frames.
//
// Not read: the normals (the corners have them), names of solids (several are
// one surface), and the two attribute bytes of a binary triangle, in which
// programs put colours each in its own way; the reader notes them.
//
// Nothing in a file is trusted: no memory is set aside for a count before the
// bytes it speaks of are seen to be there.
package stl
