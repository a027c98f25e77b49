package guard

// stepInstantaneous is the machine of the instantaneous element.
//
//	state     reading                                     → state     does
//	Cleared   at or above pickup                            Raised    run = 1
//	Raised    at or above pickup, run < scans               Raised    run + 1
//	Raised    at or above pickup, run = scans               Operated
//	Raised    below pickup, not below drop-off              Raised    run = 0: scans must be consecutive
//	Operated  not below drop-off                            Operated
//	any       below drop-off                                Cleared
func (e *element) stepInstantaneous(s *sample) {
	switch watched := s.watched[e.side]; {
	case watched >= e.pickup:
		e.lengthen(s)
	case e.state == Cleared:
	case watched < e.dropoff:
		e.clear(s)
	default:
		e.run = 0
	}
}

// lengthen adds a scan to the run of consecutive ones.
func (e *element) lengthen(s *sample) {
	e.run++
	if e.state == Cleared {
		e.raise(s)
	}
	if e.state == Raised && e.run >= e.scans {
		e.operate(s)
	}
}

// stepDefinite is the machine of the definite-time element. Its timer is started by the pickup and stopped by the drop-off, so a current
// that hangs between the two operates it: noise must not restart the delay.
//
//	state     reading                                     → state     does
//	Cleared   at or above pickup                            Raised    elapsed = 0
//	Raised    not below drop-off, elapsed < delay           Raised    elapsed + interval
//	Raised    not below drop-off, elapsed ≥ delay           Operated
//	Operated  not below drop-off                            Operated
//	any       below drop-off                                Cleared
func (e *element) stepDefinite(s *sample) {
	switch watched := s.watched[e.side]; {
	case e.state == Cleared:
		if watched >= e.pickup {
			e.raise(s)
			e.wait(s, 0)
		}
	case watched < e.dropoff:
		e.clear(s)
	case e.state == Raised:
		e.wait(s, s.credit)
	}
}

// wait lets the delay run on.
func (e *element) wait(s *sample, nanos int64) {
	e.elapsed += nanos
	if e.elapsed >= e.delay {
		e.operate(s)
	}
}
