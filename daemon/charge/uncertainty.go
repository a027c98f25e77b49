package charge

import "math"

// coverage is the factor from the standard uncertainty to the half width of a 95 % interval of a normal distribution.
const coverage = 1.96

// Uncertainty is the standard uncertainty of net, by cause, in coulombs.
type Uncertainty struct {
	// Noise is what is independent from reading to reading, the error of its time included. It grows with the root of the time.
	Noise float64
	// Gain is the relative uncertainty of the gain times net. It is net as compensated, not as read: the offset is additive in amperes
	// and was subtracted whole, so the gain's error multiplies only the current that remains. Charge that flowed out and back again
	// carries no gain error, since one gain measured both.
	Gain float64
	// Zero is the uncertainty of the zero times the time, as if it were the same error throughout. That is the worst case: an
	// offset that is estimated anew now and then has errors that partly cancel.
	Zero float64
	// Gap is the bound of the gaps, each a rectangular distribution, added up as if all were off the same way.
	Gap float64
	// Combined is the root sum of squares of the above.
	Combined float64
	// Interval95 is the half width of the 95 % interval.
	Interval95 float64
}

// Uncertainty gives the standard uncertainty of net. For a difference of Totals, Noise is by how much the variance of the total grew: the
// noise of the reading at which both meet is in both charges, and counting its covariance here lets variances add up as the
// charges do. It makes the variance of n intervals that of n readings rather than n - 1/2.
func (t Totals) Uncertainty() Uncertainty {
	return Combine(
		math.Sqrt(max(0, t.NoiseSquareCoulombs)),
		t.GainRatio*math.Abs(coulombs(t.Net())),
		t.ZeroCoulombs,
		coulombs(t.GapBoundMicrocoulombs)/math.Sqrt(3),
	)
}

// coulombs converts a count of microcoulombs.
func coulombs(micro int64) float64 { return float64(micro) / 1e6 }

// BeginGain says that another gain measures from here on, whose error has nothing to do with that of the one before: what that one may have
// done to net so far is kept beside the zero's part, with which it adds up, and the relative uncertainty is from now on the new one's.
func (a *Account) BeginGain() {
	a.zero.add(a.counts.GainRatio * math.Abs(coulombs(a.Totals().Net())))
	a.counts.GainRatio = 0
}
