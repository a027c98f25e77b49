package simulate

import (
	"fmt"
	"slices"
)

// segmentSettings are those of one segment.
type segmentSettings struct {
	HoldAmperes      *float64 `json:"hold_amperes"`
	FromAmperes      *float64 `json:"from_amperes"`
	ToAmperes        *float64 `json:"to_amperes"`
	MeanAmperes      *float64 `json:"mean_amperes"`
	AmplitudeAmperes *float64 `json:"amplitude_amperes"`
	PeriodSeconds    *float64 `json:"period_seconds"`
	File             *string  `json:"file"`
	Column           *string  `json:"column"`
	TimeColumn       *string  `json:"time_column"`
	Scale            *float64 `json:"scale"`
	Seconds          *float64 `json:"seconds"`
	ContactorOpen    bool     `json:"contactor_open"`
}

// shapeKind is one way to say what a segment is.
type shapeKind struct {
	name     string
	required []string
	optional []string
}

// kinds are told apart by their keys, of which no two share one.
var kinds = []shapeKind{
	{"a constant", []string{"hold_amperes"}, nil},
	{"a ramp", []string{"from_amperes", "to_amperes"}, nil},
	{"a sine", []string{"amplitude_amperes", "period_seconds"}, []string{"mean_amperes"}},
	{"a recording", []string{"file", "column"}, []string{"time_column", "scale"}},
}

func (k *shapeKind) has(key string) bool {
	return slices.Contains(k.required, key) || slices.Contains(k.optional, key)
}

// given lists the keys that say what the segment is.
func (s *segmentSettings) given() (keys []string) {
	for _, c := range []struct {
		key   string
		given bool
	}{
		{"hold_amperes", s.HoldAmperes != nil}, {"from_amperes", s.FromAmperes != nil}, {"to_amperes", s.ToAmperes != nil},
		{"mean_amperes", s.MeanAmperes != nil}, {"amplitude_amperes", s.AmplitudeAmperes != nil},
		{"period_seconds", s.PeriodSeconds != nil}, {"file", s.File != nil}, {"column", s.Column != nil},
		{"time_column", s.TimeColumn != nil}, {"scale", s.Scale != nil},
	} {
		if c.given {
			keys = append(keys, c.key)
		}
	}
	return keys
}

func (s *settings) duty(r *refusals) duty {
	all := duty{repeat: s.Repeat}
	if s.Repeat && len(s.Duty) == 0 {
		r.add("repeat", "there is no duty to repeat, add one or leave it out")
	}
	for i := range s.Duty {
		key := fmt.Sprintf("duty[%d]", i)
		shape, nanos := s.Duty[i].check(key, r)
		if nanos > maxNanos-all.length() {
			r.add(key, "the duty is longer than %d s up to here, shorten it", int64(maxNanos/1_000_000_000))
			break
		}
		all.add(segment{shape, s.Duty[i].ContactorOpen}, nanos)
	}
	return all
}

// check gives a segment's shape and length.
func (s *segmentSettings) check(key string, r *refusals) (shape, int64) {
	given, before := s.given(), len(*r)
	if len(given) == 0 && !s.ContactorOpen {
		r.add(key, "it does not say what it is, give hold_amperes, or from_amperes and to_amperes, or amplitude_amperes and period_seconds, or file and column")
	}
	if len(given) > 0 {
		checkKind(key, given, r)
	}
	length := int64(1)
	switch {
	case s.Seconds != nil:
		length = r.nanos(key+".seconds", *s.Seconds)
	case s.File == nil:
		r.add(key+".seconds", "missing, how long does it last?")
	}
	if len(*r) > before {
		return hold(0), 1
	}
	return s.shape(key, length, r)
}

// checkKind finds the kind by the first key and holds the others against it.
func checkKind(key string, given []string, r *refusals) {
	kind := &kinds[slices.IndexFunc(kinds, func(k shapeKind) bool { return k.has(given[0]) })]
	for _, other := range given {
		if !kind.has(other) {
			r.add(key+"."+other, "does not go with %s, which makes the segment %s; use two segments", given[0], kind.name)
		}
	}
	for _, required := range kind.required {
		if !slices.Contains(given, required) {
			r.add(key+"."+required, "missing, %s makes the segment %s, which needs it", given[0], kind.name)
		}
	}
}

func (s *segmentSettings) shape(key string, length int64, r *refusals) (shape, int64) {
	switch {
	case s.HoldAmperes != nil:
		return hold(*s.HoldAmperes), length
	case s.FromAmperes != nil:
		return ramp{*s.FromAmperes, *s.ToAmperes, length}, length
	case s.AmplitudeAmperes != nil:
		return sine{or(s.MeanAmperes, 0), *s.AmplitudeAmperes, r.nanos(key+".period_seconds", *s.PeriodSeconds)}, length
	case s.File != nil:
		return s.recorded(key, length, r)
	}
	return hold(0), length
}

func (s *segmentSettings) recorded(key string, length int64, r *refusals) (shape, int64) {
	recording, blamed, err := readRecorded(*s.File, *s.Column, or(s.TimeColumn, ""), or(s.Scale, 1))
	switch {
	case err != nil:
		r.add(key+"."+blamed, "%w", err)
		return hold(0), 1
	case s.Seconds == nil:
		length = recording.length()
	case length > recording.length():
		r.add(key+".seconds", "%v s is more than the recording has, %v s; leave it out for all", *s.Seconds, float64(recording.length())/1e9)
	}
	return recording, length
}

func or[T any](value *T, otherwise T) T {
	if value == nil {
		return otherwise
	}
	return *value
}
