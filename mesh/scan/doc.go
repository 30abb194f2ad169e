// Package scan opens mesh files as received and says what they hold.
//
// Open tells the format by the content, never by the ending of the name: GLB,
// glTF with the files beside it, OBJ with its material files and pictures, PLY,
// STL, and each of them gzipped. A scan is one or several member files, all in
// the folder of the main one or below; its id is their SHA-256 (see ID). Meshes
// come out in millimetres where the unit is known: glTF is metres, OBJ, PLY and
// STL have no unit and need to be told.
//
// Check reports counts, measures and whatever is wrong with a scan, with
// proposals of what is no specimen (see mesh/quality). It changes nothing.
package scan
