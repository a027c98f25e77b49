package charge

import "math"

// limitCoulombs is where a count of microcoulombs stops. Twice of it still fits an int64, so throughput cannot overflow.
const limitCoulombs = 4e12

// sum is a compensated sum after Neumaier: what each addition rounds away is collected in low.
type sum struct{ high, low float64 }

// add adds one term.
func (s *sum) add(term float64) {
	total := s.high + term
	if math.Abs(s.high) >= math.Abs(term) {
		s.low += (s.high - total) + term
	} else {
		s.low += (term - total) + s.high
	}
	s.high = total
}

// value gives the sum as one number.
func (s sum) value() float64 { return s.high + s.low }

// microcoulombs rounds a sum of coulombs. Whole coulombs go the way of integers: at 1e11 C a float64 steps by 15 microcoulombs.
func (s sum) microcoulombs() int64 {
	whole, part := math.Modf(s.high)
	switch {
	case whole >= limitCoulombs:
		return limitCoulombs * 1e6
	case whole <= -limitCoulombs:
		return -limitCoulombs * 1e6
	}
	return int64(whole)*1e6 + int64(math.Round((part+s.low)*1e6))
}

// microcoulombs rounds coulombs.
func microcoulombs(coulombs float64) int64 { return sum{high: coulombs}.microcoulombs() }
