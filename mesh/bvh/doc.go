// Package bvh finds the closest point of a mesh, the faces near a point and
// the faces that a ray meets, by a tree of bounding volumes, and the signed
// distance to a closed or open surface.
//
// A Tree is built once and then only read: any number of goroutines may ask it
// at the same time. Answers are those of an exhaustive search in float64; of
// several faces at the same distance the lowest face id is given, so answers
// do not depend on the order of the queries or the number of processors.
//
// Faces with a corner that is not a finite number are never found. Lengths are
// in the unit of the mesh.
package bvh

import "gonum.org/v1/gonum/spatial/r3"

// Feature says on what part of a face a point lies.
type Feature uint8

// The features of a triangle.
const (
	FeatureFace Feature = iota
	FeatureEdge
	FeatureVertex
)

// None is the face of a Hit that found nothing.
const None = ^uint32(0)

// Hit is the closest point of a mesh.
type Hit struct {
	Face     uint32
	Point    r3.Vec     // in the frame of the mesh
	Weights  [3]float64 // of the corners of Face
	Distance float64    // from the query, never negative
	Feature  Feature
	Corner   uint8 // FeatureEdge: the edge from this corner to the next; FeatureVertex: this corner
}
