package gltf

import (
	"math"
	"strconv"
	"strings"
)

// maxFeatureSets bounds n in _FEATURE_ID_n.
const maxFeatureSets = 16

// featureIDs returns the sets of feature ids of the vertices of a group, by n,
// up to the highest n it has; a set it lacks is nil.
func (r *reader) featureIDs(g *group) ([][]uint32, error) {
	var sets [][]uint32
	for n := range maxFeatureSets {
		a, ok, err := r.attribute(g, "_FEATURE_ID_"+strconv.Itoa(n))
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		if a.width != 1 {
			return nil, damaged(a.where, "does not hold single numbers")
		}
		ids := make([]uint32, a.count)
		values := &a
		if a.sparse != nil || a.kind == Float32 {
			f := a.numbers(1)
			for i, x := range f {
				if x < 0 || x != float32(math.Trunc(float64(x))) || x > 1<<24 {
					return nil, damaged(a.where, "id %d is %g and not a whole number", i, x)
				}
				ids[i] = uint32(x)
			}
		} else if !values.isUnsigned() {
			return nil, damaged(a.where, "does not hold whole numbers from 0")
		} else {
			copy(ids, values.uint32s())
		}
		sets = append(sets, ids)
	}
	for name := range g.attributes {
		if strings.HasPrefix(name, "_FEATURE_ID_") && len(sets) == 0 {
			r.once("feature_ids_unread", "feature ids that do not begin at _FEATURE_ID_0 were left out", "")
		}
	}
	return sets, nil
}

// allFeatureIDs concatenates the feature ids of all groups.
func (r *reader) allFeatureIDs(groups []*group, vertices int) ([][]uint32, error) {
	var out [][]uint32
	for _, g := range groups {
		sets, err := r.featureIDs(g)
		if err != nil {
			return nil, err
		}
		for n, ids := range sets {
			if n == len(out) {
				all := make([]uint32, vertices)
				for i := range all {
					all[i] = NoFeature
				}
				out = append(out, all)
			}
			copy(out[n][g.first:], ids)
		}
	}
	return out, nil
}

// FaceFeatures returns the id of set n for every face: that of its corners. A
// face whose corners differ gets NoFeature and is counted in mixed.
func (s *Scene) FaceFeatures(n int) (ids []uint32, mixed int) {
	ids = make([]uint32, s.Mesh.FaceCount())
	for f := range ids {
		ids[f] = NoFeature
		if n >= len(s.FeatureIDs) {
			continue
		}
		t := s.Mesh.Triangles[3*f : 3*f+3]
		of := s.FeatureIDs[n]
		if of[t[0]] == of[t[1]] && of[t[1]] == of[t[2]] {
			ids[f] = of[t[0]]
		} else {
			mixed++
		}
	}
	return ids, mixed
}
