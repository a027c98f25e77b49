package fusion

import "github.com/ampledger/ampledger/daemon/scan"

// knot is a usable fused reading as the end of one interval and the start of the next.
type knot struct {
	epoch, sequence, summary uint64
	wall, monotonic          int64 // ns
	channels                 set
	fused                    float64 // amperes
	weights, read, offset    vector  // of each channel; amperes
}

// moment sets when a knot is.
func (k *knot) moment(c *scan.Clock, at int) {
	k.epoch, k.sequence, k.wall, k.monotonic = c.Epoch, c.Sequence+uint64(at), c.WallAt(at), c.At(at)
}

// advance integrates up to reading k, which takes the place of the last one. It does what charge.Account does with the fused readings.
func (s *Stage) advance(r *scan.Readings, k int, to *knot) {
	to.moment(&r.Clock, k)
	if !s.began {
		s.began, s.hidden = true, false
		s.join(to, 0, periodOf(r))
		return
	}
	nanos, hidden := to.monotonic-s.last.monotonic, s.hidden
	if to.epoch != s.last.epoch {
		nanos, hidden = max(0, to.wall-s.last.wall), true
	} else if nanos <= 0 {
		return // time that does not advance carries no charge and hides none
	}
	s.hidden = false
	start := s.start
	if hidden || nanos > s.gapNanos {
		s.join(to, 0.5, nanos)
	} else if to.channels != s.last.channels || to.summary != s.last.summary {
		s.join(to, start, nanos)
	} else {
		s.extend(to, nanos)
	}
}

// periodOf gives the time that the very first reading stands for.
func periodOf(r *scan.Readings) int64 {
	if r.Averaged {
		return max(0, r.Period)
	}
	return 0
}

// join integrates an interval of which start is the part that belongs to the last reading.
func (s *Stage) join(to *knot, start float64, nanos int64) {
	s.flush()
	time, from := seconds(nanos), &s.last
	for i := range s.channels {
		before, after := start*from.weights[i], (1-start)*to.weights[i]
		s.shares[i].seconds.add(float64((before + after) * time))
		current := float64(before*(from.read[i]+from.offset[i])) + float64(after*(to.read[i]+to.offset[i]))
		s.shares[i].coulombs.add(float64(current * time))
	}
	s.last = *to
}

// hide notes what an unusable reading means for the interval it lies in.
func (s *Stage) hide(q scan.Quality) {
	if q&^(scan.TimeRepeated|scan.TimeBackwards) != 0 {
		s.hidden = true
	}
}

// seconds converts nanoseconds.
func seconds(nanos int64) float64 { return float64(nanos) / 1e9 }
