// Package glb writes the annotated model: the scan of one stage with its map,
// as a glTF 2.0 binary that any viewer opens and that says in standard
// extensions what each place is. It also reads such a file back, from its
// triangles and ids alone.
//
// One primitive holds one source material, one substance and one topmost
// applied or condition kind, so that viewers without the extensions' knowledge
// can still switch between as seen, map, and map on surface
// (KHR_materials_variants). Every triangle carries two ids (EXT_mesh_features):
// its row in the table of regions and its row in the table of overlays
// (EXT_structural_metadata). Faces that an outline crosses are cut here and
// nowhere else.
package glb
