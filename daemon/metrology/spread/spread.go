// Package spread gathers the mean and the scatter of a series without keeping it.
package spread

import "math"

// Spread is a running mean with the sum of squares about it (Welford, Technometrics 4 (1962) 419–420). The zero value is empty. It is
// for one goroutine.
type Spread struct {
	Count   float64 // how many values
	Mean    float64 // in their unit; 0 of none
	squares float64
}

// Add takes one value.
func (s *Spread) Add(v float64) {
	s.Count++
	step := v - s.Mean
	s.Mean += step / s.Count
	s.squares += float64(step * (v - s.Mean))
}

// Deviation is the standard deviation of the values, in their unit; 0 for fewer than two.
func (s *Spread) Deviation() float64 { return math.Sqrt(s.variance()) }

// Uncertainty is the standard uncertainty of the mean of independent values, in their unit; 0 for fewer than two (GUM 4.2.3).
func (s *Spread) Uncertainty() float64 {
	if s.Count < 2 {
		return 0
	}
	return math.Sqrt(s.variance() / s.Count)
}

func (s *Spread) variance() float64 {
	if s.Count < 2 {
		return 0
	}
	return s.squares / (s.Count - 1)
}
