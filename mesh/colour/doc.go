// Package colour converts between the colour spaces that scans, pictures and
// comparisons need: sRGB as coded in files, linear light, CIE XYZ and Lab under
// D65, and OKLab; and measures colour differences by CIEDE2000.
//
// Coded and linear components run from 0 to 1. XYZ is scaled to Y = 1 for
// white. Nothing here adapts between white points: scans and screens are both
// taken as D65.
package colour
