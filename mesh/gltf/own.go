package gltf

import "strings"

// may says whether the values of an accessor may be written over the bytes that
// Read was given: they lie in the binary chunk of a plain GLB of one primitive in
// one place, and nothing else uses those bytes.
func (r *reader) may(accessor int, kind ComponentType, shape string) bool {
	d := r.doc
	if r.opt.Own == nil || r.bin == nil || len(d.Buffers) != 1 || d.Buffers[0].URI != "" || len(d.Meshes) != 1 || len(d.Meshes[0].Primitives) != 1 {
		return false
	}
	placed := 0
	for i := range d.Nodes {
		if d.Nodes[i].Mesh != nil {
			placed++
		}
	}
	for _, name := range d.ExtensionsUsed {
		if !strings.HasPrefix(name, "KHR_materials_") && !strings.HasPrefix(name, "KHR_texture_") {
			return false // it may keep something of its own there
		}
	}
	uses := 0
	for _, i := range d.Meshes[0].Primitives[0].Attributes {
		if i == accessor {
			uses++
		}
	}
	a := &d.Accessors[accessor]
	if placed != 1 || uses != 1 || len(d.Meshes[0].Primitives[0].Targets) > 0 || a.ComponentType != kind || a.Type != shape || a.BufferView == nil || a.Sparse != nil {
		return false
	}
	view := *a.BufferView
	v := &d.BufferViews[view]
	if len(v.Extensions) > 0 {
		return false
	}
	for i := range d.BufferViews {
		o := &d.BufferViews[i]
		if i != view && (len(o.Extensions) > 0 || o.ByteOffset < v.ByteOffset+v.ByteLength && v.ByteOffset < o.ByteOffset+o.ByteLength) {
			return false
		}
	}
	for i := range d.Accessors {
		o := &d.Accessors[i]
		if i != accessor && o.BufferView != nil && *o.BufferView == view || o.Sparse != nil && (o.Sparse.Indices.BufferView == view || o.Sparse.Values.BufferView == view) {
			return false
		}
	}
	for i := range d.Images {
		if o := d.Images[i].BufferView; o != nil && *o == view {
			return false
		}
	}
	return true
}
