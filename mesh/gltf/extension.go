package gltf

import (
	"encoding/json"
	"fmt"
)

// Names of the extensions that are read and written.
const (
	ExtVariants     = "KHR_materials_variants"
	ExtUnlit        = "KHR_materials_unlit"
	ExtXMP          = "KHR_xmp_json_ld"
	ExtFeatures     = "EXT_mesh_features"
	ExtMetadata     = "EXT_structural_metadata"
	extTransform    = "KHR_texture_transform"
	extQuantization = "KHR_mesh_quantization"
	extDraco        = "KHR_draco_mesh_compression"
	extGlossiness   = "KHR_materials_pbrSpecularGlossiness"
	extMeshopt      = "EXT_meshopt_compression"
	extMeshoptKHR   = "KHR_meshopt_compression"
)

// Mapping gives a primitive another material in some variants
// (KHR_materials_variants).
type Mapping struct {
	Material int   `json:"material"`
	Variants []int `json:"variants"`
}

// FeatureSet says what one set of feature ids of a primitive means
// (EXT_mesh_features): an id is a row of the property table.
type FeatureSet struct {
	Label         string `json:"label,omitempty"`
	FeatureCount  int    `json:"featureCount"`
	Attribute     *int   `json:"attribute,omitempty"` // n of _FEATURE_ID_n
	PropertyTable *int   `json:"propertyTable,omitempty"`
	NullFeatureID *int   `json:"nullFeatureId,omitempty"`
}

type variantsRoot struct {
	Variants []variantName `json:"variants"`
}

type variantName struct {
	Name string `json:"name"`
}

type variantsOfPrimitive struct {
	Mappings []Mapping `json:"mappings"`
}

type featuresOfPrimitive struct {
	FeatureIDs []FeatureSet `json:"featureIds"`
}

// get decodes extension name into out and says whether it is there.
func (e Extensions) get(where, name string, out any) (bool, error) {
	raw, ok := e[name]
	if !ok {
		return false, nil
	}
	if err := json.Unmarshal(raw, out); err != nil {
		return false, damaged(where+" "+name, "cannot be read: %s", brief(err.Error()))
	}
	return true, nil
}

// variants returns the names of the material variants.
func (r *reader) variants() ([]string, error) {
	var root variantsRoot
	if _, err := r.doc.Extensions.get("the JSON", ExtVariants, &root); err != nil {
		return nil, err
	}
	var names []string
	for _, v := range root.Variants {
		names = append(names, v.Name)
	}
	return names, nil
}

// annotate reads what the extensions of a primitive say into its part.
func (r *reader) annotate(part *Part, p *Primitive) error {
	where := fmt.Sprintf("mesh %d primitive %d", part.Mesh, part.Primitive)
	var v variantsOfPrimitive
	if _, err := p.Extensions.get(where, ExtVariants, &v); err != nil {
		return err
	}
	part.Mappings = v.Mappings
	var f featuresOfPrimitive
	if _, err := p.Extensions.get(where, ExtFeatures, &f); err != nil {
		return err
	}
	part.Features = f.FeatureIDs
	return nil
}

// role is the member "role" of the extras of a primitive.
func (p *Primitive) role() string {
	var extras struct {
		Role string `json:"role"`
	}
	if json.Unmarshal(p.Extras, &extras) != nil {
		return ""
	}
	return extras.Role
}
