package fusion

import "math"

// Share is what one channel has added to the integral of the fused current.
type Share struct {
	WeightSeconds float64 // integral of its weight
	Coulombs      float64 // integral of its weight times its current before any estimated offset
}

// share gathers one.
type share struct{ seconds, coulombs sum }

// sum is a compensated sum after Neumaier: what each addition rounds away is collected in low.
type sum struct{ high, low float64 }

func (s *sum) add(term float64) {
	total := s.high + term
	if math.Abs(s.high) >= math.Abs(term) {
		s.low += (s.high - total) + term
	} else {
		s.low += (term - total) + s.high
	}
	s.high = total
}

func (s sum) value() float64 { return s.high + s.low }

// Take appends the share of each channel since the Take before, up to the last usable reading, and begins anew. It belongs at the end of a
// summary, and at no other place if the bits are not to depend on it.
func (s *Stage) Take(to []Share) []Share {
	s.flush()
	for i := range s.channels {
		each := &s.shares[i]
		to = append(to, Share{each.seconds.value(), each.coulombs.value()})
		s.shares[i] = share{}
	}
	return to
}
