package plugin

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
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

// Decode fills the struct that to points at by its `json` tags. A key that has no field there, or a value of the wrong type, is an
// error that names it. Fields without a key keep their value, so defaults are set before.
func (s Settings) Decode(to any) error {
	text, err := protojson.Marshal(s.fields)
	if err != nil {
		return fmt.Errorf("settings: %w", err)
	}
	return decodeStrictly(text, to)
}

func decodeStrictly(text []byte, to any) error {
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	err := decoder.Decode(to)
	var wrong *json.UnmarshalTypeError
	switch {
	case err == nil || errors.Is(err, io.EOF):
		return nil
	case errors.As(err, &wrong):
		return fmt.Errorf("setting %q: a %s stands where a %s is wanted", wrong.Field, wrong.Value, plainType(wrong.Type.Kind().String()))
	}
	if name, found := strings.CutPrefix(err.Error(), "json: unknown field "); found {
		return fmt.Errorf("unknown setting %s", name)
	}
	return fmt.Errorf("settings: %w", err)
}

func plainType(kind string) string {
	switch {
	case strings.HasPrefix(kind, "float"):
		return "number"
	case strings.HasPrefix(kind, "int"), strings.HasPrefix(kind, "uint"):
		return "whole number"
	case kind == "slice":
		return "list"
	case kind == "struct", kind == "map", kind == "ptr":
		return "mapping"
	}
	return kind
}
