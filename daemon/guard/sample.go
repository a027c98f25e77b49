package guard

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// sample is one reading that counts, as all elements see it.
type sample struct {
	guard    *Guard
	readings *scan.Readings
	tell     func(Change)

	amperes float64
	watched [4]float64 // by Side; below zero = on the other side
	railed  bool
	credit  int64   // ns of the time since the last reading that counted
	seconds float64 // the same in seconds
	charge  float64 // ∫I dt over it
	square  float64 // ∫I² dt over it
}

// fill makes the sample of the reading the guard's time stands at.
func (s *sample) fill(amperes float64, railed bool) {
	s.amperes, s.railed = amperes, railed
	s.watched[Positive], s.watched[Negative], s.watched[Either] = amperes, -amperes, math.Abs(amperes)
	s.credit = s.guard.time.credit(s.readings.Period)
	s.seconds = float64(s.credit) / second
	last := s.guard.amperes
	if s.readings.Averaged {
		last = amperes // a mean holds over all of its interval
	}
	s.charge = (last + amperes) / 2 * s.seconds
	s.square = (last*last + amperes*amperes) / 2 * s.seconds
}
