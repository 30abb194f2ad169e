// Package gltf reads and writes glTF 2.0, as .gltf with its files beside it and
// as one .glb (Khronos glTF 2.0 specification, ISO/IEC 12113:2022).
//
// Read turns the default scene into one mesh in the specimen's world frame:
// nodes depth-first, primitives in order, triangles as stored, strips and fans
// expanded, each keeping its number even if degenerate. Node transforms are
// applied in float64 and positions recentred about Mesh.Origin, so that
// georeferenced scans keep their precision. Lines, points and the drawn ribbons
// of joins are kept aside and are never part of the surface. Feature ids
// (EXT_mesh_features), property tables (EXT_structural_metadata), material
// variants and extras are returned with it, so that an annotated model can be
// read back.
//
// Builder assembles a document and its binary data for writing: vertex data
// grouped by attribute, every block at a multiple of eight bytes. Write is the
// short way for a plain mesh.
//
// Read as well: KHR_mesh_quantization, EXT_meshopt_compression,
// KHR_texture_transform, KHR_materials_unlit, the diffuse colour of
// KHR_materials_pbrSpecularGlossiness, sparse accessors. Not read, with a finding:
// animations, morph targets, skins (the bind pose is taken), cameras, lights,
// WebP and KTX2 images. Textures other than that of the colour are not looked at.
// Refused, naming the extension: KHR_draco_mesh_compression and every other
// required extension.
//
// Nothing in a file is trusted: no memory is set aside for a count before the
// bytes it speaks of are seen to be there, and files beside a .gltf are looked
// for only inside its own folder.
package gltf
