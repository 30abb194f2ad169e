package register

import (
	"fmt"

	"rigatino/mesh"
	"rigatino/mesh/frame"
)

// heed checks the strokes and takes what they keep out to what is ignored anyhow.
func (o *Options) heed(before, after *mesh.Mesh) error {
	o.beforeSupport, o.afterSupport = o.BeforeIgnore, o.AfterIgnore
	for _, side := range []struct {
		name         string
		m            *mesh.Mesh
		trust, never []bool
		ignore       *[]bool
	}{
		{"before", before, o.BeforeTrust, o.BeforeNever, &o.BeforeIgnore},
		{"after", after, o.AfterTrust, o.AfterNever, &o.AfterIgnore},
	} {
		n := side.m.FaceCount()
		for _, mask := range [][]bool{side.trust, side.never, *side.ignore} {
			if mask != nil && len(mask) != n {
				return fmt.Errorf("what is marked on the scan %s has %d faces, the scan %d: mark it on this scan", side.name, len(mask), n)
			}
		}
		if side.trust == nil && side.never == nil {
			continue
		}
		out := make([]bool, n)
		for f := range out {
			out[f] = side.trust != nil && !side.trust[f] || side.never != nil && side.never[f] || *side.ignore != nil && (*side.ignore)[f]
		}
		*side.ignore = out
	}
	return nil
}

// show tells whoever looks on where the scan lies so far.
func (o *Options) show(pose frame.Similarity) {
	if o.Pose != nil {
		o.Pose(pose.Rigid)
	}
}
