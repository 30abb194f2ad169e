// Package part holds the pieces the window is built from: the bench button, the
// bench line, the shelf with its swatches, the record slip and the Next bar.
// They know how they look and which key or press they answer, and nothing of
// scans, maps or projects.
package part
