package guard

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Change is an event reaching a state, with what has gathered from the event's onset to this change.
//
// Integrals run over the time credited, by the trapezoid; of readings that are means over their interval, by the rectangle. A
// staleness event measures no current: its peak and integrals are zero, its onset is the last reading that counted.
type Change struct {
	Event    uint64 // counts the guard's events from 1; the same for all changes of one event
	State    State  // reached by this change
	Element  int    // index of the setting
	Name     string // of the element
	Kind     Kind
	Side     Side
	Settings string // the setting in words

	Onset Stamp // the scan that raised the event
	At    Stamp // the scan of this change

	PeakAmperes            float64 // greatest on the side watched, with its sign
	PeakUncertaintyAmperes float64 // its standard uncertainty
	ChargeCoulombs         float64 // ∫I dt
	SquareAmpereSeconds    float64 // ∫I² dt
	Railed                 bool    // a reading was at the rail: peak and integrals are lower bounds in magnitude

	Estimate scan.Estimate // the offset estimate in force; its age is that at this change
}

// tally gathers what an event's changes report.
type tally struct {
	event  uint64
	onset  Stamp
	charge float64
	square float64
	railed bool
	peak   peak
}

// peak is the greatest reading, with the parts of its uncertainty.
type peak struct {
	watched, amperes  float64
	noise, zero, gain float64
}

// begin opens an event at the scan that raises it.
func (t *tally) begin(event uint64, onset Stamp) { *t = tally{event: event, onset: onset} }

// add gathers one reading and the interval that ends with it.
func (t *tally) add(s *sample, side Side) {
	t.charge += s.charge
	t.square += s.square
	t.see(s, side)
}

// see looks at a reading without its interval.
func (t *tally) see(s *sample, side Side) {
	t.railed = t.railed || s.railed
	if watched := s.watched[side]; watched > t.peak.watched {
		r := s.readings
		t.peak = peak{watched, s.amperes, r.NoiseAmperes, r.ZeroAmperes, r.GainRatio}
	}
}

// uncertainty combines the parts; they are independent of each other.
func (p *peak) uncertainty() float64 {
	return math.Hypot(math.Hypot(p.noise, p.zero), p.gain*p.amperes)
}
