// Package render draws scans into pictures on the processor alone. It knows
// colours, patterns, lines and values on a surface, not what they mean.
//
// A mesh is prepared once (Prepare): triangles are sorted along a Morton curve
// and cut into clusters of 128 with their own vertices, a bounding sphere and a
// cone of normals; big meshes get a coarser proxy whose triangles remember the
// scan face they stand for. A frame is drawn in three steps, each spread over
// the processors: clusters out of sight are left out; what is left is
// rasterised, in horizontal bands, into a buffer that holds depth and triangle
// of each pixel; then every pixel is shaded once. Picking, the brush ring,
// lines and outlines read the same buffer.
//
// # Exactness
//
// Corners are snapped to 1/256 of a pixel, edges are tested in 64-bit integers
// with the top-left rule, so that two triangles that share an edge leave no
// gap and cover no pixel twice at any zoom. Triangles that reach behind the
// eye or far outside the picture are clipped first. Of two triangles at the
// same depth the later one wins, so a frame does not depend on the number of
// threads.
//
// # Frames and units
//
// Everything is in millimetres. A Body has the frame of its mesh; Placed
// carries the motion from there to the scene. The scene's camera looks along
// -Back with Right and Up in the picture. Pixel (x, y) has its centre at
// (x + 0.5, y + 0.5), y downwards.
//
// # Not supported
//
// Transparency, shadows, reflections, normal maps and animation.
package render
