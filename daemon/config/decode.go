package config

import (
	"fmt"
	"reflect"
	"strings"
)

// walk fills the structs from the tree and notes faults and, for the checks that come after, where everything stood.
type walk struct {
	faults Faults
	keys   map[string]place // of each known key that is written, by path
	values map[string]place // of each value, by path; the file's own is ""
	bad    map[string]bool  // paths whose value is not to be relied on: a fault was given
	meant  map[string]bool  // paths of keys that a misspelled one most likely meant
	whole  map[string]bool  // mappings none of whose keys were refused, by path
}

func newWalk() *walk {
	return &walk{keys: map[string]place{}, values: map[string]place{}, bad: map[string]bool{}, meant: map[string]bool{}, whole: map[string]bool{}}
}

// fault notes one and marks the path as bad.
func (w *walk) fault(at place, path, text string) {
	w.faults = append(w.faults, Fault{Line: at.line, Column: at.column, Path: path, Text: text})
	w.bad[path] = true
}

// written tells whether a key stands in the file, rightly or wrongly.
func (w *walk) written(path string) bool {
	_, found := w.values[path]
	return found || w.meant[path]
}

// begin is where a mapping begins for the reader: at its key, or in a list at its first one.
func (w *walk) begin(path string) place {
	if at, found := w.keys[path]; found {
		return at
	}
	return w.values[path]
}

// missing gives a fault for a key that is not there, unless the mapping holds one that was refused.
func (w *walk) missing(parent, key, text string) {
	if w.whole[parent] && !w.bad[parent] && !w.written(join(parent, key)) {
		w.fault(w.begin(parent), join(parent, key), text)
	}
}

func (w *walk) decode(root *node, c *Config) {
	w.value(root, "", reflect.ValueOf(c).Elem(), field{})
}

// value fills v from the node; f is the field it is for, or that its list is for.
func (w *walk) value(n *node, path string, v reflect.Value, f field) {
	w.values[path] = n.at
	switch {
	case n.kind == refused:
		w.bad[path] = true
	case n.kind == absent:
		w.fault(n.at, path, "nothing is written here: write "+wanted(v.Type())+orOut(f))
	case v.Kind() == reflect.Pointer:
		made := reflect.New(v.Type().Elem())
		w.value(n, path, made.Elem(), f)
		v.Set(made)
	case v.Type() == reflect.TypeFor[Plugin]() && n.kind == scalar:
		w.value(n, join(path, "name"), v.FieldByName("Name"), field{})
	case n.kind != kindFor(v.Type()):
		w.fault(n.at, path, fmt.Sprintf("%s stands where %s is wanted", n.kind, wanted(v.Type())))
	default:
		w.fill(n, path, v, f)
	}
}

// fill does it for a node of the right kind.
func (w *walk) fill(n *node, path string, v reflect.Value, f field) {
	switch v.Kind() {
	case reflect.Struct:
		w.mapping(n, path, v)
	case reflect.Slice:
		w.list(n, path, v, f)
	case reflect.Map:
		v.Set(reflect.ValueOf(w.settings(n, path)))
	case reflect.String:
		w.text(n, path, v, f)
	case reflect.Bool:
		w.boolean(n, path, v)
	default:
		w.number(n, path, v, f)
	}
}

func orOut(f field) string {
	if f.has("required") {
		return ""
	}
	return ", or take the key out"
}

func kindFor(t reflect.Type) kind {
	switch t.Kind() {
	case reflect.Struct, reflect.Map:
		return mapping
	case reflect.Slice:
		return sequence
	}
	return scalar
}

// wanted says in words what a key takes.
func wanted(t reflect.Type) string {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Struct:
		if t == reflect.TypeFor[Plugin]() {
			return "the name of a shipped plugin or a mapping with path and sha256"
		}
		if keys := keysOf(fieldsOf(t)); len(keys) < 4 {
			return "a mapping (" + strings.Join(keys, ", ") + ")"
		}
		return "a mapping"
	case reflect.Map:
		return "a mapping"
	case reflect.Slice:
		return "a list"
	case reflect.Bool:
		return "true or false"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	}
	return "a text"
}

func (w *walk) mapping(n *node, path string, v reflect.Value) {
	w.whole[path] = !n.partial
	fields := fieldsOf(v.Type())
	byKey := map[string]field{}
	for _, f := range fields {
		byKey[f.key] = f
	}
	for _, p := range n.pairs {
		f, known := byKey[p.key]
		if !known {
			w.unknown(p, path, keysOf(fields))
			continue
		}
		inner := join(path, p.key)
		w.keys[inner] = p.at
		w.value(p.value, inner, v.FieldByIndex(f.index), f)
	}
	for _, f := range fields {
		if f.has("required") {
			w.missing(path, f.key, "is required and missing: write "+wanted(v.FieldByIndex(f.index).Type()))
		}
	}
}

// unknown says what was most likely meant by a key that there is not.
func (w *walk) unknown(p pair, path string, known []string) {
	text := "there is no such key here"
	if k, found := otherUnit(p.key, known); found {
		text += fmt.Sprintf(": did you mean %s? Give the value in the unit of that name", k)
		w.meant[join(path, k)] = true
	} else if where := homes(p.key); len(where) > 0 {
		text += ": it belongs " + atHome(where)
	} else if k, found := nearest(p.key, known); found {
		text += fmt.Sprintf(": did you mean %s?", k)
		w.meant[join(path, k)] = true
	} else {
		text += "; known are " + strings.Join(known, ", ")
	}
	w.fault(p.at, join(path, p.key), text)
}

func atHome(where []string) string {
	if where[0] == "" {
		return "at the top of the file"
	}
	return "under " + strings.Join(where, ", ")
}

func (w *walk) list(n *node, path string, v reflect.Value, f field) {
	if len(n.items) == 0 && f.has("required") {
		w.fault(n.at, path, "is empty: at least one is needed")
	}
	made := reflect.MakeSlice(v.Type(), len(n.items), len(n.items))
	for i, entry := range n.items {
		w.value(entry, item(path, i), made.Index(i), f)
	}
	v.Set(made)
}
