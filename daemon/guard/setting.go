package guard

import (
	"fmt"
	"strconv"
)

// DefaultDropoffRatio holds where a Setting gives none.
const DefaultDropoffRatio = 0.95

// Setting is the configuration of one element. Exactly one of the pointers is set.
type Setting struct {
	Name         string  // unique within the guard
	Side         Side    // sign of the current it watches; Either for staleness
	DropoffRatio float64 // drop-off value over pickup value, in (0, 1]; 0 = DefaultDropoffRatio; only overcurrent elements use it

	Instantaneous *Instantaneous
	DefiniteTime  *DefiniteTime
	InverseTime   *InverseTime
	Saturation    *Saturation
	Staleness     *Staleness
}

// Instantaneous operates when so many consecutive scans are at or above pickup.
type Instantaneous struct {
	PickupAmperes float64 // above 0
	Scans         int     // at least 1
}

// DefiniteTime operates when the current has not dropped off for a delay after pickup.
type DefiniteTime struct {
	PickupAmperes float64 // above 0
	DelaySeconds  float64 // 0 = with the pickup
}

// InverseTime operates after a time that the current sets by a standard's curve.
type InverseTime struct {
	Curve          string  // one of Curves
	PickupAmperes  float64 // above 0
	TimeMultiplier float64 // above 0; the time dial of IEEE C37.112
	Reset          string  // ResetCurve or ResetDefinite; empty = by the curve where its standard gives a law, else definite
	ResetSeconds   float64 // of a definite reset; 0 = at once
}

// The ways an inverse-time element resets.
const (
	ResetCurve    = "curve"    // the integral runs down by the standard's law, t_r / (1 - M²)
	ResetDefinite = "definite" // the integral is held for ResetSeconds after drop-off, then forgotten
)

// Saturation operates when so many consecutive scans are at the rail.
type Saturation struct {
	Scans int // at least 1
}

// Staleness operates when no reading has counted for a time.
type Staleness struct {
	AfterSeconds float64 // above 0
}

// Kind is the kind of the first element set.
func (s Setting) Kind() Kind {
	for i, set := range s.kinds() {
		if set {
			return Kind(i + 1)
		}
	}
	return 0
}

// kinds tells which of the elements are set, in the order of the kinds.
func (s Setting) kinds() [5]bool {
	return [...]bool{s.Instantaneous != nil, s.DefiniteTime != nil, s.InverseTime != nil, s.Saturation != nil, s.Staleness != nil}
}

// String gives the setting in words, as an event carries it.
func (s Setting) String() string {
	switch s.Kind() {
	case KindInstantaneous:
		return fmt.Sprintf("%v side at or above %s A for %d consecutive scans%s",
			s.Side, number(s.Instantaneous.PickupAmperes), s.Instantaneous.Scans, s.dropoffWords())
	case KindDefiniteTime:
		return fmt.Sprintf("%v side at or above %s A for %s s%s",
			s.Side, number(s.DefiniteTime.PickupAmperes), number(s.DefiniteTime.DelaySeconds), s.dropoffWords())
	case KindInverseTime:
		return fmt.Sprintf("%v side, %s, pickup %s A, time multiplier %s%s, %s", s.Side, s.InverseTime.Curve,
			number(s.InverseTime.PickupAmperes), number(s.InverseTime.TimeMultiplier), s.dropoffWords(), s.InverseTime.resetWords())
	case KindSaturation:
		return fmt.Sprintf("%v side at the rail for %d consecutive scans", s.Side, s.Saturation.Scans)
	case KindStaleness:
		return fmt.Sprintf("no reading counts for more than %s s", number(s.Staleness.AfterSeconds))
	}
	return "no element"
}

func (s Setting) dropoffWords() string { return ", drop-off ratio " + number(s.dropoffRatio()) }

func (s Setting) dropoffRatio() float64 {
	if s.DropoffRatio == 0 {
		return DefaultDropoffRatio
	}
	return s.DropoffRatio
}

func (i *InverseTime) resetWords() string {
	switch {
	case i.resetsByCurve():
		return "reset by the curve"
	case i.ResetSeconds == 0:
		return "reset at once"
	}
	return "reset after " + number(i.ResetSeconds) + " s"
}

// resetsByCurve settles the default: IEEE C37.112 gives a law of reset; IEC 60255-151 names no constants for its curves A to C.
func (i *InverseTime) resetsByCurve() bool {
	if i.Reset != "" {
		return i.Reset == ResetCurve
	}
	curve := findCurve(i.Curve)
	return curve != nil && curve.reset > 0
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
