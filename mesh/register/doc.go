// Package register lays one scan of a piece on another: it finds the motion of
// the after-scan that brings what did not change in between to lie on the
// before-scan, and says how far that is to be believed.
//
// A pose comes from three or more picked pairs (closed form) or from where the
// scans lie already. It is refined with weights that fade out what changed
// (Tukey's biweight, its width annealed from coarse to fine over three levels),
// so that rock gone from more than half of the surface does not pull. Residuals
// are taken along the common normal (symmetric objective, Rusinkiewicz, ACM
// Trans. Graphics 38(4), 2019).
//
// The verdict is accepted, ambiguous or refused. It rests on the stable area,
// which is where both scans agree in place and normal: how large it is, whether
// it holds every motion (Gelfand et al., 3DIM 2003), and whether both scans have
// one size there. The fit residual is never called accuracy; the check is made in
// cells that took no part in a fit, and the covariance comes from resampling
// whole cells, since scan error hangs together over millimetres.
//
// FitDry brings two broken faces together: turned inside out, the piece's break is
// a second scan of the body's. What touches is told from the noise, so a step left
// by lost chips does not tilt the piece; positions along the break that fit as well
// are named.
//
// Not supported yet: searching for a pose without picks.
package register
