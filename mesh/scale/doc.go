// Package scale finds what the size of a scan is worth from scale bars: known
// lengths that stand in the scan beside the specimen.
//
// Every bar has a stated length L, mm, and a length m measured in the scan, mm
// as the scan states them, each with a standard uncertainty. One factor s with
// L = s·m is fitted to all bars by weighted least squares:
//
//	w = 1 / (u(L)² + s² u(m)²)          s and w in turn, until both stand still
//	s = Σ w L m / Σ w m²                u_int = 1/√(Σ w m²)
//	r = L − s m                         z = r √w / √(1−h), h = w m² / Σ w m²
//	χ² = Σ w r², Birge ratio √(χ²/(n−1)), u_ext = Birge ratio · u_int
//
// The uncertainty of s is the larger of u_int and u_ext, and what the bars'
// calibrations have in common is added once, since it does not average out. Each
// bar is also predicted by a fit of the others: that length error, and not the
// residual, is the honest figure.
//
// What was read on bars, and taken up here: the weights and the Birge ratio are
// the usual ones for values of unequal weight (R. T. Birge 1932, The calculation
// of errors by the method of least squares, Physical Review 40, 207; from
// memory). That the figure of merit is the error of a length that took no part,
// quoted as the largest and not as a mean, and that the longest bar reaches two
// thirds of the space diagonal, is the idea of VDI/VDE 2634 (as a German thesis
// sums it up). That bars are calibrated to 0.1 mm or better is guidance for
// cultural heritage imaging; that one bar scales, two give a basic check and
// three or more are wanted is a photogrammetry vendor's advice. The limit of
// three standard uncertainties is common practice, no source.
//
// A scale is one number. A scan that is bent or stretched one way (the doming of
// photogrammetry) is not put right by it; bars in several directions show it as
// residuals.
package scale
