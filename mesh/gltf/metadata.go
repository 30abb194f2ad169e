package gltf

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"unicode/utf8"
)

// Table is a property table of EXT_structural_metadata: facts by row, where a
// row is a feature id.
type Table struct {
	Name    string
	Class   string // key of the class in the schema
	Count   int    // rows
	Columns []Column
}

// Column is one property of all rows of a table.
type Column struct {
	Name        string // key of the property in the class
	Description string
	Type        string // SCALAR, VEC2 … VEC4, STRING, ENUM or BOOLEAN
	Component   string // INT8 … FLOAT64 for SCALAR and VECn
	Enum        string // key of the enum in the schema for ENUM
	Required    bool
	Strings     []string  // STRING: the texts; ENUM: the names of the values
	Numbers     []float64 // SCALAR, VECn (n a row), ENUM (the values), BOOLEAN (0 or 1)
}

// Column returns the column of a name, nil if the table has none.
func (t *Table) Column(name string) *Column {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return &t.Columns[i]
		}
	}
	return nil
}

// EnumValue is a named number of an enum.
type EnumValue struct {
	Name        string `json:"name"`
	Value       int64  `json:"value"`
	Description string `json:"description,omitempty"`
}

// The JSON of EXT_structural_metadata.
type (
	metadataRoot struct {
		Schema         *schema         `json:"schema,omitempty"`
		SchemaURI      string          `json:"schemaUri,omitempty"`
		PropertyTables []propertyTable `json:"propertyTables,omitempty"`
	}
	schema struct {
		ID      string                `json:"id"`
		Version string                `json:"version,omitempty"`
		Enums   map[string]enumSchema `json:"enums,omitempty"`
		Classes map[string]class      `json:"classes,omitempty"`
	}
	enumSchema struct {
		Name      string      `json:"name,omitempty"`
		ValueType string      `json:"valueType,omitempty"` // UINT16 if absent
		Values    []EnumValue `json:"values"`
	}
	class struct {
		Name       string              `json:"name,omitempty"`
		Properties map[string]property `json:"properties,omitempty"`
	}
	property struct {
		Description   string          `json:"description,omitempty"`
		Type          string          `json:"type"`
		ComponentType string          `json:"componentType,omitempty"`
		EnumType      string          `json:"enumType,omitempty"`
		Array         bool            `json:"array,omitempty"`
		Normalized    bool            `json:"normalized,omitempty"`
		Offset        json.RawMessage `json:"offset,omitempty"`
		Scale         json.RawMessage `json:"scale,omitempty"`
		Required      bool            `json:"required,omitempty"`
	}
	propertyTable struct {
		Name       string                   `json:"name,omitempty"`
		Class      string                   `json:"class"`
		Count      int                      `json:"count"`
		Properties map[string]tableProperty `json:"properties,omitempty"`
	}
	tableProperty struct {
		Values           int    `json:"values"`
		StringOffsets    *int   `json:"stringOffsets,omitempty"`
		StringOffsetType string `json:"stringOffsetType,omitempty"` // UINT32 if absent
	}
)

// numberSizes are the bytes of the component types of properties.
var numberSizes = map[string]int{
	"INT8": 1, "UINT8": 1, "INT16": 2, "UINT16": 2, "INT32": 4, "UINT32": 4,
	"INT64": 8, "UINT64": 8, "FLOAT32": 4, "FLOAT64": 8,
}

