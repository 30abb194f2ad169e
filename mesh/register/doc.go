// Package register lays one scan of a piece on another: it finds the motion of
// the after-scan that brings what did not change in between to lie on the
// before-scan, and says how far that is to be believed.
//
// A pose comes from three or more picked pairs (closed form) or from a search.
// The search describes patches of both scans by histograms of angles (Rusu, Blodow
// and Beetz, ICRA 2009), matches them, draws poses from pairs of matches that keep
// lengths and angles, adds one of a graduated fit to all matches (Zhou, Park and
// Koltun, ECCV 2016), refines the best and ranks them by the area that lies
// together beyond chance: two surfaces that only cross have as much area in any
// band of gaps as in any other, so the bands beside the stable one tell what
// chance gives. Matter outside the earlier scan speaks against a pose, unless it
// may have been put on.
//
// A pose is refined with weights that fade out what changed (Tukey's biweight, its
// width annealed from coarse to fine), so that rock gone from more than half of
// the surface does not pull; the weights are narrower for what lies under the
// earlier scan, since preparation takes off. Residuals are taken along the common
// normal (symmetric objective, Rusinkiewicz, ACM Trans. Graphics 38(4), 2019).
//
// The verdict is accepted, ambiguous or refused. It rests on the stable area,
// which is where both scans agree in place and normal: how large it is, how much
// of it chance gives, whether it holds every motion (Gelfand et al., 3DIM 2003;
// one scan's normals times the other's, so that noise does not seem to hold what
// is free), whether the scan comes back when it is pushed along the weakest one,
// whether another place, a half turn, the mirror image or a second motion fits
// nearly as well, and whether both scans have one size there. The fit residual is
// never called accuracy; the check is made in cells that took no part in a fit,
// and the covariance comes from resampling whole cells, since scan error hangs
// together over millimetres. Where what is left hangs together over whole cells
// the fit cannot know its error: the report states none then, says why and asks for
// check points, from which it reckons one; the covariance is widened for budgets.
//
// FitDry brings two broken faces together: turned inside out, the piece's break is
// a second scan of the body's. What touches is told from the noise, so a step left
// by lost chips does not tilt the piece; positions along the break that fit as well
// are named.
//
// Not supported: sizes that differ by more than a few per cent, even when a
// similarity is asked for; a specimen and what lies beside it that moved apart by
// less than what was taken off, with the bed not marked as support.
package register
