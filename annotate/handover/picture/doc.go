// Package picture turns a map of regions into what the renderer draws, and
// makes the pictures that leave the house: the six named views with map and
// scale bar, and a legend. The window uses the same looks, so that specimen,
// report and model show one map.
//
// Every substance, applied and condition kind has its pattern and colours from
// the list of words; a region keeps an outline of its own. Three ways of
// showing exist: as seen (the scan alone), map on surface (paper lets the scan
// through, original surface shows the scan) and map (paper alone).
package picture
