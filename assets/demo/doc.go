// Package demo makes the demo specimen: an invented plesiosaur humerus of the
// invented Tarn Valley Museum, TVM 2041, taken out of an invented limestone
// nodule and repaired, scanned at six stages. Nothing in it is a real fossil,
// person or place.
//
// The specimen is a formula, not a mesh. Every direction d from a point inside
// the bone has one radius r(d) at every stage, and the body is the image of the
// star-shaped set ρ <= r(d) under a map of constant Jacobian determinant (a
// stretch, a spread of one end that flattens it as much, and a bend). Its
// volume is therefore det/3 · ∫ r³ dω over the sphere, exactly, and since each
// stage changes r³ by adding terms, the volume taken off or put on between two
// stages is the integral of those terms. Areas are integrals of the area
// element. Truth holds these integrals, found by quadrature without any mesh;
// the scans are meshes made afterwards, each with its own tessellation, noise
// and pose.
//
// Not covered: surfaces that a ray from inside meets twice (undercuts), holes
// in a scan, errors of a scan that vary slowly over it, textures (scans carry
// vertex colours).
package demo
