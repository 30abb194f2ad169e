// Package tool is the hand tools of the task Map without a window: what they
// are called, the line of a loop on the picture, and how the line of a join is
// drawn and its points are moved. What a tool does to the map is done by
// annotate/project; what the picture shows is asked of mesh/render.
package tool
