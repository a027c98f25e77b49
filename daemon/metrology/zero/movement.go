package zero

import (
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

// line is the straight line through a rest.
type line struct {
	slope     float64 // A/s
	spread    float64 // Σ(t − t̄)², s²
	residuals []float64
}

func fitLine(rest *stability.Log) (l line) {
	times := make([]float64, len(rest.Amperes))
	for i := range times {
		times[i] = seconds(rest, i)
	}
	times, distances := about(times, mean(times)), about(rest.Amperes, mean(rest.Amperes))
	for i, t := range times {
		l.spread += t * t
		l.slope += t * distances[i]
	}
	l.slope /= l.spread
	for i, t := range times {
		l.residuals = append(l.residuals, distances[i]-l.slope*t)
	}
	return l
}

// uncertainty of the slope: noise that hangs together for a short part of the rest is to it what as much more of white noise would be.
func (l line) uncertainty(noise correlation) float64 {
	return math.Sqrt(noise.variance * noise.inflated / l.spread)
}

// step is the one step that fits a rest best.
type step struct {
	at        int // the first reading after it
	amperes   float64
	residuals []float64
}

// leastSide is how many readings must stand on each side of a step.
const leastSide = 3

// fitStep takes the place that leaves the least squares: the one with the greatest difference of means, each weighed by its readings.
func fitStep(amperes []float64) (s step) {
	n, distances := len(amperes), about(amperes, mean(amperes))
	before, most := 0.0, -1.0
	for i := 1; i <= n-leastSide; i++ {
		before += distances[i-1]
		if i < leastSide {
			continue
		}
		// The sum before is the negative of the sum after.
		if gain := before * before * (1/float64(i) + 1/float64(n-i)); gain > most {
			most, s.at, s.amperes = gain, i, -before*(1/float64(i)+1/float64(n-i))
		}
	}
	low := mean(distances[:s.at])
	s.residuals = append(about(distances[:s.at], low), about(distances[s.at:], low+s.amperes)...)
	return s
}
