package scan

import (
	"encoding/json"
	"fmt"
)

// MarshalJSON writes the report as the command check prints it: with the unit
// in the keys of measures, or without where the unit is not known.
func (r Report) MarshalJSON() ([]byte, error) {
	// Keys of measures end in the unit; the order is that of the words below.
	var fields []field
	put := func(key string, value any) { fields = append(fields, field{key, value}) }
	measure := func(key, unit string, value any) {
		if r.Unit != "" {
			key += unit
		}
		put(key, value)
	}
	const length, area, volume = "_mm", "_mm2", "_mm3"
	vec := func(x, y, z float64) [3]float64 { return [3]float64{x, y, z} }

	put("file", r.File)
	put("members", r.Members)
	put("sha256", r.SHA256)
	put("format", r.Format)
	put("unit", r.Unit)
	put("triangles", r.Triangles)
	put("vertices", r.Vertices)
	put("welded_vertices", r.Welded)
	put("components", r.Components)
	put("border_edges", r.BorderEdges)
	put("non_manifold_edges", r.NonManifoldEdges)
	put("degenerate_faces", r.DegenerateFaces)
	put("duplicate_faces", r.DuplicateFaces)
	put("closed", r.Closed)
	b := r.Bounds
	measure("bounds", length, object{{"min", vec(b.Min.X, b.Min.Y, b.Min.Z)}, {"max", vec(b.Max.X, b.Max.Y, b.Max.Z)}})
	measure("area", area, r.Area)
	if r.Volume != nil {
		measure("volume", volume, *r.Volume)
	}
	measure("mean_edge", length, r.MeanEdge)
	if q := r.Quality; q != nil {
		measure("edge_p5", length, q.Resolution.Edge5)
		measure("edge_p95", length, q.Resolution.Edge95)
		if q.Resolution.Noise != nil {
			measure("noise", length, *q.Resolution.Noise)
		}
		put("zero_area_faces", q.ZeroArea)
		put("closure_ratio", q.Closure)
		put("turned_faces", q.Orientation.Turned)
		put("one_sided_components", q.Orientation.OneSided)
		put("inside_out_components", q.Orientation.InsideOut)
		keep := fields
		fields = nil
		put("pairs", q.Crossing.Pairs)
		put("triangles", len(q.Crossing.Faces))
		measure("area", area, q.Crossing.Area)
		put("at_least", q.Crossing.AtLeast)
		crossing := object(fields)
		openings := []object{}
		for _, o := range q.Openings {
			fields = nil
			put("edges", o.Edges)
			measure("edge_length", length, o.Length)
			measure("area", area, o.Area)
			measure("centre", length, vec(o.Centre.X, o.Centre.Y, o.Centre.Z))
			openings = append(openings, fields)
		}
		proposals := []object{}
		for _, p := range q.Proposals {
			fields = nil
			put("kind", p.Kind)
			put("triangles", len(p.Faces))
			measure("area", area, p.Area)
			put("reason", p.Reason)
			put("faces", runs(p.Faces))
			proposals = append(proposals, fields)
		}
		fields = keep
		put("self_intersection", crossing)
		put("openings", openings)
		put("proposals", proposals)
	}
	put("textures", r.Textures)
	points := []object{}
	for _, p := range r.OpenPoints {
		points = append(points, object{{"id", p.ID}, {"severity", p.Severity}, {"about", r.File}, {"reason", p.Reason}, {"way_out", p.WayOut}})
	}
	put("open_points", points)
	return object(fields).MarshalJSON()
}

// runs writes a rising list of faces as a file of faces does: one number or a-b
// for each run.
func runs(faces []uint32) []string {
	out := []string{}
	for i := 0; i < len(faces); {
		j := i
		for j+1 < len(faces) && faces[j+1] == faces[j]+1 {
			j++
		}
		if i == j {
			out = append(out, fmt.Sprint(faces[i]))
		} else {
			out = append(out, fmt.Sprintf("%d-%d", faces[i], faces[j]))
		}
		i = j + 1
	}
	return out
}

// field is a member of an object, object a JSON object in the order given.
type (
	field struct {
		key   string
		value any
	}
	object []field
)

// MarshalJSON writes the members in order.
func (o object) MarshalJSON() ([]byte, error) {
	out := []byte{'{'}
	for i, f := range o {
		value, err := json.Marshal(f.value)
		if err != nil {
			return nil, err
		}
		key, err := json.Marshal(f.key)
		if err != nil {
			return nil, err
		}
		if i > 0 {
			out = append(out, ',')
		}
		out = append(append(append(out, key...), ':'), value...)
	}
	return append(out, '}'), nil
}
