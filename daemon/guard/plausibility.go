package guard

// stepSaturation is the machine of the saturation element.
//
//	state     reading                                     → state     does
//	Cleared   at the rail                                   Raised    run = 1
//	Raised    at the rail, run < scans                      Raised    run + 1
//	Raised    at the rail, run = scans                      Operated
//	Operated  at the rail                                   Operated
//	any       not at the rail, or at that of the other side Cleared
func (e *element) stepSaturation(s *sample) {
	if s.railed && e.side.includes(s.amperes) {
		e.lengthen(s)
	} else if e.state != Cleared {
		e.clear(s)
	}
}

// stepStaleness is the machine of the staleness element.
//
//	state     input                                       → state     does
//	Cleared   more than the limit since a reading counted   Operated  by way of Raised; the onset is that reading
//	Operated  a reading counts                              Cleared
//
// The limit is found passed by whatever comes first: a reading that does not count, the pipeline's timer, or the reading that ends
// the silence, which then raises, operates and clears at one scan. So a replay without a timer records the same silences.
func (e *element) stepStaleness(s *sample) {
	e.expire(s, s.guard.time.span)
	if e.state != Cleared {
		e.clear(s)
	}
}

// expire raises and operates a staleness element once its limit is passed; span ns ago a reading last counted.
func (e *element) expire(s *sample, span int64) {
	if e.kind != KindStaleness || e.state != Cleared || span <= e.delay {
		return
	}
	e.open(s, s.guard.time.counted)
	e.report(s)
	e.operate(s)
}
