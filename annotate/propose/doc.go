// Package propose says what the map of a scan would look like if the difference
// from an earlier scan of the same piece were all there is to go by: matter put
// on is a fill, adhesive along a join or a piece set back; matter taken off was
// matrix, or fossil where the earlier map says so; colour that changed where the
// shape did not is light, a state of the whole body, or retouch; and what still
// has the colour and roughness of the matrix that went is matrix.
//
// A proposal marks nothing. It carries its faces, its evidence in words and
// numbers and the certainty "inferred", and a person accepts it, accepts part of
// it, or refuses it. Of lowered original surface no cause is ever proposed.
//
// Colours are compared by CIEDE2000 (Sharma, Wu and Dalal, Color Res. Appl.
// 30:21, 2005) with lightness counted half, after the difference in light
// between the scans has been taken out: the logarithm of the ratio of linear
// light is fitted, robustly, by spherical harmonics of the second order of the
// surface normal, which is what distant light does to a matt surface
// (Ramamoorthi and Hanrahan, J. Opt. Soc. Am. A 18:2448, 2001).
//
// Not supported: shadows cast by the specimen on itself, gloss, colour on scans
// that carry none (then shape alone speaks), changes thinner than the pair can
// show and of no colour of their own.
package propose
