// Package frame moves points between the frames of scans, pieces and the
// specimen, and fits such motions to pairs of points in closed form.
//
// A motion acts on column vectors of millimetres, after node transforms and
// unit factors; matrices are 4×4 row-major. Names say both frames.
package frame
