package annotate

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// Merge takes over what a record file says: the same members as the record in
// project.json. An entry of a list whose id exists is changed member by member
// as RFC 7396 (JSON Merge Patch) has it, null taking a member away; any other is
// new, and is given an id if it has none. Misspelt members, unknown words and
// ids that lead nowhere are refused, and then nothing is changed.
//
// What the program itself finds out cannot be set this way: scans, hand-overs,
// and of uses anything but alignment.accepted_by.
func (r *Record) Merge(data []byte) error {
	var file map[string]json.RawMessage
	if err := json.Unmarshal(data, &file); err != nil {
		return fmt.Errorf("the record file is not a JSON object: %w", describe(data, err))
	}
	out := r.Clone()
	v := reflect.ValueOf(&out).Elem()
	fields := map[string]reflect.Value{}
	for i := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		fields[name] = v.Field(i)
	}
	for _, name := range mergeOrder {
		if patch, ok := file[name]; ok {
			if err := out.mergeMember(name, fields[name], patch); err != nil {
				return err
			}
		}
		delete(file, name)
	}
	delete(file, "schema")
	for _, name := range slices.Sorted(maps.Keys(file)) {
		return fmt.Errorf("record file: member %q does not exist in a record", name)
	}
	*r = out
	return nil
}

// mergeOrder is the order in which the members of a record file are taken over,
// so that what others name is there before them.
var mergeOrder = []string{
	"specimen", "people", "stages", "pieces", "scans", "uses", "work", "regions", "lines", "changes", "answers", "agreements", "hand_overs",
}

// describe adds the line to an error of the JSON reader.
func describe(data []byte, err error) error {
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		line := 1 + bytes.Count(data[:min(int(syntax.Offset), len(data))], []byte{'\n'})
		return fmt.Errorf("line %d: %w", line, err)
	}
	return err
}

func (r *Record) mergeMember(name string, member reflect.Value, patch json.RawMessage) error {
	if member.Kind() == reflect.Struct { // specimen
		merged, err := mergeInto(member, patch)
		if err != nil {
			return fmt.Errorf("record file: %s: %w", name, err)
		}
		member.Set(merged)
		return nil
	}
	var entries []json.RawMessage
	if err := json.Unmarshal(patch, &entries); err != nil {
		return fmt.Errorf("record file: %s is not a list: %w", name, err)
	}
	for i, entry := range entries {
		if err := r.mergeEntry(name, member, entry); err != nil {
			return fmt.Errorf("record file: entry %d of %s: %w", i+1, name, err)
		}
	}
	return nil
}

func (r *Record) mergeEntry(name string, list reflect.Value, patch json.RawMessage) error {
	fresh := reflect.New(list.Type().Elem())
	if err := json.Unmarshal(patch, fresh.Interface()); err != nil {
		return err
	}
	at := -1
	for i := range list.Len() {
		if key := entryKey(list.Index(i)); key != "" && key == entryKey(fresh.Elem()) {
			at = i
		}
	}
	if at < 0 {
		if newer := findNewer(fresh.Elem()); newer != "" {
			return fmt.Errorf("members %s do not exist", newer)
		}
		return r.add(name, list, fresh.Elem())
	}
	old := list.Index(at)
	merged, err := mergeInto(old, patch)
	if err != nil {
		return fmt.Errorf("%s: %w", entryKey(old), err)
	}
	if err := r.mayBecome(old.Interface(), merged.Interface()); err != nil {
		return fmt.Errorf("%s: %w", entryKey(old), err)
	}
	old.Set(merged)
	return nil
}

func entryKey(v reflect.Value) string {
	if u, ok := v.Interface().(Use); ok {
		return u.Key().String()
	}
	if id := v.FieldByName("ID"); id.IsValid() {
		return id.String()
	}
	return ""
}

