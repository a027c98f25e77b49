package physics

import "strings"

// FaultKind is one way to fail.
type FaultKind uint8

// The ways to fail.
const (
	Dropout        FaultKind = iota // the input has no value
	Stuck                           // the input repeats the value it gave last before
	OpenSenseLead                   // the code is at a rail of the converter, or walks about close to it
	MissingSupply                   // the sensor's output is 0 V, as is its supply if it has one that is measured
	Spike                           // so many amperes are added to the reading
	FalseContactor                  // the contactor's input says the contrary
	ScansLost                       // there are no scans; the sequence counts on
	TimeRepeated                    // the scans have the time of the last one before
)

var kindNames = [...]string{"dropout", "stuck", "open_sense_lead", "missing_supply", "spike", "false_contactor", "scans_lost", "time_repeated"}

// String gives the name of the kind in settings.
func (k FaultKind) String() string { return kindNames[k] }

// FaultKindNamed gives the kind of a name, false if there is none.
func FaultKindNamed(name string) (FaultKind, bool) {
	for i, n := range kindNames {
		if n == name {
			return FaultKind(i), true
		}
	}
	return 0, false
}

// FaultKinds lists the names of all kinds.
func FaultKinds() string { return strings.Join(kindNames[:], ", ") }

// HasInput says whether a kind concerns one input, and if that must be a code.
func (k FaultKind) HasInput() (has, code bool) {
	switch k {
	case Dropout, Stuck:
		return true, false
	case OpenSenseLead, MissingSupply, Spike:
		return true, true
	}
	return false, false
}

// Fault fails again and again or once, each time from a scan on and up to the first one that is LengthNanos later.
//
// Of several faults at once, all act: spikes and a missing supply before the converter, then an open sense lead, then a stuck input,
// then a dropout. The truth knows of none.
type Fault struct {
	Kind        FaultKind
	Input       Input   // of a kind that has one; the sensor's code for a missing supply
	FromNanos   int64   // when it first may come
	LengthNanos int64   // above zero; one scan period is always one scan
	EveryNanos  int64   // from one to the next, not less than its length; 0 = once
	RatePerHour float64 // above zero: comes at random, the pauses exponential with this mean rate, and EveryNanos is not used
	Amperes     float64 // of a spike
	LowerRail   bool    // of an open sense lead, instead of the upper
	WanderCodes float64 // within which an open sense lead walks; 0 = it stays at the rail
}
