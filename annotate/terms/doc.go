// Package terms is the one list of controlled words: what a place on the
// surface can be, how sure that is, how it was examined, what kinds of stage
// and line there are. Each word has its id (as stored and on the command line),
// its label on screen and in print, a plain definition with its source and,
// where it is drawn, the pattern and colours that stand for it everywhere:
// shelf, specimen, annotated model, report and page.
//
// Patterns are functions of millimetres on the surface and repeat every
// TileMM in both directions, so that hatching is also a scale bar. The kind of
// the pattern carries the meaning; colour only helps.
//
// The package holds no rules about where a word may stand (that is the
// record's work) and imports nothing of ours.
package terms
