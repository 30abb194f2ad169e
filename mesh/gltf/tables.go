package gltf

import (
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
)

// Enum is a list of named numbers that columns can refer to by its key.
type Enum struct {
	Key    string
	Name   string
	Values []EnumValue
}

// Schema is the description of property tables that is written with them.
type Schema struct {
	ID, Version string
	Enums       []Enum
}

// key is what EXT_structural_metadata allows as the name of a class, property
// or enum.
var key = regexp.MustCompile(`^[a-zA-Z_][a-zA-Z0-9_]*$`)

// Tables writes property tables (EXT_structural_metadata), once. Columns are
// STRING, ENUM (by Strings), BOOLEAN, and SCALAR or VECn of a component type. A
// table has one class of its own.
func (b *Builder) Tables(s Schema, tables []Table) error {
	root := metadataRoot{Schema: &schema{ID: s.ID, Version: s.Version, Classes: map[string]class{}}}
	if !key.MatchString(s.ID) {
		return fmt.Errorf("%q cannot be the id of a schema", s.ID)
	}
	values := map[string]map[string]int64{}
	for _, e := range s.Enums {
		if !key.MatchString(e.Key) || len(e.Values) == 0 {
			return fmt.Errorf("%q cannot be an enum", e.Key)
		}
		names := map[string]int64{}
		for _, v := range e.Values {
			if _, twice := names[v.Name]; twice || v.Value < 0 || v.Value > math.MaxUint16 {
				return fmt.Errorf("enum %q has %q twice or outside 16 bits", e.Key, v.Name)
			}
			names[v.Name] = v.Value
		}
		values[e.Key] = names
		if root.Schema.Enums == nil {
			root.Schema.Enums = map[string]enumSchema{}
		}
		root.Schema.Enums[e.Key] = enumSchema{Name: e.Name, ValueType: enumType(names), Values: e.Values}
	}
	for _, t := range tables {
		if _, twice := root.Schema.Classes[t.Class]; twice || !key.MatchString(t.Class) {
			return fmt.Errorf("%q cannot be the class of a table, or is one already", t.Class)
		}
		if t.Count < 1 {
			return fmt.Errorf("table %q has no rows", t.Name)
		}
		c := class{Properties: map[string]property{}}
		p := propertyTable{Name: t.Name, Class: t.Class, Count: t.Count, Properties: map[string]tableProperty{}}
		for i := range t.Columns {
			col := &t.Columns[i]
			if _, twice := c.Properties[col.Name]; twice || !key.MatchString(col.Name) {
				return fmt.Errorf("table %q: %q cannot be a column, or is one already", t.Name, col.Name)
			}
			spec, at, err := b.column(col, t.Count, values)
			if err != nil {
				return fmt.Errorf("table %q column %q: %w", t.Name, col.Name, err)
			}
			c.Properties[col.Name], p.Properties[col.Name] = spec, at
		}
		root.Schema.Classes[t.Class] = c
		root.PropertyTables = append(root.PropertyTables, p)
	}
	b.tables = tables
	return b.rootExtension(ExtMetadata, root)
}

// enumType is the smallest type that holds the values of an enum.
func enumType(names map[string]int64) string {
	if slices.Max(slices.Collect(maps.Values(names))) > math.MaxUint8 {
		return "UINT16"
	}
	return "UINT8"
}

// column writes one column.
func (b *Builder) column(col *Column, count int, enums map[string]map[string]int64) (property, tableProperty, error) {
	spec := property{Description: col.Description, Type: col.Type, ComponentType: col.Component, EnumType: col.Enum, Required: col.Required}
	wrong := func(n int) error { return fmt.Errorf("has %d values for %d rows", n, count) }
	var data []byte
	switch col.Type {
	case "STRING":
		if len(col.Strings) != count {
			return spec, tableProperty{}, wrong(len(col.Strings))
		}
		offsets := make([]byte, 0, 4*(count+1))
		for _, s := range col.Strings {
			offsets = binary.LittleEndian.AppendUint32(offsets, uint32(len(data)))
			data = append(data, s...)
		}
		offsets = binary.LittleEndian.AppendUint32(offsets, uint32(len(data)))
		return spec, tableProperty{Values: b.View(data), StringOffsets: new(b.View(offsets)), StringOffsetType: "UINT32"}, nil
	case "ENUM":
		names, ok := enums[col.Enum]
		if !ok || len(col.Strings) != count {
			return spec, tableProperty{}, fmt.Errorf("has no enum %q, or %w", col.Enum, wrong(len(col.Strings)))
		}
		kind := enumType(names)
		for i, s := range col.Strings {
			v, ok := names[s]
			if !ok {
				return spec, tableProperty{}, fmt.Errorf("row %d is %q, which the enum %q has not", i, s, col.Enum)
			}
			data = appendNumber(data, float64(v), kind)
		}
	case "BOOLEAN":
		if len(col.Numbers) != count {
			return spec, tableProperty{}, wrong(len(col.Numbers))
		}
		data = make([]byte, (count+7)/8)
		for i, x := range col.Numbers {
			if x != 0 {
				data[i/8] |= 1 << (i % 8)
			}
		}
	default:
		width, size := propertyWidths[col.Type], numberSizes[col.Component]
		if width == 0 || size == 0 {
			return spec, tableProperty{}, fmt.Errorf("has the type %q of %q", col.Type, col.Component)
		}
		if len(col.Numbers) != count*width {
			return spec, tableProperty{}, wrong(len(col.Numbers))
		}
		for i, x := range col.Numbers {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return spec, tableProperty{}, fmt.Errorf("number %d is %g, which glTF cannot hold; leave the column out", i, x)
			}
			data = appendNumber(data, x, col.Component)
			if size < 8 && col.Component != "FLOAT32" && numberAt(data[i*size:], col.Component) != x {
				return spec, tableProperty{}, fmt.Errorf("number %d is %g, which %s cannot hold", i, x, col.Component)
			}
		}
	}
	return spec, tableProperty{Values: b.View(data)}, nil
}

// appendNumber writes one little-endian number.
func appendNumber(b []byte, x float64, kind string) []byte {
	switch kind {
	case "INT8":
		return append(b, byte(int8(x)))
	case "UINT8":
		return append(b, uint8(x))
	case "INT16":
		return binary.LittleEndian.AppendUint16(b, uint16(int16(x)))
	case "UINT16":
		return binary.LittleEndian.AppendUint16(b, uint16(x))
	case "INT32":
		return binary.LittleEndian.AppendUint32(b, uint32(int32(x)))
	case "UINT32":
		return binary.LittleEndian.AppendUint32(b, uint32(x))
	case "INT64":
		return binary.LittleEndian.AppendUint64(b, uint64(int64(x)))
	case "UINT64":
		return binary.LittleEndian.AppendUint64(b, uint64(x))
	case "FLOAT32":
		return binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(x)))
	}
	return binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
}
