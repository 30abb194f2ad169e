// Package annotate is the record of a specimen's preparation and its rules: who
// did what, when and with what, which stages and scans there are, which regions
// and lines the map holds. It has no geometry algorithms and touches no files.
package annotate
