package fusion

// stretchScans is the greatest length of a stretch. Its sums are plain; what so few additions round away does not show.
const stretchScans = 64

// stretch is intervals of the same length between readings with the same channels, weights and offsets. What is integrated over it follows
// from one sum a channel. It begins and ends where the readings say so, not where batches do.
type stretch struct {
	count int // intervals
	nanos int64
	start float64 // the part of an interval that belongs to the reading at its start
	first vector  // the readings before it, amperes
	sums  vector  // of the readings in it, amperes
}

// extend adds an interval up to a reading.
func (s *Stage) extend(to *knot, nanos int64) {
	s.fit(nanos)
	for i := range s.channels {
		s.stretch.sums[i] += to.read[i]
	}
	s.stretch.count++
	s.last = *to
}

// fit makes room for an interval of that length: in the stretch there is, or in a new one.
func (s *Stage) fit(nanos int64) {
	t := &s.stretch
	if t.count > 0 && t.count < stretchScans && t.nanos == nanos && t.start == s.start {
		return
	}
	s.flush()
	t.nanos, t.start, t.first = nanos, s.start, s.last.read
}

// flush takes the stretch into shares and differences.
func (s *Stage) flush() {
	t, last := &s.stretch, &s.last
	if t.count == 0 {
		return
	}
	count, each := float64(t.count), seconds(t.nanos)
	for i := range s.channels {
		if last.weights[i] == 0 {
			continue
		}
		time := float64(count * each)
		charge := float64((t.sums[i] + t.start*(t.first[i]-last.read[i])) * each)
		s.shares[i].seconds.add(float64(last.weights[i] * time))
		s.shares[i].coulombs.add(float64(last.weights[i] * (charge + float64(last.offset[i]*time))))
	}
	if last.channels.several() {
		for i := range s.channels {
			if last.channels.has(i) {
				s.apart[i].add(&s.table, last.channels, i, &t.sums, count)
			}
		}
	}
	t.count, t.sums = 0, vector{}
}