// mergeInto returns the value with a patch laid over it.
func mergeInto(old reflect.Value, patch json.RawMessage) (reflect.Value, error) {
	fresh := reflect.New(old.Type())
	if err := json.Unmarshal(patch, fresh.Interface()); err != nil {
		return old, err
	}
	if newer := findNewer(fresh.Elem()); newer != "" {
		return old, fmt.Errorf("members %s do not exist", newer)
	}
	text, err := Encode(old.Interface())
	if err != nil {
		return old, err
	}
	merged, err := mergePatch(text, patch)
	if err != nil {
		return old, err
	}
	out := reflect.New(old.Type())
	err = json.Unmarshal(merged, out.Interface())
	return out.Elem(), err
}

// mergePatch lays a patch over a JSON text by the procedure of RFC 7396.
func mergePatch(target, patch json.RawMessage) (json.RawMessage, error) {
	var change map[string]json.RawMessage
	if json.Unmarshal(patch, &change) != nil || change == nil {
		return patch, nil // not an object: it replaces the target
	}
	var members map[string]json.RawMessage
	if json.Unmarshal(target, &members) != nil || members == nil {
		members = map[string]json.RawMessage{}
	}
	for name, value := range change {
		if string(bytes.TrimSpace(value)) == "null" {
			delete(members, name)
			continue
		}
		merged, err := mergePatch(members[name], value)
		if err != nil {
			return nil, err
		}
		members[name] = merged
	}
	return Encode(members)
}

// findNewer returns the unknown members of a value or of anything in it.
func findNewer(v reflect.Value) Newer {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			return findNewer(v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			if n := findNewer(v.Index(i)); n != "" {
				return n
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if n, ok := v.Field(i).Interface().(Newer); ok && n != "" {
				return n
			}
			if n := findNewer(v.Field(i)); n != "" {
				return n
			}
		}
	}
	return ""
}

// add puts a new entry into its list.
func (r *Record) add(name string, list, entry reflect.Value) error {
	switch e := entry.Interface().(type) {
	case Stage:
		return r.addStage(e)
	case Region:
		if e.ID != "" || e.Number != 0 {
			return fmt.Errorf("region %q does not exist: leave id and number out for a new region", e.ID)
		}
		key, err := ParseUseKey(e.Use)
		if err != nil {
			return err
		}
		if r.Use(key) == nil {
			return fmt.Errorf("use %s does not exist: add its scan first", e.Use)
		}
		if e.ID, e.Number, err = r.NextRegion(e.Use); err != nil {
			return err
		}
		if err := r.checkEntry(e); err != nil {
			return err
		}
		r.Regions = append(r.Regions, e)
		return nil
	case Scan, Use, HandOver, Answer:
		return fmt.Errorf("%s are made by the program: add, scale, align, map and handover", name)
	}
	prefix := map[string]string{"people": "P", "lines": "J", "work": "W", "changes": "C", "agreements": "A"}[name]
	if id := entry.FieldByName("ID"); id.String() == "" {
		if prefix == "" {
			return fmt.Errorf("it needs an id")
		}
		entries := make([]reflect.Value, list.Len())
		for i := range entries {
			entries[i] = list.Index(i)
		}
		id.SetString(NextID(prefix, entries, entryKey))
	}
	if err := r.checkEntry(entry.Interface()); err != nil {
		return err
	}
	list.Set(reflect.Append(list, entry))
	return nil
}

func (r *Record) addStage(s Stage) error {
	if s.ID != "" {
		if kind, number, _ := strings.Cut(s.ID, "-"); s.Kind == "" || kind != s.Kind || strings.Trim(number, "0123456789") != "" {
			return fmt.Errorf("stage id %q is not its kind, or its kind and a number: leave it out and it is found", s.ID)
		}
	}
	put, err := r.PutStage(s.Kind, s.Date)
	if err != nil {
		return err
	}
	i := r.StageIndex(put.ID)
	if s.ID != "" && s.ID != put.ID {
		r.Stages[i].ID = s.ID
	}
	r.Stages[i].Note = s.Note
	return nil
}

