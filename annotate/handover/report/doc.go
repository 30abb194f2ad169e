// Package report prints a hand-over: a first page that answers the preparator,
// the researcher and the museum, then the map in six named views, the values
// with their definitions and uncertainties, the work done, open points, cautions
// and the scans behind it. It is made to be read in grey print.
//
// What the PDF does not have: tags for assistive technology and PDF/A
// conformance, which the PDF library cannot write. Text is selectable, fonts are
// embedded, headings are bookmarks.
package report
