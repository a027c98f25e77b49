package config

import (
	"math"
	"reflect"
	"strings"
)

// field is one key of a struct of the schema.
type field struct {
	key    string
	index  []int    // for reflect.Value.FieldByIndex
	checks []string // of the check tag; see rules
}

func (f field) has(check string) bool {
	for _, c := range f.checks {
		if c == check {
			return true
		}
	}
	return false
}

// fieldsOf lists the keys of a struct in the schema's order, those of embedded structs in their place.
func fieldsOf(t reflect.Type) []field {
	var all []field
	for i := range t.NumField() {
		f := t.Field(i)
		key, inline := f.Tag.Get("yaml"), f.Tag.Get("yaml") == ",inline"
		switch {
		case inline:
			for _, inner := range fieldsOf(f.Type) {
				inner.index = append([]int{i}, inner.index...)
				all = append(all, inner)
			}
		case key != "-":
			all = append(all, field{key, []int{i}, strings.Split(f.Tag.Get("check"), ",")})
		}
	}
	return all
}

func keysOf(fields []field) []string {
	keys := make([]string, len(fields))
	for i, f := range fields {
		keys[i] = f.key
	}
	return keys
}

// rule is a check of one number, by its name in a check tag.
type rule struct {
	holds func(x float64) bool
	text  string
}

// rules of the check tags. Beside them, "required" asks for the key and "free" lets a text hold anything.
var rules = map[string]rule{
	"positive":    {func(x float64) bool { return x > 0 }, "must be greater than zero"},
	"notnegative": {func(x float64) bool { return x >= 0 }, "must not be negative"},
	"bits":        {func(x float64) bool { return x >= 2 && x <= 32 }, "must be from 2 to 32"},
	"dropoff":     {func(x float64) bool { return x > 0 && x <= 1 }, "must be greater than 0 and at most 1"},
	"share": {func(x float64) bool { return x >= 0 && x < 1 },
		"must be from 0 to less than 1: it is a ratio, 0.5 % is written 0.005"},
	"celsius": {func(x float64) bool { return x >= -273.15 }, "lies below absolute zero (-273.15 °C)"},
	// A hundredth a kelvin is more than twice that of any pure metal: it is parts per million or percent that were meant.
	"coefficient": {func(x float64) bool { return math.Abs(x) <= 0.01 },
		"is more than 0.01 a kelvin: it is a ratio, 15 ppm/K is written 15e-6"},
	"coefficient2": {func(x float64) bool { return math.Abs(x) <= 1e-3 },
		"is more than 0.001 a kelvin squared: it is a ratio, 1 ppm/K² is written 1e-6"},
}

// homes lists where in the file a key is at home, for a key that stands in the wrong place.
func homes(key string) []string {
	var found []string
	var visit func(t reflect.Type, path string)
	visit = func(t reflect.Type, path string) {
		for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
			if t.Kind() == reflect.Slice {
				path += "[]"
			}
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct {
			return
		}
		for _, f := range fieldsOf(t) {
			if f.key == key {
				found = append(found, path)
			}
			visit(t.FieldByIndex(f.index).Type, strings.TrimPrefix(path+"."+f.key, "."))
		}
	}
	visit(reflect.TypeFor[Config](), "")
	return found
}
