package guard

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Fault is one thing wrong with one setting.
type Fault struct {
	Element string // the setting's name
	Key     string // configuration key, such as inverse_time.pickup_amperes
	Problem string // what is wrong and what to write instead
}

// Error names the element, the key and the remedy.
func (f *Fault) Error() string { return fmt.Sprintf("element %q: %s: %s", f.Element, f.Key, f.Problem) }

// longestSeconds keeps a time in nanoseconds well inside 63 bits.
const longestSeconds = 1e9

// Validate reports every fault of the setting, each a *Fault, joined; nil if there is none.
func (s Setting) Validate() error {
	f := faults{element: s.Name}
	if s.Name == "" {
		f.add("name", "is empty: give the element a name that is unique within the conductor")
	}
	if s.Side < Positive || s.Side > Either {
		f.add("direction", "is not set: say discharge, charge or both")
	}
	s.validateKind(&f)
	s.validateDropoff(&f)
	return errors.Join(f.list...)
}

func (s Setting) validateKind(f *faults) {
	set := 0
	for _, is := range s.kinds() {
		if is {
			set++
		}
	}
	if set != 1 {
		f.add(strings.Join(kindNames[1:], "|"), "%d of these are set: set exactly one", set)
	}
	s.Instantaneous.validate(f)
	s.DefiniteTime.validate(f)
	s.InverseTime.validate(f)
	s.Saturation.validate(f)
	s.Staleness.validate(f)
	if s.Staleness != nil && s.Side != Either {
		f.add("direction", "a staleness element sees no current: say both")
	}
}

func (s Setting) validateDropoff(f *faults) {
	if !(s.DropoffRatio >= 0 && s.DropoffRatio <= 1) {
		f.add("dropoff_ratio", "%v is not above 0 and at most 1: leave it out for %v", s.DropoffRatio, DefaultDropoffRatio)
	}
}

func (i *Instantaneous) validate(f *faults) {
	if i == nil {
		return
	}
	f.positive("instantaneous.pickup_amperes", i.PickupAmperes, math.MaxFloat64)
	f.count("instantaneous.scans", i.Scans)
}

func (d *DefiniteTime) validate(f *faults) {
	if d == nil {
		return
	}
	f.positive("definite_time.pickup_amperes", d.PickupAmperes, math.MaxFloat64)
	f.time("definite_time.delay_seconds", d.DelaySeconds, "0 to operate with the pickup")
}

func (i *InverseTime) validate(f *faults) {
	if i == nil {
		return
	}
	curve := findCurve(i.Curve)
	if curve == nil {
		f.add("inverse_time.curve", "there is no %q: take one of %s", i.Curve, strings.Join(Curves(), ", "))
	}
	f.positive("inverse_time.pickup_amperes", i.PickupAmperes, math.MaxFloat64)
	f.positive("inverse_time.time_multiplier", i.TimeMultiplier, longestSeconds)
	i.validateReset(f, curve)
}

func (i *InverseTime) validateReset(f *faults, curve *curve) {
	const key, secondsKey = "inverse_time.reset", "inverse_time.reset_seconds"
	if i.Reset != "" && i.Reset != ResetCurve && i.Reset != ResetDefinite {
		f.add(key, "there is no %q: say %s or %s", i.Reset, ResetCurve, ResetDefinite)
		return
	}
	if i.Reset == ResetCurve && curve != nil && curve.reset == 0 {
		f.add(key, "the standard of %s gives no law of reset: say %s", i.Curve, ResetDefinite)
	}
	f.time(secondsKey, i.ResetSeconds, "0 to reset at once")
	if i.ResetSeconds > 0 && i.resetsByCurve() {
		f.add(secondsKey, "the curve sets the time of reset: leave it out, or say reset: %s", ResetDefinite)
	}
}

func (s *Saturation) validate(f *faults) {
	if s == nil {
		return
	}
	f.count("saturation.scans", s.Scans)
}

func (s *Staleness) validate(f *faults) {
	if s == nil {
		return
	}
	f.positive("staleness.after_seconds", s.AfterSeconds, longestSeconds)
}

// faults collects what is wrong with one setting.
type faults struct {
	element string
	list    []error
}

func (f *faults) add(key, format string, values ...any) {
	f.list = append(f.list, &Fault{Element: f.element, Key: key, Problem: fmt.Sprintf(format, values...)})
}

// positive is written so that NaN is a fault, too.
func (f *faults) positive(key string, value, most float64) {
	if !(value > 0 && value <= most) {
		f.add(key, "%v is not a number above 0 and at most %v: give one, without a sign", value, most)
	}
}

func (f *faults) time(key string, seconds float64, remedy string) {
	if !(seconds >= 0 && seconds <= longestSeconds) {
		f.add(key, "%v s is not from 0 to %v: give %s", seconds, longestSeconds, remedy)
	}
}

func (f *faults) count(key string, scans int) {
	if scans < 1 {
		f.add(key, "%d is no count of scans: give 1 or more", scans)
	}
}
