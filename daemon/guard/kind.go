package guard

// Side says which sign of the current an element watches.
type Side uint8

// The sides. There is no default: zero is a fault.
const (
	Positive Side = iota + 1 // currents above zero
	Negative                 // currents below zero
	Either                   // the magnitude of the current
)

var sideNames = [...]string{"none", "positive", "negative", "either"}

// String names the side.
func (s Side) String() string { return nameOf(sideNames[:], uint8(s)) }

// includes tells whether a current lies on the side. Zero lies on both: a rail may well stand at zero amperes.
func (s Side) includes(amperes float64) bool {
	switch s {
	case Positive:
		return amperes >= 0
	case Negative:
		return amperes <= 0
	}
	return true
}

// Kind is what an element does.
type Kind uint8

// The kinds of element.
const (
	KindInstantaneous Kind = iota + 1
	KindDefiniteTime
	KindInverseTime
	KindSaturation
	KindStaleness
)

var kindNames = [...]string{"none", "instantaneous", "definite_time", "inverse_time", "saturation", "staleness"}

// String gives the kind's configuration key.
func (k Kind) String() string { return nameOf(kindNames[:], uint8(k)) }

// overcurrent tells whether the kind compares the current with a pickup.
func (k Kind) overcurrent() bool { return k >= KindInstantaneous && k <= KindInverseTime }

// State is where an element, and with it its event, stands. An element begins Cleared.
type State uint8

// The states.
const (
	Cleared  State = iota // reset: no event is open
	Raised                // picked up
	Operated              // the condition has lasted as set
)

var stateNames = [...]string{"cleared", "raised", "operated"}

// String names the state.
func (s State) String() string { return nameOf(stateNames[:], uint8(s)) }

func nameOf(names []string, i uint8) string {
	if int(i) < len(names) {
		return names[i]
	}
	return "unknown"
}
