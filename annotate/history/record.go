package history

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"rigatino/annotate"
)

// RecordChange is the change of one member of the record: of one entry of a
// list if Key names it, else of the whole member. Before and After are its
// JSON, absent where there was or is none.
type RecordChange struct {
	Member string          `json:"member"`        // as in project.json: regions, stages …
	Key    string          `json:"key,omitempty"` // the entry's id
	At     int             `json:"at,omitempty"`  // place in the list
	Before json.RawMessage `json:"before,omitempty"`
	After  json.RawMessage `json:"after,omitempty"`
}

// newerMember stands for the members of the record that are not known here.
const newerMember = "(newer)"

// Between lists the changes that lead from one record to another, in the order
// in which they are to be applied.
func Between(before, after annotate.Record) ([]RecordChange, error) {
	var out []RecordChange
	b, a := reflect.ValueOf(before), reflect.ValueOf(after)
	for i := range b.NumField() {
		name := memberName(b.Type().Field(i))
		changes, err := betweenMembers(name, b.Field(i), a.Field(i))
		if err != nil {
			return nil, fmt.Errorf("compare %s: %w", name, err)
		}
		out = append(out, changes...)
	}
	return out, nil
}

func memberName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	if name == "-" {
		return newerMember
	}
	return name
}

func betweenMembers(name string, b, a reflect.Value) ([]RecordChange, error) {
	if b.Kind() != reflect.Slice {
		return whole(name, b, a)
	}
	old, now := keys(b), keys(a)
	if old == nil || now == nil || !sameOrder(old, now) {
		return whole(name, b, a)
	}
	var out []RecordChange
	in := func(list []string) map[string]int {
		at := make(map[string]int, len(list))
		for i, k := range list {
			at[k] = i
		}
		return at
	}
	oldAt, nowAt := in(old), in(now)
	for i := len(old) - 1; i >= 0; i-- {
		if _, stays := nowAt[old[i]]; !stays {
			text, err := annotate.Encode(b.Index(i).Interface())
			if err != nil {
				return nil, err
			}
			out = append(out, RecordChange{Member: name, Key: old[i], At: i, Before: text})
		}
	}
	for i, k := range now {
		text, err := annotate.Encode(a.Index(i).Interface())
		if err != nil {
			return nil, err
		}
		was, stood := oldAt[k]
		if !stood {
			out = append(out, RecordChange{Member: name, Key: k, At: i, After: text})
			continue
		}
		before, err := annotate.Encode(b.Index(was).Interface())
		if err != nil {
			return nil, err
		}
		if string(before) != string(text) {
			out = append(out, RecordChange{Member: name, Key: k, At: i, Before: before, After: text})
		}
	}
	// Changed entries are told apart from new ones by Before; their places hold
	// once the list is complete.
	slices.SortStableFunc(out, func(x, y RecordChange) int { return step(x) - step(y) })
	return out, nil
}

// step orders the changes of a list: entries taken out, put in, changed.
func step(c RecordChange) int {
	switch {
	case c.After == nil:
		return 0
	case c.Before == nil:
		return 1
	default:
		return 2
	}
}

func whole(name string, b, a reflect.Value) ([]RecordChange, error) {
	before, err := annotate.Encode(b.Interface())
	if err != nil {
		return nil, err
	}
	after, err := annotate.Encode(a.Interface())
	if err != nil || string(before) == string(after) {
		return nil, err
	}
	return []RecordChange{{Member: name, Before: before, After: after}}, nil
}

// keys returns the ids of the entries of a list, or nil if two are the same.
func keys(list reflect.Value) []string {
	out := make([]string, list.Len())
	seen := map[string]bool{}
	for i := range out {
		out[i] = keyOf(list.Index(i).Interface())
		if seen[out[i]] {
			return nil
		}
		seen[out[i]] = true
	}
	return out
}

func keyOf(entry any) string {
	switch e := entry.(type) {
	case annotate.Use:
		return e.Key().String()
	case annotate.HandOver:
		return strconv.Itoa(e.Number)
	default:
		return reflect.ValueOf(entry).FieldByName("ID").String()
	}
}

// sameOrder says whether the keys that both lists have come in the same order.
func sameOrder(a, b []string) bool {
	common := func(of, in []string) []string {
		has := map[string]bool{}
		for _, k := range in {
			has[k] = true
		}
		return slices.DeleteFunc(slices.Clone(of), func(k string) bool { return !has[k] })
	}
	return slices.Equal(common(a, b), common(b, a))
}

// inverse returns the changes that undo the given ones.
func inverse(changes []RecordChange) []RecordChange {
	out := slices.Clone(changes)
	slices.Reverse(out)
	for i, c := range out {
		out[i].Before, out[i].After = c.After, c.Before
	}
	return out
}

// applyRecord returns the record after the changes, or an error that names the
// entry which is not as they expect; the record given is left as it is.
func applyRecord(r annotate.Record, changes []RecordChange) (annotate.Record, error) {
	out := r.Clone()
	v := reflect.ValueOf(&out).Elem()
	for _, c := range changes {
		if err := applyMember(v, c); err != nil {
			return r, fmt.Errorf("record member %s %s: %w", c.Member, c.Key, err)
		}
	}
	return out, nil
}

func applyMember(record reflect.Value, c RecordChange) error {
	var member reflect.Value
	for i := range record.NumField() {
		if memberName(record.Type().Field(i)) == c.Member {
			member = record.Field(i)
		}
	}
	if !member.IsValid() {
		return fmt.Errorf("it is not known here")
	}
	if c.Key == "" {
		return replace(member, c.Before, c.After)
	}
	if member.Kind() != reflect.Slice {
		return fmt.Errorf("it is no list")
	}
	n := member.Len()
	if c.Before == nil { // put in
		if c.At < 0 || c.At > n {
			return fmt.Errorf("place %d is outside the list of %d", c.At, n)
		}
		entry := reflect.New(member.Type().Elem()).Elem()
		if err := json.Unmarshal(c.After, entry.Addr().Interface()); err != nil {
			return err
		}
		longer := reflect.Append(member, entry)
		reflect.Copy(longer.Slice(c.At+1, n+1), longer.Slice(c.At, n))
		longer.Index(c.At).Set(entry)
		member.Set(longer)
		return nil
	}
	if c.At < 0 || c.At >= n || keyOf(member.Index(c.At).Interface()) != c.Key {
		return fmt.Errorf("it does not stand at place %d", c.At)
	}
	if c.After != nil {
		return replace(member.Index(c.At), c.Before, c.After)
	}
	if err := expect(member.Index(c.At), c.Before); err != nil {
		return err
	}
	member.Set(reflect.AppendSlice(member.Slice(0, c.At), member.Slice(c.At+1, n)))
	return nil
}

func expect(v reflect.Value, before json.RawMessage) error {
	now, err := annotate.Encode(v.Interface())
	if err != nil {
		return err
	}
	if string(now) != string(before) {
		return fmt.Errorf("it is not as it was when the action was made")
	}
	return nil
}

func replace(v reflect.Value, before, after json.RawMessage) error {
	if err := expect(v, before); err != nil {
		return err
	}
	fresh := reflect.New(v.Type())
	if err := json.Unmarshal(after, fresh.Interface()); err != nil {
		return err
	}
	v.Set(fresh.Elem())
	return nil
}
