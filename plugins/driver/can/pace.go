package can

import "math"

// pace follows the frames of one message and tells how many there should have been since the one before.
type pace struct {
	periodNanos float64 // 0 = not known
	values      int64   // of the counter; 0 = there is none

	begun     bool
	last      int64 // time of the newest frame, ns
	counted   bool  // there was a frame with a counter to be believed
	count     int64 // its counter
	countedAt int64 // its time
	since     int64 // frames after it, as they were numbered: those that came and those that were lost
	standing  bool  // the newest one was the same
}

// A step is what a frame tells of those before it.
type step struct {
	frames   int64 // from the frame before to this one, 1 = none was lost between
	repeated bool  // the counter stands where it was: the frame tells nothing new
}

// blind takes a frame whose counter is not to be believed, or that has none.
func (p *pace) blind(at int64) step {
	s := step{frames: 1}
	if p.begun {
		s.frames = max(1, p.periods(p.last, at))
	}
	p.begun, p.last = true, at
	p.since += s.frames
	return s
}

// counter takes a frame with its counter. The counter tells the number of frames but for whole rounds of it; the time, if the period is known, tells
// which of these numbers it is.
func (p *pace) counter(at, count int64) step {
	if !p.counted {
		s := p.blind(at)
		p.believe(at, count)
		return s
	}
	n := p.frames(at, count)
	s := step{frames: max(1, n-p.since), repeated: p.repeats(n, count)}
	p.last = at
	if s.repeated {
		s.frames = 1
		p.standing = true
		p.since++
		return s
	}
	p.believe(at, count)
	return s
}

func (p *pace) believe(at, count int64) {
	p.counted, p.count, p.countedAt, p.since, p.standing = true, count, at, 0, false
}

// repeats tells that a counter stands where it was, and has not gone round while there was nothing to be read of it. One that stood before is
// believed again when it has moved.
func (p *pace) repeats(n, count int64) bool {
	return count == p.count && (p.standing || n == 0 && (p.since+1)%p.values != 0)
}

// frames gives the number of frames since the last counter that was believed. Where the time has no room for as many as the counter says, the counter was
// set back, as by a sender that began anew, and the time alone tells.
func (p *pace) frames(at, count int64) int64 {
	n := count - p.count
	if n < 0 {
		n += p.values
	}
	if p.periodNanos == 0 {
		return n
	}
	room := p.between(p.countedAt, at) / p.periodNanos
	n += int64(max(0, math.Round((room-float64(n))/float64(p.values)))) * p.values
	if float64(n) > room+1+float64(n)/8 {
		return p.since + max(1, p.periods(p.last, at))
	}
	return n
}

// periods gives the whole periods from one time to another; 0 if the period is not known.
func (p *pace) periods(from, to int64) int64 {
	if p.periodNanos == 0 {
		return 0
	}
	return int64(math.Round(p.between(from, to) / p.periodNanos))
}

// between gives the time from one time to another, none if it runs backwards. Both are within 63 bits of each other.
func (*pace) between(from, to int64) float64 { return float64(max(to-from, 0)) }