// propertyWidths are the numbers a row of the types of properties that are read.
var propertyWidths = map[string]int{"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "ENUM": 1}

var errUnread = errors.New("is of a kind that is not read")

// tables reads the property tables. A column that cannot be read is left out
// with a finding: the surface is whole without it.
func (r *reader) tables() ([]Table, error) {
	var root metadataRoot
	found, err := r.doc.Extensions.get("the JSON", ExtMetadata, &root)
	if err != nil {
		return nil, err
	}
	if !found || len(root.PropertyTables) == 0 {
		return nil, nil
	}
	if root.Schema == nil {
		r.warn("metadata_unread", "the property tables have their schema in another file and were left out", "")
		return nil, nil
	}
	var out []Table
	for i := range root.PropertyTables {
		p := &root.PropertyTables[i]
		t := Table{Name: p.Name, Class: p.Class, Count: p.Count}
		c, ok := root.Schema.Classes[p.Class]
		if !ok {
			r.warn("metadata_broken", fmt.Sprintf("property table %d has the class %q, which the schema does not", i, brief(p.Class)), again)
		}
		for _, name := range slices.Sorted(maps.Keys(p.Properties)) {
			values := p.Properties[name]
			spec, ok := c.Properties[name]
			if !ok {
				continue
			}
			col, err := r.column(&spec, &values, p.Count, root.Schema)
			if err != nil {
				r.warn("metadata_broken", fmt.Sprintf("property table %d column %q: %v", i, brief(name), err), again)
				continue
			}
			col.Name = name
			t.Columns = append(t.Columns, col)
		}
		out = append(out, t)
	}
	return out, nil
}

// column reads the values of one property.
func (r *reader) column(p *property, at *tableProperty, count int, s *schema) (Column, error) {
	col := Column{Description: p.Description, Type: p.Type, Component: p.ComponentType, Enum: p.EnumType, Required: p.Required}
	if p.Array || p.Normalized || p.Offset != nil || p.Scale != nil {
		return col, errUnread
	}
	data, _, err := r.view(at.Values)
	if err != nil {
		return col, err
	}
	if count < 1 {
		return col, fmt.Errorf("has %d rows", count)
	}
	switch p.Type {
	case "STRING":
		col.Strings, err = r.texts(data, at, count)
		return col, err
	case "BOOLEAN":
		if len(data) < (count-1)/8+1 {
			return col, fmt.Errorf("has %d bytes for %d rows", len(data), count)
		}
		col.Numbers = make([]float64, count)
		for i := range col.Numbers {
			col.Numbers[i] = float64(data[i/8] >> (i % 8) & 1)
		}
		return col, nil
	}
	width, kind := propertyWidths[p.Type], p.ComponentType
	var enum enumSchema
	if p.Type == "ENUM" {
		enum = s.Enums[p.EnumType]
		if kind = enum.ValueType; kind == "" {
			kind = "UINT16"
		}
	}
	size := numberSizes[kind]
	if width == 0 || size == 0 {
		return col, errUnread
	}
	if len(data)/(size*width) < count {
		return col, fmt.Errorf("has %d bytes for %d rows", len(data), count)
	}
	col.Numbers = make([]float64, count*width)
	for i := range col.Numbers {
		col.Numbers[i] = numberAt(data[i*size:], kind)
	}
	if p.Type == "ENUM" {
		names := map[int64]string{}
		for _, v := range enum.Values {
			names[v.Value] = v.Name
		}
		col.Strings = make([]string, count)
		for i, x := range col.Numbers {
			name, ok := names[int64(x)]
			if !ok {
				return col, fmt.Errorf("row %d has the value %g, which the enum %q does not", i, x, brief(p.EnumType))
			}
			col.Strings[i] = name
		}
	}
	return col, nil
}

// texts reads the strings of a column: bytes end to end, and count+1 offsets.
func (r *reader) texts(data []byte, at *tableProperty, count int) ([]string, error) {
	if at.StringOffsets == nil {
		return nil, errors.New("has no string offsets")
	}
	offsets, _, err := r.view(*at.StringOffsets)
	if err != nil {
		return nil, err
	}
	kind := at.StringOffsetType
	if kind == "" {
		kind = "UINT32"
	}
	size := numberSizes[kind]
	if size == 0 || kind[0] != 'U' {
		return nil, fmt.Errorf("has string offsets of the type %q", brief(kind))
	}
	if len(offsets)/size <= count {
		return nil, fmt.Errorf("has %d string offsets for %d rows", len(offsets)/size, count)
	}
	out := make([]string, count)
	from := numberAt(offsets, kind)
	for i := range out {
		to := numberAt(offsets[(i+1)*size:], kind)
		if to < from || to > float64(len(data)) {
			return nil, fmt.Errorf("row %d lies outside the text", i)
		}
		text := data[int(from):int(to)]
		if !utf8.Valid(text) {
			return nil, fmt.Errorf("row %d is not UTF-8", i)
		}
		out[i] = string(text)
		from = to
	}
	return out, nil
}

// numberAt decodes one little-endian number. Whole numbers above 2^53 lose
// their last bits.
func numberAt(b []byte, kind string) float64 {
	switch kind {
	case "INT8":
		return float64(int8(b[0]))
	case "UINT8":
		return float64(b[0])
	case "INT16":
		return float64(int16(binary.LittleEndian.Uint16(b)))
	case "UINT16":
		return float64(binary.LittleEndian.Uint16(b))
	case "INT32":
		return float64(int32(binary.LittleEndian.Uint32(b)))
	case "UINT32":
		return float64(binary.LittleEndian.Uint32(b))
	case "INT64":
		return float64(int64(binary.LittleEndian.Uint64(b)))
	case "UINT64":
		return float64(binary.LittleEndian.Uint64(b))
	case "FLOAT32":
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	}
	return math.Float64frombits(binary.LittleEndian.Uint64(b))
}
