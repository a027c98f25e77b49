package simulate

import (
	"fmt"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
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
	LevelsFile       *string  `json:"levels_file"`
	Profile          *string  `json:"profile"`
	CapacityAmpHours *float64 `json:"capacity_ampere_hours"`
	RestUnchanged    *bool    `json:"rest_when_unchanged"`
	Seconds          *float64 `json:"seconds"`
	ContactorOpen    bool     `json:"contactor_open"`
	StandingAmperes  float64  `json:"standing_amperes"`
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
	{"a duty of levels", []string{"levels_file", "capacity_ampere_hours"}, []string{"profile", "rest_when_unchanged"}},
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
		{"levels_file", s.LevelsFile != nil}, {"profile", s.Profile != nil},
		{"capacity_ampere_hours", s.CapacityAmpHours != nil}, {"rest_when_unchanged", s.RestUnchanged != nil},
	} {
		if c.given {
			keys = append(keys, c.key)
		}
	}
	return keys
}

// stretch is a segment and its length in ns.
type stretch struct {
	physics.Segment
	nanos int64
}

func (s *settings) duty(r *refusals) physics.Duty {
	all := physics.Duty{Repeat: s.Repeat}
	if s.Repeat && len(s.Duty) == 0 {
		r.add("repeat", "there is no duty to repeat, add one or leave it out")
	}
	for i := range s.Duty {
		key := fmt.Sprintf("duty[%d]", i)
		for _, part := range s.Duty[i].check(key, r) {
			if part.nanos > maxNanos-all.LengthNanos() {
				r.add(key, "the duty is longer than %d s up to here, shorten it", int64(maxNanos/1_000_000_000))
				return all
			}
			all.Add(part.Segment, part.nanos)
		}
	}
	return all
}

// check gives what a segment comes to.
func (s *segmentSettings) check(key string, r *refusals) []stretch {
	given, before := s.given(), len(*r)
	if len(given) == 0 && !s.ContactorOpen {
		r.add(key, "it does not say what it is, give hold_amperes, or from_amperes and to_amperes, or amplitude_amperes and period_seconds, or file and column, or levels_file and capacity_ampere_hours")
	}
	if len(given) > 0 {
		checkKind(key, given, r)
	}
	if s.StandingAmperes != 0 && !s.ContactorOpen && !or(s.RestUnchanged, false) {
		r.add(key+".standing_amperes", "flows while the contactor is open, which it is not in this segment; add contactor_open")
	}
	length := int64(1)
	switch {
	case s.Seconds != nil:
		length = r.nanos(key+".seconds", *s.Seconds)
	case s.File == nil && s.LevelsFile == nil:
		r.add(key+".seconds", "missing, how long does it last?")
	}
	if len(*r) > before {
		return nil
	}
	if s.LevelsFile != nil {
		return s.levels(key, length, r)
	}
	shape, length := s.shape(key, length, r)
	return []stretch{{physics.Segment{Shape: shape, ContactorOpen: s.ContactorOpen, StandingAmperes: s.StandingAmperes}, length}}
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

func (s *segmentSettings) shape(key string, length int64, r *refusals) (physics.Shape, int64) {
	switch {
	case s.HoldAmperes != nil:
		return physics.Hold(*s.HoldAmperes), length
	case s.FromAmperes != nil:
		return physics.Ramp{FromAmperes: *s.FromAmperes, ToAmperes: *s.ToAmperes, LengthNanos: length}, length
	case s.AmplitudeAmperes != nil:
		period := r.nanos(key+".period_seconds", *s.PeriodSeconds)
		return physics.Sine{MeanAmperes: or(s.MeanAmperes, 0), AmplitudeAmperes: *s.AmplitudeAmperes, PeriodNanos: period}, length
	case s.File != nil:
		return s.recorded(key, length, r)
	}
	return physics.Hold(0), length
}

func (s *segmentSettings) recorded(key string, length int64, r *refusals) (physics.Shape, int64) {
	recording, blamed, err := readRecorded(*s.File, *s.Column, or(s.TimeColumn, ""), or(s.Scale, 1))
	switch {
	case err != nil:
		r.add(key+"."+blamed, "%w", err)
		return physics.Hold(0), 1
	case s.Seconds == nil:
		length = recording.LengthNanos()
	case length > recording.LengthNanos():
		r.add(key+".seconds", "%v s is more than the recording has, %v s; leave it out for all", *s.Seconds, float64(recording.LengthNanos())/1e9)
	}
	return recording, length
}

func or[T any](value *T, otherwise T) T {
	if value == nil {
		return otherwise
	}
	return *value
}
