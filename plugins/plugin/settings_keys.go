package plugin

import (
	"encoding"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// unknownKeys gives an error that names each key of settings that has no field in a type, with the path to where it stands.
func unknownKeys(settings map[string]any, t reflect.Type) error {
	var unknown []string
	walkKeys(settings, t, "", func(key, inside string) {
		text := fmt.Sprintf("unknown setting %q", key)
		if inside != "" {
			text += fmt.Sprintf(" in %q", inside)
		}
		unknown = append(unknown, text)
	})
	if len(unknown) == 0 {
		return nil
	}
	return errors.New(strings.Join(unknown, "; "))
}

// walkKeys reports the unknown keys of a value below path, in order. What does not fit the type is left to the decoder.
func walkKeys(value any, t reflect.Type, path string, report func(key, inside string)) {
	if decodesItself(t) {
		return
	}
	switch t.Kind() {
	case reflect.Pointer:
		walkKeys(value, t.Elem(), path, report)
	case reflect.Slice, reflect.Array:
		items, _ := value.([]any)
		for i, item := range items {
			walkKeys(item, t.Elem(), fmt.Sprintf("%s[%d]", path, i), report)
		}
	case reflect.Map, reflect.Struct:
		fields, _ := value.(map[string]any)
		known := map[string]reflect.Type{}
		if t.Kind() == reflect.Struct {
			known = taggedFields(t)
		}
		for _, key := range slices.Sorted(maps.Keys(fields)) {
			field, found := known[key]
			if t.Kind() == reflect.Map {
				field, found = t.Elem(), true
			}
			if !found {
				report(key, path)
				continue
			}
			walkKeys(fields[key], field, strings.TrimPrefix(path+"."+key, "."), report)
		}
	}
}

func decodesItself(t reflect.Type) bool {
	p := reflect.PointerTo(t)
	return p.Implements(reflect.TypeFor[json.Unmarshaler]()) || p.Implements(reflect.TypeFor[encoding.TextUnmarshaler]())
}

// taggedFields gives the fields of a struct, those of embedded structs among them, by the keys encoding/json reads them from.
func taggedFields(t reflect.Type) map[string]reflect.Type {
	fields := map[string]reflect.Type{}
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && name == "" && f.Type.Kind() == reflect.Struct:
			maps.Copy(fields, taggedFields(f.Type))
		case f.Tag.Get("json") == "-" || !f.IsExported():
			continue
		case name == "":
			fields[f.Name] = f.Type
		default:
			fields[name] = f.Type
		}
	}
	return fields
}
