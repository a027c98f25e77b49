package fusion

import "github.com/ampledger/ampledger/daemon/scan"

// steady gives the channels of a regular batch in which each is usable either throughout or never; 0 if it is not of that kind.
func (s *Stage) steady(parts []*scan.Readings) (channels set) {
	if period := parts[0].Period; period <= 0 || period > s.gapNanos {
		return 0
	}
	for i, part := range parts[:s.channels] {
		switch {
		case part.Regular():
			channels |= 1 << i
		case part.Usable > 0:
			return 0
		}
	}
	return channels
}

// straight makes the readings after k, all with the channels of that one, and gives the last it made. It stops before readings that are
// not finite: those are for take.
func (s *Stage) straight(parts []*scan.Readings, k int, to *scan.Readings) int {
	n, period := parts[0].Len(), parts[0].Period
	for k+1 < n {
		s.fit(period)
		end := min(n, k+1+stretchScans-s.stretch.count)
		sums, ok := s.chunk(parts, k+1, end)
		if !ok {
			break
		}
		s.stretch.sums = sums
		s.stretch.count += end - (k + 1)
		s.count(s.amperes[k+1:end], to)
		k = end - 1
		s.arrive(parts, k)
	}
	return k
}

// chunk makes the readings i … j-1 and gives the sums of the stretch with them in. It tells if all are finite.
func (s *Stage) chunk(parts []*scan.Readings, i, j int) (sums vector, ok bool) {
	sums, ok = s.stretch.sums, true
	made, first := s.amperes[i:j], s.last.channels.first()
	for c, part := range parts[:s.channels] {
		if !s.last.channels.has(c) {
			continue
		}
		if c == first {
			sums[c] = begin(made, part.Amperes[i:j], s.last.weights[c], sums[c])
		} else {
			sums[c] = add(made, part.Amperes[i:j], s.last.weights[c], sums[c])
		}
		ok = ok && finite(sums[c])
	}
	return sums, ok
}

// begin sets made to the weighted readings and adds those to a sum.
func begin(made, read []float64, weight, sum float64) float64 {
	made = made[:len(read)]
	for k, y := range read {
		made[k] = float64(weight * y)
		sum += y
	}
	return sum
}

// add adds the weighted readings to made and the readings to a sum.
func add(made, read []float64, weight, sum float64) float64 {
	made = made[:len(read)]
	for k, y := range read {
		made[k] += float64(weight * y)
		sum += y
	}
	return sum
}

// count takes readings, all usable, into the figures of the output.
func (s *Stage) count(made []float64, to *scan.Readings) {
	to.Usable += len(made)
	lo, hi := to.Minimum, to.Maximum
	for _, y := range made {
		if !(lo <= y && y <= hi) {
			lo, hi = min(lo, y), max(hi, y)
		}
	}
	to.Minimum, to.Maximum = lo, hi
}

// arrive makes reading k the last one.
func (s *Stage) arrive(parts []*scan.Readings, k int) {
	s.last.moment(&parts[0].Clock, k)
	s.last.fused = s.amperes[k]
	for i, part := range parts[:s.channels] {
		if s.last.channels.has(i) {
			s.last.read[i] = part.Amperes[k]
		}
	}
}
