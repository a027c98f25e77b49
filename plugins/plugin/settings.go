package plugin

import (
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"

	"google.golang.org/protobuf/types/known/structpb"
)

// Settings are what stands under `with:` in the configuration.
type Settings struct{ fields *structpb.Struct }

// NewSettings makes settings of what a configuration holds: maps, lists, strings, numbers and booleans.
func NewSettings(fields map[string]any) (Settings, error) {
	s, err := structpb.NewStruct(fields)
	if err != nil {
		return Settings{}, fmt.Errorf("settings: %w", err)
	}
	return Settings{s}, nil
}

// Struct gives the settings as they go to a plugin.
func (s Settings) Struct() *structpb.Struct { return s.fields }

// Decode fills the struct that to points at by its `json` tags. Keys that have no field there are an error that names each of them, where
// upper and lower case differ; so is a value of the wrong type. Fields without a key keep their value, so defaults are set before.
func (s Settings) Decode(to any) error {
	fields := s.fields.AsMap()
	if err := unknownKeys(fields, reflect.TypeOf(to)); err != nil {
		return err
	}
	text, err := json.Marshal(fields)
	if err != nil {
		return fmt.Errorf("settings: %w", err)
	}
	err = json.Unmarshal(text, to)
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) {
		return fmt.Errorf("setting %q: a %s stands where a %s is wanted", keysOf(wrong.Field, fields), plainValue(wrong.Value), plainType(wrong.Type.Kind()))
	}
	if err != nil {
		return fmt.Errorf("settings: %w", err)
	}
	return nil
}

// keysOf takes what is no key out of encoding/json's path to a field: it names embedded structs too.
func keysOf(path string, fields map[string]any) string {
	var keys []string
	at := []any{fields}
	for _, name := range strings.Split(path, ".") {
		inside, isKey := within(at, name)
		if !isKey {
			continue
		}
		keys, at = append(keys, name), inside
	}
	return strings.Join(keys, ".")
}

// within gives what stands under a key in any of several values, the entries of lists one by one; isKey = false if there are mappings and
// none has it.
func within(values []any, key string) (inside []any, isKey bool) {
	mappings := false
	for _, value := range values {
		mapping, isMapping := value.(map[string]any)
		mappings = mappings || isMapping
		under, found := mapping[key]
		isKey = isKey || found
		if entries, isList := under.([]any); isList {
			inside = append(inside, entries...)
		} else {
			inside = append(inside, under)
		}
	}
	return inside, isKey || !mappings
}

// plainValue and plainType put encoding/json's words for a value and Go's for a type into those of a configuration's author.
func plainValue(value string) string {
	switch value {
	case "object":
		return "mapping"
	case "array":
		return "list"
	case "bool":
		return "boolean"
	}
	return value // string, number, number 1.5
}

func plainType(kind reflect.Kind) string {
	switch kind {
	case reflect.Float32, reflect.Float64:
		return "number"
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64,
		reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return "whole number"
	case reflect.Slice, reflect.Array:
		return "list"
	case reflect.Struct, reflect.Map, reflect.Pointer:
		return "mapping"
	case reflect.Bool:
		return "boolean"
	}
	return kind.String()
}