// mayBecome says whether an entry may be changed so by a record file.
func (r *Record) mayBecome(old, now any) error {
	switch o := old.(type) {
	case Stage:
		if n := now.(Stage); n.Kind != o.Kind {
			return fmt.Errorf("the kind of a stage cannot change")
		}
	case Region:
		n := now.(Region)
		if n.Use != o.Use || n.Layer != o.Layer || n.Number != o.Number || n.Rest != o.Rest {
			return fmt.Errorf("use, layer, number and rest of a region belong to its faces and cannot change")
		}
	case Line:
		if n := now.(Line); n.Use != o.Use {
			return fmt.Errorf("the use of a line cannot change: its points are in that scan's frame")
		}
	case Use:
		n := now.(Use)
		if n.Alignment != nil && o.Alignment != nil {
			by := *o.Alignment
			by.AcceptedBy = n.Alignment.AcceptedBy
			o.Alignment = &by
		}
		if !reflect.DeepEqual(o, n) {
			return fmt.Errorf("only alignment.accepted_by of a use can be written; scale and align find the rest")
		}
	case Scan, HandOver, Answer:
		return fmt.Errorf("it is made by the program and cannot be written")
	}
	return r.checkEntry(now)
}

// checkEntry checks the words of an entry and that what it names exists.
func (r *Record) checkEntry(entry any) error {
	var names []reference
	var dates []string
	switch e := entry.(type) {
	case Piece:
		names = []reference{{"stage", e.Since}, {"piece", e.JoinedInto}, {"stage", e.JoinedAt}}
		if e.JoinedInto == e.ID && e.ID != "" {
			return fmt.Errorf("a piece cannot be joined into itself")
		}
		if (e.JoinedInto == "") != (e.JoinedAt == "") {
			return fmt.Errorf("a joined piece needs both joined_into and joined_at")
		}
	case Stage:
		dates = []string{e.Date}
	case Region:
		if err := e.Check(); err != nil {
			return err
		}
		names = []reference{{"use", e.Use}, {"stage", e.Since}, {"stage", e.Until}, {"person", e.Who}, {"work", e.Work}}
	case Line:
		if err := e.Check(); err != nil {
			return err
		}
		names = []reference{{"use", e.Use}, {"person", e.Who}, {"work", e.Work}}
		for _, p := range e.Pieces {
			names = append(names, reference{"piece", p})
		}
	case Work:
		names, dates = []reference{{"stage", e.Stage}, {"person", e.Who}}, []string{e.When}
	case Change:
		names = []reference{{"use", e.From}, {"use", e.To}}
		if err := e.check(); err != nil {
			return err
		}
	case Agreement:
		names, dates = []reference{{"person", e.Who}}, []string{e.When}
	case Use:
		if e.Alignment != nil {
			names = []reference{{"person", e.Alignment.AcceptedBy}}
		}
	}
	for _, d := range dates {
		if _, err := ParseDate(d); err != nil {
			return err
		}
	}
	for _, n := range names {
		if n.id != "" && !r.exists(n) {
			return fmt.Errorf("%s %q does not exist in the record", n.kind, n.id)
		}
	}
	return nil
}

// reference is the id of an entry of a kind.
type reference struct{ kind, id string }

func (r *Record) exists(n reference) bool {
	switch n.kind {
	case "stage":
		return r.StageIndex(n.id) >= 0
	case "piece":
		_, ok := r.Piece(n.id)
		return ok
	case "person":
		return slices.ContainsFunc(r.People, func(p Person) bool { return p.ID == n.id })
	case "work":
		return slices.ContainsFunc(r.Work, func(w Work) bool { return w.ID == n.id })
	case "use":
		key, err := ParseUseKey(n.id)
		return err == nil && r.Use(key) != nil
	default:
		return false
	}
}
