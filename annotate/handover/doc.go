// Package handover makes the numbered, dated package that leaves the house:
// annotated model, report and tables of one stage of a project. Window and
// command call the same Make.
//
// The place of find, the names of people and what pictures say of camera and
// maker are withheld from every file unless the record releases them. The same
// project and date give the same bytes.
package handover
