package charge

import "math"

// Combine gives the root sum of squares of the four parts and the half width of the 95 % interval; all in coulombs, none negative.
func Combine(noise, gain, zero, gap float64) Uncertainty {
	u := Uncertainty{Noise: noise, Gain: gain, Zero: zero, Gap: gap}
	u.Combined = math.Hypot(math.Hypot(u.Noise, u.Gain), math.Hypot(u.Zero, u.Gap))
	u.Interval95 = coverage * u.Combined
	return u
}
