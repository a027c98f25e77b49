package guard

// inverse is what an inverse-time element adds to an element.
type inverse struct {
	curve      *curve
	perAmpere  float64 // 1 / pickup
	perTime    float64 // 1 / time multiplier
	byCurve    bool    // how it resets
	resetAfter int64   // ns of a definite reset

	integral float64 // ∫dt/t(I): 1 = operate
	dropped  bool    // dropped off and not picked up again since
	below    int64   // ns since the drop-off
}

func newInverse(s *InverseTime) inverse {
	return inverse{
		curve:      findCurve(s.Curve),
		perAmpere:  1 / s.PickupAmperes,
		perTime:    1 / s.TimeMultiplier,
		byCurve:    s.resetsByCurve(),
		resetAfter: nanos(s.ResetSeconds),
	}
}

// stepInverse is the machine of the inverse-time element, the integral equation of IEEE C37.112. A reset element has integral 0.
//
//	state     reading                                     → state     does
//	Cleared   at or above pickup                            Raised    t = 0
//	Raised    at or above pickup                            Raised    integral + interval / t(I)
//	Raised    at or above pickup, integral ≥ 1              Operated  integral = 1
//	Operated  at or above pickup                            Operated  as when Raised; at most 1
//	both      below drop-off, or not back at pickup since   same      resets: by the curve, integral - interval / t_r(I);
//	                                                                  definite, integral held until the reset time is over
//	both      the same, and fully reset                     Cleared   integral = 0
//	both      below pickup, has not dropped off             same      integral held
//
// The event closes when the element is reset, not at the drop-off: pulses that ripen one integral are one event, whose charge
// explains why it operated.
func (e *element) stepInverse(s *sample) {
	switch watched := s.watched[e.side]; {
	case watched >= e.pickup:
		e.ripen(s, watched)
	case e.state == Cleared:
	case e.inverse.drops(watched < e.dropoff):
		e.recede(s, watched)
	}
}

// ripen moves towards operation.
func (e *element) ripen(s *sample, watched float64) {
	if e.state == Cleared {
		e.raise(s)
		return
	}
	if e.inverse.advance(watched, s.seconds) && e.state == Raised {
		e.operate(s)
	}
}

// recede moves towards reset.
func (e *element) recede(s *sample, watched float64) {
	if e.inverse.reset(watched, s) {
		e.clear(s)
	}
}

// drops keeps the hysteresis: once dropped off, only a pickup ends the reset.
func (i *inverse) drops(below bool) bool {
	i.dropped = i.dropped || below
	return i.dropped
}

// advance credits an interval at or above pickup, and tells whether the integral is full.
func (i *inverse) advance(watched, seconds float64) bool {
	i.dropped, i.below = false, 0
	integral := i.integral + seconds*i.perTime*i.curve.operateRate(watched*i.perAmpere)
	full := integral >= 1
	if full {
		integral = 1
	}
	i.integral = integral
	return full
}

// reset credits an interval after drop-off and tells whether nothing is left.
func (i *inverse) reset(watched float64, s *sample) bool {
	if i.byCurve {
		i.integral -= s.seconds * i.perTime * i.curve.resetRate(watched*i.perAmpere)
		return i.integral <= 0
	}
	i.below += s.credit
	return i.below >= i.resetAfter
}

// forget is the reset state.
func (i *inverse) forget() { i.integral, i.dropped, i.below = 0, false, 0 }
