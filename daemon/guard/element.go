package guard

import "math"

// element is one setting with its state.
type element struct {
	kind    Kind
	side    Side
	state   State
	index   int
	name    string
	words   string
	pickup  float64 // amperes; +Inf of an element that compares none
	dropoff float64 // amperes

	scans   int   // consecutive scans needed
	run     int   // consecutive scans seen
	delay   int64 // ns of a definite time or a staleness
	elapsed int64 // ns of the delay run so far
	inverse inverse

	tally
}

func newElement(index int, s Setting) element {
	e := element{kind: s.Kind(), side: s.Side, index: index, name: s.Name, words: s.String(), pickup: math.Inf(1)}
	switch e.kind {
	case KindInstantaneous:
		e.pickup, e.scans = s.Instantaneous.PickupAmperes, s.Instantaneous.Scans
	case KindDefiniteTime:
		e.pickup, e.delay = s.DefiniteTime.PickupAmperes, nanos(s.DefiniteTime.DelaySeconds)
	case KindInverseTime:
		e.pickup, e.inverse = s.InverseTime.PickupAmperes, newInverse(s.InverseTime)
	case KindSaturation:
		e.scans = s.Saturation.Scans
	case KindStaleness:
		e.delay = nanos(s.Staleness.AfterSeconds)
	}
	e.dropoff = e.pickup * s.dropoffRatio()
	return e
}

// inert tells that a step would change nothing, if the reading is not at the rail and ends no silence.
func (e *element) inert(s *sample) bool { return e.state == Cleared && s.watched[e.side] < e.pickup }

// step takes one reading that counts.
func (e *element) step(s *sample) {
	if e.state != Cleared && e.kind != KindStaleness {
		e.tally.add(s, e.side)
	}
	switch e.kind {
	case KindInstantaneous:
		e.stepInstantaneous(s)
	case KindDefiniteTime:
		e.stepDefinite(s)
	case KindInverseTime:
		e.stepInverse(s)
	case KindSaturation:
		e.stepSaturation(s)
	case KindStaleness:
		e.stepStaleness(s)
	}
}

// raise opens an event: Cleared → Raised.
func (e *element) raise(s *sample) {
	e.open(s, s.guard.time.now)
	e.tally.see(s, e.side)
	e.report(s)
}

// open is raise without a reading, for a staleness has none, and without a word.
func (e *element) open(s *sample, onset Stamp) {
	s.guard.events++
	s.guard.busy++
	e.state = Raised
	e.tally.begin(s.guard.events, onset)
}

// operate: Raised → Operated.
func (e *element) operate(s *sample) {
	e.state = Operated
	e.report(s)
}

// clear closes the event: Raised or Operated → Cleared.
func (e *element) clear(s *sample) {
	s.guard.busy--
	e.state, e.run, e.elapsed = Cleared, 0, 0
	e.inverse.forget()
	e.report(s)
}

// report tells the state just reached.
func (e *element) report(s *sample) {
	at := s.guard.time.now
	s.tell(Change{
		Event: e.event, State: e.state,
		Element: e.index, Name: e.name, Kind: e.kind, Side: e.side, Settings: e.words,
		Onset: e.onset, At: at,
		PeakAmperes: e.peak.amperes, PeakUncertaintyAmperes: e.peak.uncertainty(),
		ChargeCoulombs: e.charge, SquareAmpereSeconds: e.square, Railed: e.railed,
		Estimate: s.guard.estimateAt(at),
	})
}
