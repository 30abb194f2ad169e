package annotate

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"sort"
	"strings"
	"sync"
)

// Newer holds the JSON members that a newer minor version of the program wrote
// and this one does not know, as one JSON object with sorted names; empty for
// none. It travels with the value it belongs to, so that undo, merging and
// saving keep it.
type Newer string

// Encode writes any record value as one line of JSON with a fixed order of
// members and without HTML escapes, so that equal values give equal bytes.
func Encode(v any) ([]byte, error) {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), nil
}

func encodeNewer(v any, extra Newer) ([]byte, error) {
	text, err := Encode(v)
	if err != nil || extra == "" {
		return text, err
	}
	text = text[:len(text)-1] // the closing brace comes with extra
	if len(text) > 1 {
		text = append(text, ',')
	}
	return append(text, extra[1:]...), nil
}

func decodeNewer(data []byte, v any, extra *Newer) error {
	if err := json.Unmarshal(data, v); err != nil {
		return err
	}
	unknown, err := UnknownMembers(data, reflect.TypeOf(v).Elem())
	*extra = unknown
	return err
}

// UnknownMembers returns those members of a JSON object that struct type t has
// no field for.
func UnknownMembers(data []byte, t reflect.Type) (Newer, error) {
	if string(bytes.TrimSpace(data)) == "null" {
		return "", nil
	}
	var all map[string]json.RawMessage
	if err := json.Unmarshal(data, &all); err != nil {
		return "", err
	}
	known := memberNames(t)
	var names []string
	for name := range all {
		if !known[strings.ToLower(name)] {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return "", nil
	}
	sort.Strings(names)
	var out bytes.Buffer
	for i, name := range names {
		out.WriteByte("{,"[min(i, 1)])
		key, err := Encode(name)
		if err != nil {
			return "", fmt.Errorf("member %q: %w", name, err)
		}
		out.Write(key)
		out.WriteByte(':')
		if err := json.Compact(&out, all[name]); err != nil {
			return "", fmt.Errorf("member %q: %w", name, err)
		}
	}
	out.WriteByte('}')
	return Newer(out.String()), nil
}

var memberNamesOf sync.Map // reflect.Type → map[string]bool, names in lower case as encoding/json matches them

func memberNames(t reflect.Type) map[string]bool {
	if names, ok := memberNamesOf.Load(t); ok {
		return names.(map[string]bool)
	}
	names := map[string]bool{}
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		if name != "" && name != "-" {
			names[strings.ToLower(name)] = true
		}
	}
	memberNamesOf.Store(t, names)
	return names
}

// Clone returns a copy that shares nothing that can be changed.
func (r Record) Clone() Record {
	return deepCopy(reflect.ValueOf(r)).Interface().(Record)
}

func deepCopy(v reflect.Value) reflect.Value {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return v
		}
		out := reflect.New(v.Type().Elem())
		out.Elem().Set(deepCopy(v.Elem()))
		return out
	case reflect.Slice:
		if v.IsNil() {
			return v
		}
		out := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		for i := range v.Len() {
			out.Index(i).Set(deepCopy(v.Index(i)))
		}
		return out
	case reflect.Map:
		if v.IsNil() {
			return v
		}
		out := reflect.MakeMapWithSize(v.Type(), v.Len())
		for it := v.MapRange(); it.Next(); {
			out.SetMapIndex(it.Key(), deepCopy(it.Value()))
		}
		return out
	case reflect.Struct:
		out := reflect.New(v.Type()).Elem()
		for i := range v.NumField() {
			out.Field(i).Set(deepCopy(v.Field(i)))
		}
		return out
	default:
		return v
	}
}
